"""Recording tests of modules by hand and from a tester's file; the page of a module."""

import math
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from packs.models import ModuleTest, PackType, TestSeries
from tests import world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
PAGE = "/modules/M-1/test/"


@pytest.fixture
def bench() -> Client:
    """Somebody at the bench; module M-1 of a type that sets marks."""
    world.pack_type()
    marks = {"capacity_ah": 5.0, "resistance_mohm": 15.0}
    PackType.objects.update(bench={"pass_marks": marks})
    world.module("M-1", donor_pack=world.pack())
    return signed_in("bench")


def said(**more: Any) -> dict[str, Any]:
    told = {"done_by": "bench", "started_at": "2024-05-02T10:00", "temperature_c": "21,5"}
    return {"sent_as": str(uuid4()), "act": "store", **told, **more}


def made_file(sign: int = 1, cut: float = 1.0) -> SimpleUploadedFile:
    """A discharge at 1.3 A with German headers, minutes and decimal commas."""
    rows = ["Prüfstand;3", "Zeit [min];Strom [A];Spannung [V]"]
    for n in range(int(300 * cut)):
        share = n / 299
        volts = 7.5 - 0.3 * share - 7.5 / (1 + math.exp(-(share - 1.0) / 0.012))
        rows.append(f"{n};{sign * 1.3:.2f};{volts:.3f}".replace(".", ","))
    return SimpleUploadedFile("prüfung.csv", "\r\n".join(rows).encode("cp1252"), "text/csv")


def field(html: str, name: str) -> str:
    """The value of a hidden field."""
    start = html.index(f'name="{name}"')
    tag = html[html.rindex("<", 0, start) : html.index(">", start)]
    return tag.split('value="')[1].split('"')[0]


def chosen(html: str, name: str) -> str:
    """The option that is chosen in a list."""
    part = html[html.index(f'<select name="{name}"') :]
    part = part[: part.index("</select>")]
    return part[: part.index(" selected")].rpartition('value="')[2].partition('"')[0]


def test_a_capacity_as_read(bench: Client) -> None:
    page = text(bench, PAGE)
    assert inline(page) == []
    assert "licensed practice decide" in words(page)
    sent = said(measured__capacity_ah="4,6", cycle="2", findings__swelling="1")
    response = bench.post(f"{PAGE}?kind=capacity", sent)
    assert response.headers["Location"] == "/modules/M-1/"
    row = ModuleTest.objects.get()
    assert (row.capacity_ah, row.cycle, row.temperature_c) == (4.6, 2, 21.5)
    assert row.measured == {"capacity_ah": 4.6, "findings": {"swelling": 1}}
    shown = words(text(bench, "/modules/M-1/"))
    assert "capacity 4.6 Ah, fails" in shown
    assert "below the mark of 5 Ah" in shown
    bench.post(f"{PAGE}?kind=capacity", sent)
    assert ModuleTest.objects.count() == 1


def test_two_currents_and_a_mistake_beside_its_field(bench: Client) -> None:
    figures = {"u1_v": "7,80", "i1_a": "0", "u2_v": "7.20", "i2_a": "30", "pulse_s": "10"}
    filled = {f"measured__{name}": value for name, value in figures.items()}
    wrong = bench.post(f"{PAGE}?kind=resistance", said(**{**filled, "measured__u2_v": "8.1"}))
    assert wrong.status_code == 422
    assert 'id="id_measured__u2_v-error"' in wrong.content.decode()
    bench.post(f"{PAGE}?kind=resistance", said(**filled))
    row = ModuleTest.objects.get()
    assert row.resistance_mohm == pytest.approx(20.0)
    assert row.computed["how"] == "pulse"


