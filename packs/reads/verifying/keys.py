"""Keys that search compares: what is stored beside a name follows from it, or nobody finds it."""

from collections.abc import Callable, Iterator

from django.db.models import Model

from packs.models import Customer, Module, Pack, Vehicle
from packs.reads.verifying.breaches import Breach
from packs.rules.people import name_key, phone_key
from packs.rules.vehicles import alike_key, search_key

COMPARED: tuple[tuple[type[Model], str, str, Callable[[str], str]], ...] = (
    (Pack, "serial", "serial_alike", alike_key),
    (Module, "tag", "tag_alike", alike_key),
    (Vehicle, "plate", "plate_key", search_key),
    (Vehicle, "plate", "plate_alike", alike_key),
    (Customer, "name", "name_key", name_key),
    (Customer, "phone", "phone_key", phone_key),
)


def keys_follow() -> Iterator[Breach]:
    """Every stored key is the key of what it stands for; told by number, never by name."""
    for model, source, column, key in COMPARED:
        rows = model._default_manager.values_list("pk", source, column)
        for number, text, stored in rows.iterator():
            if stored != key(text):
                subject = f"{model._meta.verbose_name} number {number}"
                yield Breach("what is searched follows from what is recorded", subject, column)
