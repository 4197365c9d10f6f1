"""A pack from arrival to release at a tablet: each mistake of the bench is caught on its page."""

import pytest

from packs.models import LockOut, Reassembly, Release, Swap, Teardown, Visit, Warranty
from tests import eleven
from tests.browser import bench
from tests.browser.bench import Tablet
from tests.browser.conftest import Open

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
LOCK_OUT = {
    "worn__eye_protection": True, "gloves": "G-OLD", "worn__gloves_air_tested": True,
    "worn__protectors": True, "worn__insulated_tools": True, "done__key_away": True,
    "done__twelve_v_off": True, "done__switch_out": True, "switch_kept_by": "kim",
    "waited_min": 12, "meter": "DMM-1", "source_v": 12.6, "source_before_v": 12.6,
    "readings__plus_minus_v": 0.4, "readings__plus_case_v": 0.1, "readings__minus_case_v": -0.2,
    "source_after_v": 12.5, "done__covers": True,
}  # fmt: skip
BARS = f"{eleven.BAD - 1}-{eleven.BAD}"
OUT, BACK, READ = "Note that it is out", "Note that it is back", "Store the reading"
KINDS = {row["kind"]: f"count_{at}" for at, row in enumerate(eleven.LAYOUT["fasteners"])}
CLEAR = ("done__tools_out", "done__tools_counted", "done__covers_on", "done__everybody_clear")


def test_a_pack_goes_from_arrival_to_release(window: Open) -> None:
    visit = bench.car_here()
    tablet = Tablet(window("bench", width=820), visit)
    arrive(tablet)
    lock_out(tablet)
    take_apart(tablet)
    swap(tablet)
    put_back(tablet)
    prove(tablet)
    close(tablet)
    release(tablet)


def arrive(tablet: Tablet) -> None:
    tablet.go()
    assert "Next: as found" in tablet.says()
    for condition in ("rest", "load"):
        tablet.check("checks", condition, eleven.as_found(condition))
    said = tablet.says()
    assert "Sense lead, positions 3 and 4: neighbours off by the same amount" in said
    assert "the lead they share reads wrong, not the parts" in said
    assert "clean and tighten the sense lead between positions 3 and 4" in said
    assert "Slow module, position 8" in said
    tablet.go("codes")
    tablet.store({"code": "P0A80", "frame": "current: 61 A"}, "Store the code")
    assert "Code P0A80 is stored." in tablet.says()
    tablet.go("inspection")
    tablet.store({"blocked_filter_grade": "2"}, "Store the inspection")
    assert "blocked filter: grade 2" in tablet.says().lower()


def lock_out(tablet: Tablet) -> None:
    tablet.go("teardown")
    assert "Nothing may come out yet. No lock-out stands on this visit." in tablet.says()
    assert not tablet.page.locator("#step").count()
    tablet.go("lock-out")
    tablet.store(LOCK_OUT, "Store the lock-out")
    assert "take a pair in date, and send these to be tested" in tablet.wrong()
    assert tablet.box("gloves").get_attribute("aria-invalid") == "true"
    assert tablet.box("waited_min").input_value() == "12"
    tablet.fill({"gloves": "G-NEW"})
    tablet.press("Store the lock-out")
    assert "The pack side stays live" in tablet.says()
    assert LockOut.objects.count() == 1


def take_apart(tablet: Tablet) -> None:
    """Nothing but a scanner; the drawing follows."""
    tablet.go("teardown")
    tablet.scan({"done_by": "kim", "part": "cover"})
    tablet.scan({"done_by": "kim", "part": "junction", **counts(4)})
    tablet.scan({"done_by": "kim", "part": "module", "places": str(eleven.BAD)})
    assert "note that it came out first" in tablet.wrong()
    tablet.go("teardown")
    bolts = {KINDS[eleven.BAR_BOLT]: "4"}
    tablet.scan({"done_by": "kim", "part": "bus", "places": BARS, **bolts}, ending="Tab")
    tablet.scan({"done_by": "kim", "part": "module", "places": "8", "as_type": bench.YES})
    assert "Out now: cover, junction board, " not in tablet.says()
    assert "up to 96.0 V" in tablet.says()
    assert Teardown.objects.count() == 4


def counts(spacers: int) -> dict[str, str]:
    four = {KINDS[kind]: "4" for kind in (eleven.BOARD_BOLT, eleven.LONG_BOLT)}
    return {**four, KINDS[eleven.SPACER]: str(spacers)}


def swap(tablet: Tablet) -> None:
    tablet.go("swap")
    said = {"done_by": "kim", "changes__0__position": "8", "changes__0__fitted": eleven.FITTED}
    tablet.scan({**said, "reason": "low at rest and under load"})
    change = Swap.objects.get().changes.get()
    assert (change.position, change.fitted and change.fitted.tag) == (8, eleven.FITTED)


