"""A shop small enough to be made in a moment, with one of everything that a page shows."""

import base64
from datetime import timedelta
from io import BytesIO
from typing import Any

from django.utils import timezone
from PIL import Image
from rest_framework.test import APIClient

from reports.writes import sweeping
from tests import pages, world
from tests.browser import testers
from tests.reports import ageing

VIN = "TST12345678900001"
PLATE = "W-1234 X"
OWNER = "Rosalind Marsh"
PACK = "TP-0101"
YOUNG = "TP-0102"
OLD = "TP-0103"
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


def make_other_visits(office: Office) -> None:
    """A car that is late and one that is ready, each with another pack."""
    office.post("vehicles", {"vin": OTHER_VIN, "plate": "W-88 K"})
    here = {"vehicle": OTHER_VIN, "opened_at": ago(days=3), "waits_for": "parts"}
    office.post("visits", {**here, "promised_at": ago(hours=2), "complaint": "does not start"})
    office.post("visits", {"pack": YOUNG, "opened_at": ago(days=1), "state": "ready"})


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
    make_other_visits(office)
    manager = pages.signed_in("manager")
    stored, tried = (testers.hand_in(manager, PACK, name) for name in (YOUNG, testers.NOBODY))
    testers.store(manager, stored)
    while sweeping.sweep(at=timezone.now()):
        pass
    keys = {"pack": PACK, "young": YOUNG, "vin": VIN, "customer": customer, "visit": visit}
    return {**keys, **desk, "warranty": warranty, "stored": stored, "tried": tried}
