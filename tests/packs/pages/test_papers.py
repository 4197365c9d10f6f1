"""Papers: what each tells to whom, as a page and as PDF, in the words of its day."""

import io
import json
import re
from datetime import timedelta
from typing import Any

import pypdf
import pytest
import typst
from django.test import Client
from django.utils import timezone

from packs.models import Visit, VoltageCheck
from packs.pages.papers import of_pack, of_visit, printing
from packs.pages.papers.blocks import Facts, Heading, Paper, Table, Text, as_data, plain
from packs.reads import names
from packs.rules.identity import encode
from packs.writes import consents, paper_texts, swaps, voiding, warranties
from packs.writes.visits import change_visit
from tests import paperwork, world
from tests.pages import inline, signed_in, text, words
from tests.paperwork import OWNER, PHONE, VIN, Paperwork

pytestmark = pytest.mark.django_db
DANGER = "local codes and licensed practice decide"
SPACE = "\u00a0"


@pytest.fixture
def done() -> Paperwork:
    paperwork.site()
    return paperwork.done()


def shown(client: Client, done: Paperwork, kind: str) -> str:
    page = text(client, f"/papers/{kind}/{done.keys[kind]}/")
    assert inline(page) == []
    return words(page)


def printed(client: Client, address: str) -> str:
    response = client.get(address)
    assert (response.status_code, response["Content-Type"]) == (200, "application/pdf")
    return read(response.content)


def read(pdf: bytes) -> str:
    assert pdf.startswith(b"%PDF-")
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return " ".join(
        " ".join(page.extract_text() for page in pages)
        .replace(SPACE, " ")
        .replace("\u200b", "")
        .split()
    )


SAID = {
    "intake": [VIN, "W-1234 X", "152 300 km", "The fan is loud", "P0A80", "asks the workshop"],
    "estimate": ["253.50 EUR", "506.00 EUR", "759.50 EUR", "151.90 EUR", "911.40 EUR", "Tax, 20 %", "I agree to this work"],
    "test_certificate": ["tester 2", "0.92 V", "0.12 V", "Limit of the spread", "1.20 V: within it", "M-NEW: used module fitted, from lot LOT-7", "moved here from position 2", "fuse", "1 of 28 module positions was changed", "Before the work", "After the work"],
    "warranty_certificate": ["12 months", "20 000 km", "172 310 km", "13 Mar 2025", "Labour included", "The modules fitted on this visit.", "Does not cover: Damage by water.", "What to do at a return"],
    "core_receipt": ["OLD-77", "1 250.00 EUR", "12 Apr 2024", "owed to us", "Complete", "Not opened", "Not flooded", "not looked at yet"],
}  # fmt: skip


@pytest.mark.parametrize("kind", SAID)
def test_a_paper_tells_its_facts_as_a_page_and_as_pdf(done: Paperwork, kind: str) -> None:
    desk = signed_in("desk")
    page = shown(desk, done, kind)
    pdf = printed(desk, f"/papers/{kind}/{done.keys[kind]}/pdf")
    for said in (*SAID[kind], OWNER, PHONE, DANGER, "Riverside Pack Works", done.keys[kind]):
        assert said in page.replace("\u202f", " "), said
        assert said.replace(" ", "") in pdf.replace("\u202f", "").replace(" ", ""), said


@pytest.mark.parametrize("kind", SAID)
def test_the_bench_sees_papers_without_the_owner(done: Paperwork, kind: str) -> None:
    bench = signed_in("bench")
    address = f"/papers/{kind}/{done.keys[kind]}/"
    for said in (shown(bench, done, kind), printed(bench, address + "pdf")):
        assert VIN in said or kind == "core_receipt"
        assert OWNER not in said
        assert "+43 660" not in said


def test_papers_are_for_the_signed_in_and_only_where_there_is_one(done: Paperwork) -> None:
    assert Client().get(f"/papers/intake/{done.visit}/").status_code == 302
    desk = signed_in("desk")
    for address in ("intake/vi_00000000/", "letter/vi_00000000/", "intake/x/pdf"):
        assert desk.get(f"/papers/{address}").status_code == 404
    assert desk.post(f"/papers/intake/{done.visit}/").status_code == 405


