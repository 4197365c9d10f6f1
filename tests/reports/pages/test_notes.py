"""The history's lines as a person would note them."""

import pytest

from packs.models import Site
from packs.reads.history import Line
from reports.pages import notes
from tests import world

KM = notes.Around(Site(distance="km"), {"TST1": "W-1 X", "TST2": ""})
MILES = notes.Around(Site(distance="mi"), {})


def said(kind: str, summary: str, around: notes.Around = KM) -> str:
    line = Line(world.BEGUN, 3, kind, summary, "kim", "xy_1", voided=False)
    return notes.told(line, around)


@pytest.mark.parametrize(
    ("kind", "summary", "told"),
    [
        ("visit", "Visit opened: warning light, limps", "Came in: warning light, limps"),
        ("visit", "Visit opened", "Came in"),
        ("visit", "Visit changed: open → closed", "Left the shop"),
        ("visit", "Visit changed: open → waiting, 1500 km", "Waiting, odometer 1\u202f500 km"),
        ("visit", "Visit changed: waits for parts", "Waits for parts"),
        ("visit", "Visit changed: promised for 2024-03-05 14:00", "Promised for 5 Mar 2024 14:00"),
        ("visit", "Visit changed", "Visit noted anew"),
        ("swap", "Parts changed: main contactor:plus, fuse",
         "Main contactor on the plus side and fuse replaced"),
        ("swap", "Parts changed: bus bar:6", "Bus bar 6 replaced"),
        ("swap", "Modules changed at 3 (? to A-1), 5 (B-1 to ?)",
         "Modules 3 and 5 replaced (3: A-1 in; 5: B-1 out)"),
        ("swap", "Modules changed at 7 (? to ?)", "Module 7 replaced"),
        ("inspection", "Inspection: other (grade 0)", "Inspected: nothing found"),
        ("inspection", "Inspection: heat marks (grade 2, position 4), other (grade 0)",
         "Inspected: heat marks at position 4, grade 2 of 3"),
        ("inspection", "Inspection: nothing found", "Inspected: nothing found"),
        ("installation", "Put into TST1 at 1500 km, taken out 2024-03-05 at 2500 km",
         "Put into W-1 X at 1\u202f500 km, taken out 5 Mar 2024 at 2\u202f500 km"),
        ("installation", "Put into TST2", "Put into TST2"),
        ("pack", "Status in service → core due", "To go back as a core"),
        ("pack", "Pack TP-1 recorded, type NM-28", "Pack TP-1 recorded, type NM-28"),
        ("warranty", "Warranty for a module swap: 12 months, 20000 km",
         "Warranty given for a module swap: 12 months or 20\u202f000 km"),
        ("claim", "Claim under warranty: accepted", "Claim under warranty, accepted"),
        ("failure", "Failed: sense lead, code set", "Failed: sense lead, told by a trouble code"),
        ("core", "Core due by 2024-03-05", "Core due by 5 Mar 2024"),
        ("swap", "Swap voided: another pack", "Swap taken out of account: another pack"),
        ("photo", "Photograph: bus bar", "Photograph: bus bar"),
    ],
)  # fmt: skip
def test_each_kind_has_its_words(kind: str, summary: str, told: str) -> None:
    assert said(kind, summary) == told


def test_what_no_longer_counts_says_so() -> None:
    assert said("swap", "Parts changed: fuse (voided)") == "Fuse replaced (no longer counts)"


def test_distances_are_those_of_the_site_and_words_of_people_stay() -> None:
    assert said("visit", "Visit changed: 1609 km", MILES) == "Odometer 1\u202f000 mi"
    assert said("visit", "Visit opened: noise at 50 km", MILES) == "Came in: noise at 50 km"


def test_no_line_speaks_in_codes() -> None:
    for slot in ("precharge resistor", "main contactor:minus", "temperature sensor:2"):
        told = said("swap", f"Parts changed: {slot}")
        assert ":" not in told
        assert "_" not in told


def test_a_day_that_is_none_stays() -> None:
    assert said("photo", "Photograph: label 2024-99-99") == "Photograph: label 2024-99-99"
