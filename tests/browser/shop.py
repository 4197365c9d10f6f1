"""A shop small enough to be made in a moment, with one of everything that a page shows."""

import base64
import math
from datetime import timedelta
from io import BytesIO
from typing import Any

from django.utils import timezone
from PIL import Image
from rest_framework.test import APIClient

from reports.writes import sweeping
from tests import pages, world
from tests.browser import testers
from tests.packs import shelf
from tests.reports import ageing

VIN = "TST12345678900001"
PLATE = "W-1234 X"
OWNER = "Rosalind Marsh"
PACK = "TP-0101"
YOUNG = "TP-0102"
OLD = "TP-0103"
LOCKED = "TP-0104"
OTHER_VIN = "TST12345678900002"


class Office:
    """The manager's own program, which posts what the shop consists of."""

    def __init__(self) -> None:
        self.client = APIClient()
        self.client.credentials(HTTP_AUTHORIZATION=f"Bearer {world.token('manager', 'office')}")

    def post(self, resource: str, body: dict[str, Any]) -> str:
        """Post it and give its id, if it has one."""
        answer = self.client.post(f"/api/v1/{resource}/", body)
        assert answer.status_code == 201, (resource, answer.content)
        return str(answer.json().get("id", ""))


def ago(**span: float) -> str:
    """An instant before now, as the API takes it."""
    return (timezone.now() - timedelta(**span)).isoformat()


def day(days: float) -> str:
    """The date that many days from now."""
    return (timezone.now() + timedelta(days=days)).date().isoformat()


def make_packs() -> None:
    """One pack that goes off, one that was never checked, one that is owed to us."""
    ageing.drifting_pack(PACK)
    world.pack(YOUNG)
    world.pack(OLD, status="core_due")
    world.module("M-77")


def make_car(office: Office) -> str:
    """A car with its owner and its pack; the owner's id."""
    customer = office.post(
        "customers", {"name": OWNER, "phone": "0660 123", "email": "marsh@example.org"}
    )
    car = {"vin": VIN, "plate": PLATE, "model_year": 2016, "description": "blue estate"}
    office.post("vehicles", {**car, "customer": customer})
    office.post(
        "installations",
        {"pack": PACK, "vehicle": VIN, "installed_at": ago(days=500), "installed_km": 91_000},
    )
    return customer


def make_visit(office: Office) -> str:
    """The car is here: what it complains of, what was found, what was done; the visit's id."""
    visit = office.post(
        "visits",
        {"vehicle": VIN, "opened_at": ago(days=9), "complaint": "warning lamp under load",
         "odometer_km": 104_200},
    )  # fmt: skip
    office.post("trouble-codes", {"visit": visit, "code": "P0A80", "control_unit": "hybrid"})
    finding = {"part": "module", "finding": "corrosion", "grade": 2, "position": 7}
    office.post(
        "inspections", {"pack": PACK, "visit": visit, "at": ago(days=8), "findings": [finding]}
    )
    change = {"position": 13, "removed": None, "fitted": "M-77", "reason": "low under load"}
    office.post(
        "swaps",
        {"pack": PACK, "visit": visit, "done_at": ago(days=7), "kind": "module",
         "changes": [change]},
    )  # fmt: skip
    failure = {"failed_on": day(-9), "cause": "module", "how_known": "code_set"}
    office.post("failures", {"pack": PACK, "visit": visit, **failure})
    return visit


def make_promises(office: Office, visit: str) -> str:
    """A warranty that runs, with an open claim under it; the warranty's id."""
    warranty = office.post(
        "warranties",
        {"pack": PACK, "repair_kind": "module_swap", "starts_on": day(-400), "months": 24},
    )
    office.post("claims", {"warranty": warranty, "visit": visit, "decision": "open"})
    return warranty


def make_stay(office: Office, **entry: Any) -> str:
    """The car is here, and nothing was done yet; the visit's id."""
    return office.post("visits", {"vehicle": VIN, "opened_at": ago(days=2), **entry})


def make_desk(office: Office, visit: str) -> dict[str, str]:
    """What is owed, promised and said at the desk: an estimate, and a core that is late."""
    line = {"kind": "part", "what": "module", "quantity": 2, "unit_price": 62.5}
    estimate = office.post("cost-estimates", {"visit": visit, "tax_pct": 20, "lines": [line]})
    word = {"about": "intake", "given": True, "how": "signed", "estimate": estimate}
    office.post("consents", {"visit": visit, **word})
    sat = {"installed_at": ago(days=900), "removed_at": ago(days=501)}
    office.post("installations", {"pack": OLD, "vehicle": VIN, **sat})
    core = office.post("cores", {"pack": OLD, "visit": visit, "deposit": 300, "due_on": day(-5)})
    office.post("photos", {"pack": PACK, "visit": visit, "image": picture(), "note": "residue"})
    call = {"pack": PACK, "visit": visit, "reason": "owner_word", "outcome": "not_reached"}
    office.post("calls", {**call, "again_on": day(0)})
    return {"estimate": estimate, "core": core}