@pytest.mark.parametrize("kind", SAID)
def test_the_pdf_is_tagged_titled_and_holds_its_fonts(done: Paperwork, kind: str) -> None:
    response = signed_in("desk").get(f"/papers/{kind}/{done.keys[kind]}/pdf")
    assert f"{kind}-{done.keys[kind]}.pdf" in response["Content-Disposition"]
    reader = pypdf.PdfReader(io.BytesIO(response.content))
    assert reader.metadata is not None
    assert reader.metadata.title
    root: Any = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].startswith("en")
    pages: list[Any] = list(reader.pages)
    fonts = [font.get_object() for page in pages for font in page["/Resources"]["/Font"].values()]
    held = [
        font["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object() for font in fonts
    ]
    assert all({"/FontFile2", "/FontFile3"} & set(descriptor) for descriptor in held)


def test_the_template_meets_the_rules_for_accessible_pdf(done: Paperwork) -> None:
    """The typesetter refuses PDF/UA-1 where a title, a language or an order is missing."""
    paper = every_block(OWNER)
    said = json.dumps({**as_data(paper), "size": "a4", "region": "GB"})
    template = str(printing.TEMPLATE)
    pdf = typst.compile(template, format="pdf", sys_inputs={"paper": said}, pdf_standards="ua-1")
    assert isinstance(pdf, bytes)
    assert "PDF" in pdf[:8].decode()


def every_block(said: str, name: str | None = None) -> Paper:
    """A paper that says this wherever a paper can, or `name` where only a short one can stand."""
    name = said if name is None else name
    table = Table(name, (name, "b"), ((said, "1"),), right=(1,), foot=((said, "2"),))
    blocks = (Heading(name), Text((said,)), Facts(((name, said),)), table)
    return Paper("intake", "vi_0", name, name, name, blocks, notice=said)


@pytest.mark.parametrize(
    "said",
    ["#import \"x\": *", "<script>alert(1)</script>", "*bold* _it_ $x^2$ @ref `raw` = h", "\\u{41} // c", "Ω ° – “ ” ‘ ’ ½ € £ − × ≥", "Łukasz Ñuñez Őry Ğül Ţepeş", "Αλέξανδρος Ώρα", "Щербаков Їжак Ђорђе"],
)  # fmt: skip
def test_what_people_wrote_comes_out_as_text(said: str) -> None:
    pdf = read(pdf_of(every_block(said)))
    assert pdf.replace(" ", "").count(said.replace(" ", "")) >= 7


def pdf_of(paper: Paper) -> bytes:
    return printing.as_pdf(paper, size="a4", region="GB", at=timezone.now())


def test_signs_that_turn_a_line_are_left_out() -> None:
    assert plain("a\u202eb\u2066c\u0007d\r\ne\tf\u200bg") == "abcd\ne fg"
    assert "abc" in read(pdf_of(every_block("a\u202ebc")))


@pytest.mark.parametrize("letter", ["x", "x y ", "x\n"])
def test_five_thousand_letters_stay_on_the_sheet(letter: str) -> None:
    said = (letter * 5000)[:5000]
    reader = pypdf.PdfReader(io.BytesIO(pdf_of(every_block(said, "short"))))
    assert sum(page.extract_text().count("x") for page in reader.pages) == 5 * said.count("x")
    right = max(x for page in reader.pages for x in placed(page))
    assert right < reader.pages[0].mediabox.width


def placed(page: pypdf.PageObject) -> list[float]:
    """Where the pieces of text of a page begin, points from its left edge."""
    found: list[float] = []

    def see(_: str, __: Any, matrix: list[float], *___: Any) -> None:
        found.append(matrix[4])

    page.extract_text(visitor_text=see)
    return found


def test_hostile_words_of_a_visit_come_out_as_text() -> None:
    paperwork.site()
    said = '#import "/etc/passwd"\n<script>alert(1)</script> ' + "y" * 4000
    paperwork.car(world.pack())
    visit = paperwork.opened(complaint=said)
    page = text(signed_in("desk"), f"/papers/intake/{visit}/")
    assert "&lt;script&gt;alert(1)" in page
    assert '#import"/etc/passwd"' in printed(
        signed_in("manager"), f"/papers/intake/{visit}/pdf"
    ).replace(" ", "")


@pytest.mark.parametrize(
    ("changes", "asked", "width"),
    [({}, "", 595), ({"date_order": "month_day"}, "", 612), ({}, "?size=letter", 612), ({"date_order": "month_day"}, "?size=a4", 595)],
)  # fmt: skip
def test_a_sheet_is_a4_or_letter(changes: dict[str, Any], asked: str, width: int) -> None:
    paperwork.site(**changes)
    visit = paperwork.done().visit
    response = signed_in("desk").get(f"/papers/intake/{visit}/pdf{asked}")
    reader = pypdf.PdfReader(io.BytesIO(response.content))
    assert int(reader.pages[0].mediabox.width) == width


def test_papers_are_written_as_the_site_likes() -> None:
    paperwork.site(date_order="month_day", distance="mi", temperature="f", currency="USD")
    done = paperwork.done()
    desk = signed_in("desk")
    assert "911.40 USD" in shown(desk, done, "estimate").replace(SPACE, " ")
    warranty = shown(desk, done, "warranty_certificate").replace("\u202f", " ")
    assert "12 427 mi" in warranty
    assert "Mar 13, 2025" in warranty
    assert "75 °F" in shown(desk, done, "test_certificate")


def test_a_paper_reads_the_words_of_its_day(done: Paperwork) -> None:
    """The warranty is of day 12: the words of day 5 are its own, those of day 400 are not."""
    first = {"paper": "warranty_certificate", "heading": "Our promise", "opening": "Old words."}
    row = paper_texts.create_paper_text(by=world.actor(), at=world.later(5), entry=first).row
    new = {"heading": "New promise", "opening": "New words."}
    paper_texts.change_paper_text(
        row, by=world.actor(), at=world.later(400), version=1, changes=new
    )
    page = shown(signed_in("desk"), done, "warranty_certificate")
    assert "Our promise" in page
    assert "Old words." in page
    assert "New" not in page
    later = {"starts_on": world.later(401).date(), "visit": None}
    world_at = world.later(401)
    assert "New words." in shown_later(done, later, world_at)


def shown_later(done: Paperwork, changes: dict[str, Any], at: Any) -> str:
    entry = {"pack": done.pack.serial, "repair_kind": "rebuild", "months": 6, **changes}
    row = warranties.record_warranty(by=world.actor(), at=at, entry=entry).row
    key = encode(row.PREFIX, row.pk)
    return words(text(signed_in("manager"), f"/papers/warranty_certificate/{key}/"))


def test_before_the_shop_wrote_its_own_the_words_are_the_registers(done: Paperwork) -> None:
    own = {"paper": "intake", "heading": "Ours"}
    paper_texts.create_paper_text(by=world.actor(), at=world.later(50), entry=own)
    assert "Intake sheet" in shown(signed_in("desk"), done, "intake")


@pytest.mark.parametrize("kind", ["test_certificate", "intake", "estimate"])
def test_nothing_says_rebuilt_where_modules_were_changed(done: Paperwork, kind: str) -> None:
    assert "rebuil" not in shown(signed_in("desk"), done, kind).lower()


def test_a_rebuild_is_told_where_it_was_one(done: Paperwork) -> None:
    paperwork.warranted(done.pack, done.visit, repair_kind="rebuild")
    page = shown(signed_in("desk"), done, "test_certificate")
    assert "The warranty of this visit is given for a rebuild." in page
    assert "was rebuilt" not in page


def test_where_every_position_was_changed_the_pack_was_rebuilt(done: Paperwork) -> None:
    changes = [{"position": place, "orientation": "normal"} for place in range(1, 29)]
    entry = {
        "pack": done.pack.serial,
        "visit": done.visit,
        "kind": "module",
        "done_at": world.later(11.5),
        "changes": changes,
    }
    swaps.record_swap(by=world.actor(), at=world.later(12), entry=entry)
    page = shown(signed_in("desk"), done, "test_certificate")
    assert "All 28 module positions were changed: the pack was rebuilt." in page


def test_checks_that_name_no_visit_count_while_it_lasts(done: Paperwork) -> None:
    for day, spread in ((9, 0.5), (12.5, 0.3)):
        at = world.later(day)
        world.check(done.pack, paperwork.weak(8, spread), at=at, taken_at=at, **paperwork.LOAD)
    page = shown(signed_in("desk"), done, "test_certificate")
    assert "0.92 V" in page.replace(SPACE, " ")
    assert "0.32 V" in page.replace(SPACE, " ")
    assert "0.52 V" not in page.replace(SPACE, " ")


def test_a_visit_that_was_opened_again_goes_on(done: Paperwork) -> None:
    for day, state in ((13, "closed"), (14, "open")):
        row = names.addressed(Visit.objects.all(), done.visit)
        changes = {"state": state}
        at = world.later(day)
        change_visit(row, by=world.actor(), at=at, version=row.version, changes=changes)
    at = world.later(15)
    world.check(done.pack, paperwork.weak(8, 0.7), at=at, taken_at=at, **paperwork.LOAD)
    page = shown(signed_in("desk"), done, "test_certificate")
    assert "0.72 V" in page.replace(SPACE, " ")


def test_a_check_before_the_work_alone_is_no_check_after_it(done: Paperwork) -> None:
    last = VoltageCheck.objects.order_by("-taken_at").first()
    assert last is not None
    voiding.void(last, by=world.actor(), at=world.later(13), reason="wrong pack")
    page = shown(signed_in("desk"), done, "test_certificate")
    assert "No check was recorded after the work." in page
    assert "After the work" not in page


def test_a_paper_of_a_voided_record_says_so(done: Paperwork) -> None:
    second = paperwork.estimated(done.visit, supersedes=done.estimate)
    assert "Replaced: a later record" in shown(signed_in("desk"), done, "estimate")
    assert "Replaced" not in words(text(signed_in("bench"), f"/papers/estimate/{second}/"))


def test_the_owners_word_stands_on_the_estimate(done: Paperwork) -> None:
    paperwork.agreed(done.visit, done.estimate)
    page = shown(signed_in("desk"), done, "estimate")
    assert "The owner agreed, by telephone, on 12 Mar 2024" in page
    assert "I agree to this work" not in page


def test_the_word_on_the_intake_sheet_is_that_of_the_day(done: Paperwork) -> None:
    assert "Place and date" in shown(signed_in("desk"), done, "intake")
    entry = {"visit": done.visit, "about": "intake", "given": True, "how": "mail"}
    at = world.later(10.2)
    consents.record_consent(by=world.actor(), at=at, entry={**entry, "wording": "Open it, please."})
    page = shown(signed_in("manager"), done, "intake")
    assert "Open it, please." in page
    assert "The owner agreed, by mail, on 11 Mar 2024" in page
    assert "asks the workshop" not in page
    assert "Place and date" not in page


def test_links_of_a_visit_and_of_a_pack(done: Paperwork) -> None:
    visit = names.addressed(Visit.objects.all(), done.visit)
    desk = of_visit(visit, roles=frozenset({"desk"}))
    kinds = [re.findall(r"/papers/(\w+)/", link.address)[0] for link in desk.links]
    assert kinds == list(SAID)
    assert desk.new_estimate == f"/visits/{done.visit}/estimate/"
    assert desk.links[1].next_address == f"/estimates/{done.estimate}/word/"
    bench = of_visit(visit, roles=frozenset({"bench"}))
    assert bench.new_estimate == bench.links[1].next_address == ""
    of = [link.label for link in of_pack(done.pack)]
    assert of == ["Warranty certificate", "Test certificate"]
    page = text(signed_in("desk"), f"/visits/{done.visit}/papers/")
    assert all(
        f'href="{link.address}"' in page and f'href="{link.pdf}"' in page for link in desk.links
    )


def test_a_fresh_visit_has_its_intake_sheet_alone() -> None:
    paperwork.site()
    paperwork.car(world.pack())
    visit = names.addressed(Visit.objects.all(), paperwork.opened())
    assert [link.label for link in of_visit(visit).links] == ["Intake sheet"]
    assert world.later() + timedelta(days=10) == visit.opened_at
