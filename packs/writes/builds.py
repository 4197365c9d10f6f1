"""The start of a pack's present build, worked out again when work on it is recorded or voided."""

from collections.abc import Sequence
from datetime import datetime

from packs.models import Pack, Reassembly, Swap
from packs.reads import beginnings
from packs.writes.actors import Actor
from packs.writes.recording import midnight


def settle(pack: Pack, works: Sequence[Swap | Reassembly], *, by: Actor, at: datetime) -> None:
    """A build begins with the newest work that starts one, or with the pack itself.

    `works` are those just recorded or voided, of a pack that is locked.
    """
    if not any(work.starts_build for work in works):
        return
    built_at = None if pack.built_on is None else midnight(pack.built_on)
    pack.since = beginnings.newest(pack) or built_at
    pack.save(update_fields=["since"])