def make_parts(office: Office, visit: str) -> None:
    """A meter that is overdue, a fuse that was changed and tested, an isolation check with a leak."""
    office.post("equipment", {"code": "DMM-1", "kind": "meter", "due_on": day(-3)})
    office.post("components", {"tag": "F-1", "kind": "fuse", "ratings": {"rated_v": 100}})
    change = {"slot": "fuse:1", "fitted": "F-1", "reason": "blown"}
    swap = {"pack": PACK, "visit": visit, "kind": "component", "changes": [change]}
    office.post("swaps", {**swap, "done_at": ago(days=6)})
    test = {"component": "F-1", "measured": {"resistance_mohm": 0.8}, "equipment": "DMM-1"}
    office.post("part-tests", {"visit": visit, **test})
    read = {"pack_v": 200, "plus_case_v": 40, "minus_case_v": 160, "shunted_v": 90}
    told = {"scope": "pack_alone", "method": "two_voltages", "shunt_ohm": 100_000}
    office.post("isolation-checks", {"visit": visit, **told, **read, "equipment": "DMM-1"})


def make_prices(office: Office) -> None:
    """An hour, a fuse and a module by the shop's own list."""
    office.post("prices", {"code": "hour", "what": "An hour of work", "kind": "hour", "price": 72})
    module = {"what": "Module, tested", "kind": "module", "price": 58, "hours": 4.5}
    office.post("prices", {"code": "module", **module})
    fuse = {"what": "Fuse", "kind": "component", "component_kind": "fuse", "price": 20}
    office.post("prices", {"code": "fuse", **fuse})


def make_matching(office: Office, visit: str) -> None:
    """Two modules of the stock for a job, one placed otherwise than proposed."""
    shelf.stock(6)
    told = {"pack": PACK, "visit": visit, "positions": [7, 8], "reserve": True}
    row = {"position": 7, "module": "S-001", "reason": "same lot as its neighbour"}
    office.post("matchings", {**told, "overruled": [row]})


def make_stock(office: Office) -> None:
    """A lot and a donor pack that gave a module each, one fitted; a type that wants more of both;
    a module that left."""
    office.post("lots", {"code": "L-1", "supplier": "North yard", "unit_cost": 31, "count": 3})
    kind = {"form": "prismatic", "cells": 6}
    office.post("modules", {"tag": "D-1", **kind, "lot": "L-1", "donor_pack": OLD})
    office.post("modules", {"tag": "D-2", **kind, "lot": "L-1", "shelf": "B-4"})
    office.post("modules", {"tag": "D-3", **kind, "status": "scrapped"})
    fitted = {"position": 2, "fitted": "D-1"}
    swap = {"pack": PACK, "done_at": ago(days=6), "kind": "module", "changes": [fitted]}
    office.post("swaps", swap)
    world.pack_type("NM-28C", bench={"stock_minimum": {"module": 40, "fuse": 2}})
    office.post("disposals", {"recycler": "Lowfield Metals", "weight_kg": 1.1, "modules": ["D-3"]})


def make_locked(office: Office) -> str:
    """A pack that is locked out, its car side not quite at zero, and a clock that runs."""
    layout = {"switch_after": 10, "waits": {"discharge_min": 5}}
    world.pack(LOCKED, world.pack_type("NM-28B", bench=layout))
    office.post("people", {"code": "ash", "name": "Ash Birch", "roles": ["bench"]})
    office.post("equipment", {"code": "DMM-2", "kind": "meter"})
    tested = {"rating": "class 0", "checked_on": day(-40)}
    office.post("equipment", {"code": "G-1", "kind": "gloves", **tested})
    visit = office.post("visits", {"pack": LOCKED, "opened_at": ago(hours=6)})
    done = dict.fromkeys(("key_away", "twelve_v_off", "switch_out", "covers"), True)
    worn = ("gloves_air_tested", "protectors", "eye_protection", "insulated_tools")
    read = {"plus_minus_v": 12.5, "plus_case_v": 0.2, "minus_case_v": -0.1}
    source = {"source_v": 12.6, "source_before_v": 12.6, "source_after_v": 12.5}
    hands = {"done_by": "ash", "switch_kept_by": "ash", "meter": "DMM-2", "gloves": "G-1"}
    office.post(
        "lock-outs",
        {"visit": visit, "at": ago(hours=5), "done": done, "worn": dict.fromkeys(worn, True),
         "readings": read, "waited_min": 10, **hands, **source},
    )  # fmt: skip
    time = {"visit": visit, "done_by": "ash", "stage": "teardown"}
    office.post("work-times", {**time, "stage": "lock_out", "started_at": ago(hours=6),
                               "ended_at": ago(hours=5)})  # fmt: skip
    office.post("work-times", {**time, "started_at": ago(hours=5)})
    office.post(
        "incidents",
        {"visit": visit, "kind": "near_miss", "harm": "none", "what": "a spanner fell"},
    )
    return visit


