"""Sites: workshop locations and how their pages show things."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import available_timezones

from packs.errors import Contradiction, Fault
from packs.models import Site
from packs.models.sites import TOUCH_LIMIT_MAX_V, TOUCH_LIMIT_V
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.recording import Outcome

UNLESS_SAID: Mapping[str, Any] = {
    "distance": "km",
    "temperature": "c",
    "currency": "",
    "touch_limit_v": TOUCH_LIMIT_V,
    "rules": {},
}
DATE_ORDER = Site.DateOrder.DAY_MONTH.value  # beside them, so that a site sent before is known


def create_site(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Site]:
    """Store a site; `entry` holds its fields by their names in the API."""
    said = {name: value for name, value in entry.items() if value is not None}
    content = {**UNLESS_SAID, **said}
    key = {"code": content.pop("code")}
    _refuse_faults(content)
    return keep(Site, by=by, at=at, key=key, content=content)


def change_site(
    row: Site, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> Site:
    """Store other settings; null means what it is unless said."""
    unless_said = {**UNLESS_SAID, "date_order": DATE_ORDER}
    content = {
        name: unless_said.get(name) if value is None else value for name, value in changes.items()
    }
    _refuse_faults(content)
    return change(row, by=by, at=at, version=version, key=row.code, changes=content)


def _refuse_faults(content: Mapping[str, Any]) -> None:
    faults = []
    zone, limit = content.get("time_zone"), content.get("touch_limit_v")
    if zone is not None and zone not in available_timezones():
        sentence = f"'{zone}' is no name of the tz database, such as Europe/Vienna."
        faults.append(Fault("/time_zone", "unknown_time_zone", sentence))
    if limit is not None and not 0 < limit <= TOUCH_LIMIT_MAX_V:
        sentence = (
            f"touch_limit_v is {limit:g} V; it is above 0 and never above {TOUCH_LIMIT_MAX_V:g} V "
            "d.c., where voltage class B begins (ISO 6469-4)."
        )
        faults.append(Fault("/touch_limit_v", "touch_limit_unsafe", sentence))
    if faults:
        raise Contradiction(faults)
