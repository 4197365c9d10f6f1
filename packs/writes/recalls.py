"""Setting aside what came from one origin: the modules of a lot, or of a donor pack."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from packs.models import Module
from packs.reads import names
from packs.writes.actors import Actor
from packs.writes.keeping import change_all
from packs.writes.modules import signed

SET_ASIDE = (Module.Status.STOCK, Module.Status.ON_TEST, Module.Status.RESERVED)


def quarantine_modules(
    origin: Q, *, by: Actor, at: datetime, entry: Mapping[str, Any]
) -> Sequence[str]:
    """Quarantine every module of the origin that is loose and not set aside yet; their tags.

    `entry` holds `reason` and `done_by` as in the API; who said it stands beside the reason by
    code. What sits in a pack stays fitted: its pack has to come back first.
    """
    reason = signed(entry["reason"], names.person(entry.get("done_by")))
    changes = {
        "status": Module.Status.QUARANTINED.value,
        "status_reason": reason,
        "reserved_for_id": None,
    }
    with transaction.atomic():
        loose = Module.objects.filter(origin, status__in=SET_ASIDE)
        rows = list(loose.select_for_update(no_key=True).order_by("pk"))
        change_all(rows, by=by, at=at, key="tag", changes=changes)
    return sorted(row.tag for row in rows)