def put_back(tablet: Tablet) -> None:
    """A lead at the wrong place is told at once, and so is a module that was turned."""
    tablet.go("reassembly", "?kind=fitted")
    module = {"part": "module", "places": "8", "as_seen": True}
    tablet.page.get_by_text("One lies otherwise").click()
    tablet.store({**module, "odd_position": 8, "odd_sense_lead": "S9"}, BACK)
    assert "the sense lead is 'S9' now and was 'S8'; put it back as it was" in tablet.wrong()
    tablet.go("reassembly", "?kind=fitted")
    tablet.scan({"done_by": "kim", "part": "module", "places": "8", "as_seen": bench.YES})
    tablet.go("reassembly", "?kind=polarity")
    rest = eleven.healthy("rest")
    volts = {f"volt_{at}": f"{rest[at - 1]}" for at in (7, 8, 9)}
    tablet.scan({"done_by": "kim", **volts, "volt_8": f"-{volts['volt_8']}"}, ending="Tab")
    assert "Position 8 reads -15.61 V: it stands the wrong way round. Turn it" in tablet.says()
    tablet.go("reassembly", "?kind=fitted")
    tight = {KINDS_BACK[eleven.BAR_BOLT]: "4", "torque_nm": "5.4", "tool": "TRQ-1"}
    bars = {"done_by": "kim", "part": "bus", "places": BARS, **tight, "paint": bench.YES}
    tablet.scan(bars)
    assert "it stands the wrong way round. Turn it and measure it again" in tablet.wrong()
    tablet.go("reassembly", "?kind=polarity")
    tablet.scan({"done_by": "kim", "volt_8": volts["volt_8"]})
    tablet.go("reassembly", "?kind=equalised")
    equal = {f"volt_{at}": volts["volt_8"] for at in (7, 8)}
    tablet.store({**equal, "note": "in parallel over night"}, READ)
    tablet.go("reassembly", "?kind=fitted")
    tablet.scan(bars)
    assert "Half 1" in tablet.says()


KINDS_BACK = {kind: f"count_{at}" for at, kind in enumerate(KINDS)}  # all are out at that time


def prove(tablet: Tablet) -> None:
    """Each half against its sum; a loose joint shows under load alone."""
    sums = eleven.repaired()
    for number in (1, 2):
        read_half(tablet, number, half_v=eleven.half(number, sums))
        assert f"Half {number}: {eleven.half(number, sums):.2f} V" in tablet.says()
    loose = eleven.under_load(2, eleven.LOOSE_MOHM)
    read_half(tablet, 2, half_v=loose, current_a=eleven.LOAD_A)
    said = tablet.says()
    assert "It agrees at rest and is short under 20 A: a joint of about 30" in said
    assert "clean and tighten the joint that shows it" in said
    tablet.go("re-energise")
    assert "Not yet. What stands in the way" in tablet.says()
    read_half(tablet, 2, half_v=eleven.under_load(2), current_a=eleven.LOAD_A)
    assert "modules at the pass mark may have" in tablet.says()


def read_half(tablet: Tablet, number: int, **said: float) -> None:
    tablet.go("reassembly", "?kind=half")
    tablet.store({"half": number, **said, "meter": "DMM-1"}, READ)


def close(tablet: Tablet) -> None:
    """Of four spacers three go back: the page will not let the switch in."""
    put(tablet, "junction_board", counts_back(3))
    put(tablet, "cover", {})
    for step in ("re-energise", "release"):
        tablet.go(step)
        assert "spacer: 3 of 4 back, 1 left. Loose: look for it in the case" in tablet.says()
    tablet.go("teardown")
    tablet.store({"part": "cover"}, OUT)
    tablet.store({"part": "junction_board", **counts(3)}, OUT)
    put(tablet, "junction_board", counts_back(4))
    put(tablet, "cover", {})
    tablet.go("re-energise")
    tablet.store(dict.fromkeys(CLEAR, True), "Store the re-energising")
    assert "Re-energised. To open the pack again needs a new lock-out." in tablet.says()


def counts_back(spacers: int) -> dict[str, str]:
    """Kinds that are out by their place among those; the bars' bolts are back."""
    return {"count_0": "4", "count_1": "4", "count_2": str(spacers)}


def put(tablet: Tablet, part: str, said: dict[str, str]) -> None:
    tablet.go("reassembly", "?kind=fitted")
    tablet.store({"part": part, **said}, BACK)


def release(tablet: Tablet) -> None:
    tablet.go("release")
    for one in ("No isolation check", "1 trouble code is not cleared", "No check at rest after",
                "No check under load after"):  # fmt: skip
        assert one in tablet.says()
    tablet.go("isolation", "?method=tester")
    tablet.box("scope").check()
    tablet.store({"pack_v": 171, "test_v": 500, "isolation_ohm": 5000}, "Store the check")
    assert "Passes." in tablet.says()
    tablet.go("codes")
    tablet.page.get_by_text("They are cleared now").click()
    tablet.page.locator("#clear_done_by").select_option("kim")
    tablet.press("Record as cleared")
    assert "All are cleared." in tablet.says()
    for condition in ("rest", "load"):
        tablet.check("after", condition, eleven.healthy(condition))
    tablet.go("release")
    assert "Everything is there. Who signs releases it." in tablet.says()
    road = {"road_test__distance_km": 14, "road_test__highest_current_a": 88}
    said = {"codes_clear": True, "warranty__repair_kind": "module_swap", "odometer_km": 151_010}
    tablet.store({**road, **said}, "Release")
    assert "Released. The visit is ready, and the re-check is booked." in tablet.says()
    row, promised = Release.objects.get(), Warranty.objects.get()
    assert (row.warranty, promised.months, row.recheck_km) == (promised, 12, 152_010)
    assert (Visit.objects.get().state, Visit.objects.get().waits_for) == ("ready", "collection")
    assert Reassembly.objects.filter(kind="half").count() == 4