def make_opened(office: Office, visit: str) -> None:
    """The locked pack lies open: two bus bars are out, and a module reads the wrong way round."""
    step = {"visit": visit, "done_by": "ash"}
    seen = [{"position": 4, "orientation": "reversed", "sense_lead": "S4", "sensor": "T2"}]
    nuts = [{"kind": "nut", "count": 4, "torque_paint": "intact"}]
    out = {"part": "bus_bar", "places": [3, 4], "fasteners": nuts, "seen": seen}
    office.post("teardowns", {**step, "at": ago(hours=4), **out})
    read = [{"position": 3, "rest_v": 7.91}, {"position": 4, "rest_v": -7.88}]
    office.post("reassemblies", {**step, "at": ago(hours=3), "kind": "polarity", "readings": read})


def make_other_visits(office: Office) -> None:
    """A car that is late and one that is ready, each with another pack."""
    office.post("vehicles", {"vin": OTHER_VIN, "plate": "W-88 K"})
    here = {"vehicle": OTHER_VIN, "opened_at": ago(days=3), "waits_for": "parts"}
    office.post("visits", {**here, "promised_at": ago(hours=2), "complaint": "does not start"})
    office.post("visits", {"pack": YOUNG, "opened_at": ago(days=1), "state": "ready"})


def make_tests(office: Office) -> None:
    """A module with three cycles, the last with its series, a stand, and tests that wait for it."""
    known = {"module": "M-77", "temperature_c": 21}
    for cycle, capacity_ah in ((1, 5.6), (2, 5.9)):
        measured = {"capacity_ah": capacity_ah}
        told = {"kind": "capacity", "cycle": cycle, "started_at": ago(days=24 - cycle)}
        office.post("module-tests", {**known, **told, "measured": measured})
    last = {"kind": "capacity", "cycle": 3, "started_at": ago(days=20)}
    office.post("module-tests", {**known, **last, "series": discharge()})
    readings = [
        {"at": ago(days=18 - day), "voltage_v": 8.1 - 0.01 * day, "temperature_c": 20}
        for day in (2, 5, 8)
    ]
    stand = {"kind": "stand", "started_at": ago(days=18), "measured": {"readings": readings}}
    office.post("module-tests", {**known, **stand})
    plan = {"module": "M-77", "planned_at": ago(days=3), "channel": "2"}
    office.post("planned-tests", {**plan, "kind": "resistance", "due_at": ago(days=1)})
    office.post("planned-tests", {**plan, "kind": "load", "due_at": day(3) + "T12:00:00Z"})


def discharge() -> dict[str, list[float]]:
    """Six cells that empty together at 1.3 A within four and a half hours."""
    share = [n / 199 for n in range(200)]
    fall = [7.5 / (1 + math.exp((1.0 - one) / 0.012)) for one in share]
    volts = [7.6 - 0.4 * one - low for one, low in zip(share, fall, strict=True)]
    return {
        "seconds": [one * 16_400 for one in share],
        "current_a": [1.3] * 200,
        "voltage_v": volts,
    }


def picture() -> str:
    """A grey photograph, as base64."""
    written = BytesIO()
    Image.new("RGB", (320, 240), (128, 128, 128)).save(written, "JPEG")
    return base64.b64encode(written.getvalue()).decode()


def stand() -> dict[str, str]:
    """Make it all; the keys by which its pages are addressed."""
    make_packs()
    office = Office()
    customer = make_car(office)
    visit = make_visit(office)
    warranty = make_promises(office, visit)
    desk = make_desk(office, visit)
    make_tests(office)
    make_parts(office, visit)
    make_prices(office)
    make_matching(office, visit)
    make_stock(office)
    make_other_visits(office)
    locked = make_locked(office)
    make_opened(office, locked)
    manager = pages.signed_in("manager")
    stored, tried = (testers.hand_in(manager, PACK, name) for name in (YOUNG, testers.NOBODY))
    testers.store(manager, stored)
    while sweeping.sweep(at=timezone.now()):
        pass
    keys = {"pack": PACK, "young": YOUNG, "vin": VIN, "customer": customer, "visit": visit}
    return {
        **keys,
        **desk,
        "locked": locked,
        "old": OLD,
        "warranty": warranty,
        "stored": stored,
        "tried": tried,
    }
