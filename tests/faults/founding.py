"""What a register needs before testers can post to it; runs inside the service."""

from django.core.management import call_command
from django.utils import timezone

from packs.models import Pack
from tests import world
from tests.faults.names import MODULES, TYPE, serial


def found(packs: int) -> None:
    """Migrate, record a type and packs of it, and print a token of a machine."""
    call_command("migrate", interactive=False, verbosity=0)
    kind = world.pack_type(TYPE, module_count=MODULES)
    for number in range(packs):
        world.pack(serial(number), kind)
    print(world.token("machine"))


def close_accounts() -> None:
    """Work out what is owed, the claims of the dead having run out, and walk for breaches."""
    Pack.objects.filter(estimate_claimed_until__isnull=False).update(
        estimate_claimed_until=timezone.now()
    )
    call_command("sweep", once=True)
    call_command("verify_records")
