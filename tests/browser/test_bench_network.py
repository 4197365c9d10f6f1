"""Tablets at one job: two of them, and one that loses its network."""

from contextlib import suppress

import pytest
from playwright.sync_api import Error, Page, Route, expect

from packs.models import Teardown
from tests.browser import bench
from tests.browser.bench import Tablet
from tests.browser.conftest import Open

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
OUT = "Note that it is out"
LOOK_MS = 10_000  # a tablet looks at what others stored every so often
CUT_MS = 120_000
BOARD = {"part": "junction_board", "count_1": 4, "count_2": 4, "count_3": 4}


@pytest.fixture
def visit(window: Open) -> str:
    """A job with its pack locked out; the database is that of the windows."""
    return bench.locked_out()


def at_work(page: Page, visit: str, step: str = "teardown") -> Tablet:
    """A tablet on a page of the job, whose clock the test can turn on."""
    page.clock.install()
    tablet = Tablet(page, visit)
    tablet.go(step)
    page.wait_for_function("() => localStorage.getItem('job-clock-ms') !== null")
    return tablet


def cut(tablet: Tablet) -> None:
    tablet.page.context.set_offline(True)


def mend(tablet: Tablet) -> None:
    tablet.page.context.set_offline(False)


def stored() -> list[str]:
    return list(Teardown.objects.order_by("happened_at", "pk").values_list("part", flat=True))


def test_two_tablets_on_one_job_see_each_others_entries(window: Open, visit: str) -> None:
    first = at_work(window("bench", width=820), visit)
    second = at_work(window("manager", width=820), visit, "reassembly")
    third = at_work(window("manager", width=820), visit)
    third.fill({"done_by": "ash", "note": "half a sentence"})
    first.store({"part": "cover"}, OUT)
    assert "Out now: cover." in first.says()
    for other in (second, third):
        other.page.clock.fast_forward(LOOK_MS)
    expect(second.page.get_by_role("main")).to_contain_text("Cover is still out.")
    expect(third.others()).to_be_visible()
    expect(third.page.get_by_role("listitem").filter(has_text="Teardown: done")).to_be_visible()
    expect(third.box("note")).to_have_value("half a sentence")
    third.store(BOARD, OUT, done_by="ash")
    first.page.clock.fast_forward(LOOK_MS)
    expect(first.page.get_by_role("main")).to_contain_text("Out now: cover, junction board.")


def test_a_cut_of_two_minutes_loses_nothing_and_doubles_nothing(window: Open, visit: str) -> None:
    tablet = at_work(window("bench", width=820), visit)
    cut(tablet)
    expect(tablet.strip()).to_contain_text("No network. What you store is kept on this tablet")
    tablet.keep({"part": "cover", "note": "in the rain"}, OUT)
    expect(tablet.strip()).to_contain_text("One entry is kept on this tablet (Take it apart)")
    expect(tablet.box("note")).to_have_value("")
    tablet.keep(BOARD, OUT, done_by="ash")
    expect(tablet.strip()).to_contain_text("2 entries are kept on this tablet")
    tablet.page.clock.fast_forward(CUT_MS)
    tablet.page.get_by_role("link", name="Isolation").first.click()
    expect(tablet.page.get_by_role("heading", level=1)).to_have_text("Take it apart")
    expect(tablet.strip()).to_contain_text("2 entries are kept")
    assert stored() == []
    mend(tablet)
    expect(tablet.page.get_by_role("main")).to_contain_text("Out now: cover, junction board.")
    expect(tablet.strip()).to_be_hidden()
    tablet.page.clock.fast_forward(CUT_MS)
    tablet.go("teardown")
    assert stored() == ["cover", "junction_board"]
    cover, board = Teardown.objects.order_by("pk")
    assert cover.note == "in the rain"
    assert cover.done_by is not None
    assert board.done_by is not None
    assert (cover.done_by.code, board.done_by.code) == ("kim", "ash")
    assert cover.happened_at < board.happened_at < cover.recorded_at


def test_a_lost_answer_doubles_nothing(window: Open, visit: str) -> None:
    tablet = at_work(window("bench", width=820), visit)

    def lose(route: Route) -> None:
        if route.request.method == "POST":
            route.fetch(max_redirects=0)
            route.abort("internetdisconnected")
        else:
            route.continue_()

    tablet.page.route("**/job/teardown/", lose)
    tablet.keep({"part": "cover"}, OUT)
    expect(tablet.strip()).to_contain_text("One entry is kept")
    assert stored() == ["cover"]
    tablet.page.unroute("**/job/teardown/")
    tablet.page.clock.fast_forward(LOOK_MS)
    expect(tablet.strip()).to_be_hidden()
    assert tablet.page.evaluate("() => localStorage.getItem('job-entries')") == "[]"
    assert stored() == ["cover"]


def test_what_is_refused_later_is_kept_and_told(window: Open, visit: str) -> None:
    tablet = at_work(window("bench", width=820), visit)
    cut(tablet)
    tablet.keep({"part": "module", "places": 8, "note": "it was warm"}, OUT)
    mend(tablet)
    expect(tablet.strip()).to_contain_text("Not stored, and kept on this tablet: Take it apart.")
    expect(tablet.strip()).to_contain_text("note that it came out first")
    tablet.go("inspection")
    expect(tablet.strip()).to_contain_text("Not stored")
    tablet.strip().get_by_role("link").click()
    expect(tablet.box("note")).to_have_value("it was warm")
    expect(tablet.box("places")).to_have_value("8")
    tablet.store({"part": "bus_bar", "places": "7-8"}, OUT)
    expect(tablet.strip()).to_be_hidden()
    assert stored() == ["bus_bar"]
    cut(tablet)
    tablet.keep({"part": "module", "places": 3}, OUT)
    mend(tablet)
    tablet.strip().get_by_role("button", name="Drop it").click()
    expect(tablet.strip()).to_be_hidden()
    assert stored() == ["bus_bar"]


def test_what_waits_outlives_the_page(window: Open, visit: str) -> None:
    tablet = at_work(window("bench", width=820), visit)
    cut(tablet)
    tablet.keep({"part": "cover"}, OUT)
    expect(tablet.strip()).to_contain_text("One entry is kept")
    with suppress(Error):  # the browser says that there is no network
        tablet.page.reload()
    mend(tablet)
    tablet.go()
    expect(tablet.page.get_by_role("main")).to_contain_text("Cover is still out.")
    assert stored() == ["cover"]