def test_a_stand_by_its_readings(bench: Client) -> None:
    told = said()
    for place, (day, volts) in enumerate((("04", "8,10"), ("07", "8,07"), ("10", "8.04"))):
        told[f"measured__readings__{place}__at"] = f"2024-05-{day}T10:00"
        told[f"measured__readings__{place}__voltage_v"] = volts
    half = {**told, "measured__readings__3__voltage_v": "8,0"}
    refused = bench.post(f"{PAGE}?kind=stand", half)
    assert 'id="id_measured__readings__3__at-error"' in refused.content.decode()
    bench.post(f"{PAGE}?kind=stand", told)
    assert ModuleTest.objects.get().stand_mv_per_day == pytest.approx(10.0)
    shown = words(text(bench, "/modules/M-1/"))
    assert "Loss at stand" in shown
    assert "10 mV a day" in shown


def test_a_load_step(bench: Client) -> None:
    figures = {"rest_v": "7.8", "load_v": "7.2", "current_a": "30", "after_s": "10"}
    bench.post(
        f"{PAGE}?kind=load", said(**{f"measured__{name}": value for name, value in figures.items()})
    )
    assert "0.60 V at 30 A" in words(text(bench, "/modules/M-1/"))


@pytest.mark.parametrize("sign", [1, -1])
def test_a_testers_file_is_shown_before_it_is_stored(bench: Client, sign: int) -> None:
    address = f"{PAGE}?kind=capacity"
    looked = bench.post(address, said(file=made_file(sign))).content.decode()
    assert not ModuleTest.objects.exists()
    assert inline(looked) == []
    shown = words(looked)
    assert "nothing is stored yet" in shown
    assert "at or above the mark of 5 Ah" in shown
    assert "Strom [A]" in shown
    assert "<polyline" in looked
    names = ["column__seconds", "column__current_a", "column__voltage_v"]
    settings = ("time_unit", "decimal", "positive", "current_unit", "voltage_unit", "dates")
    names += [f"setting__{name}" for name in settings]
    told = {name: chosen(looked, name) for name in names}
    assert told["setting__time_unit"] == "min"
    assert told["setting__decimal"] == "comma"
    assert told["setting__positive"] == ("out" if sign == 1 else "in")
    again = said(**told, kept=field(looked, "kept"))
    turned = {**again, "act": "look", "setting__positive": "in" if sign == 1 else "out"}
    assert "No current flows out" in bench.post(address, turned).content.decode()
    stored = bench.post(address, again)
    assert stored.headers["Location"] == "/modules/M-1/"
    row = ModuleTest.objects.get()
    assert row.computed["ended_by"] == "cut_off"
    assert row.capacity_ah == pytest.approx(1.3 * 299 / 60 * 0.984, rel=0.01)
    assert TestSeries.objects.get().points == 300
    bench.post(address, again)
    assert ModuleTest.objects.count() == 1
    page = text(bench, "/modules/M-1/")
    assert "Volts over ampere-hours" in words(page)
    assert "cut-off 6 V" in page


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "empty"),
        (b"\x00\x01\x02\x03", "no file of text"),
        (b"a,b\nc,d\n", "Which column?"),
        (b"Time (s),Current (A),Voltage (V)\n0,1.3,8\n60,high,7\n", "is no figure for the current"),
    ],
)
def test_a_file_that_gives_no_series_says_why(bench: Client, content: bytes, told: str) -> None:
    sent = said(file=SimpleUploadedFile("x.csv", content, "text/csv"))
    page = bench.post(f"{PAGE}?kind=capacity", sent)
    assert told in page.content.decode()
    assert not ModuleTest.objects.exists()


def test_a_file_that_came_back_broken(bench: Client) -> None:
    page = bench.post(f"{PAGE}?kind=capacity", said(kept="bm8="))
    assert page.status_code == 422
    assert "choose it again" in page.content.decode()


def test_the_desk_reads_and_records_nothing(bench: Client) -> None:
    desk = signed_in("desk")
    assert desk.get(PAGE).status_code == 403
    assert "Record a test" not in text(desk, "/modules/M-1/")
    assert text(bench, "/modules/NONE/test/", status=404)
