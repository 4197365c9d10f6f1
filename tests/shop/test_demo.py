"""The made-up shop: its mechanism is physical, its course repeats, its records hold."""

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.db.models import Count, F
from django.test import Client
from django.urls import resolve
from pytest_django import DjangoDbBlocker

from packs.models import (
    Call,
    Claim,
    Component,
    Consent,
    Core,
    CostEstimate,
    Equipment,
    Failure,
    Incident,
    Installation,
    IsolationCheck,
    Matching,
    Module,
    ModuleTest,
    Pack,
    Person,
    Photo,
    Placement,
    PlannedTest,
    Release,
    Role,
    ShippingDecision,
    Site,
    Swap,
    SwapChange,
    Visit,
    VoltageCheck,
    Warranty,
    WorkTime,
)
from packs.reads import isolation, jobs, lock_outs, openings
from packs.rules.gloves import DateRule, Gloves, refusals
from packs.rules.vehicles import vin_problem, vin_warning
from packs.rules.voltages import to_volts
from packs.writes import clients, shipping_decisions
from reports.models import Outlook, StoredFit
from shop.demo import loading, mechanism, showing, sign_ins
from shop.demo.books import FOLDER, Books
from shop.demo.calendar import Calendar
from shop.demo.events import Event
from shop.demo.mechanism import Condition, Drive, Stock
from tests import world

SET_UP = datetime(2026, 3, 3, 13, 0, tzinfo=UTC)
LEVELS = {"too_little_data", "settled", "drifting", "near_limit", "over_limit"}
BOOKS = Books()
ALDER = BOOKS.kinds["ALDER-24"].nature
DAYS = np.array([0.0, 365.0, 1461.0])


@cache
def whole_course() -> list[Event]:
    """Worked out once: nobody changes it."""
    return loading.course_of_events(BOOKS, SET_UP)


def quiet(until: str, done: int, total: int) -> None:
    """Nobody watches."""


def new_pack(seed: int = 1, heat_c: float = 0.0) -> Condition:
    rng = np.random.default_rng(seed)
    made = mechanism.make_pack(ALDER, rng, built_day=-100.0, first_day=0.0)
    return replace(made, heat_c=heat_c, hard_a=ALDER.hard_a)


def alike(pack: Condition) -> Condition:
    """The pack with every element as the first."""
    same = {
        name: np.full(ALDER.elements, getattr(pack.elements, name)[0])
        for name in mechanism.Elements.__dataclass_fields__
    }
    return replace(pack, elements=mechanism.Elements(**same))


def drive(day: float, current_a: float, temperature_c: float = 25.0) -> Drive:
    return Drive(*(np.array([x]) for x in (day, current_a, temperature_c, 0.6)))


def test_heat_speeds_ageing_as_arrhenius_says() -> None:
    assert mechanism.arrhenius(25.0, 0.36) == pytest.approx(1.0)
    # exp(0.36 eV / k · (1/298.15 K − 1/308.15 K)), worked out by hand
    assert mechanism.arrhenius(35.0, 0.36) == pytest.approx(1.5757, rel=1e-3)


def test_resistance_rises_with_time_and_faster_with_heat() -> None:
    cool = mechanism.resistance_mohm(new_pack(), DAYS)
    warm = mechanism.resistance_mohm(new_pack(heat_c=10.0), DAYS)
    assert (np.diff(cool, axis=0) > 0).all()
    assert (np.diff(warm, axis=0) > np.diff(cool, axis=0)).all()


def test_capacity_fades() -> None:
    assert (np.diff(mechanism.capacity_ah(new_pack(), DAYS), axis=0) < 0).all()


def test_of_equal_modules_the_middle_ages_most() -> None:
    aged = mechanism.resistance_mohm(alike(new_pack()), DAYS[-1:])[0]
    assert aged.argmax() in (ALDER.modules // 2 - 1, ALDER.modules // 2)
    assert aged[0] == aged.min() == pytest.approx(aged[-1])


def test_a_lost_cell_is_a_step_of_one_cell_at_rest_and_under_load() -> None:
    pack = alike(new_pack())
    lost = pack.elements.lost_day.copy()
    lost[3] = 500.0
    pack = replace(pack, elements=replace(pack.elements, lost_day=lost))
    for current_a in (0.0, 40.0):
        before = mechanism.voltages(pack, drive(499.0, current_a))[0]
        after = mechanism.voltages(pack, drive(500.0, current_a))[0]
        steps = before - after
        assert ALDER.empty_v < steps[3] < ALDER.full_v
        assert np.abs(np.delete(steps, 3)).max() < 0.01


def test_a_loose_joint_comes_with_the_current_and_goes_when_tightened() -> None:
    pack = alike(new_pack())
    loose = mechanism.loosen(pack, 5, day=0.0, mohm_per_year=10.0)
    rest, load = (
        mechanism.voltages(pack, drive(365.25, a)) - mechanism.voltages(loose, drive(365.25, a))
        for a in (0.0, 50.0)
    )
    assert rest[0] == pytest.approx(0.0)
    assert load[0, 5] == pytest.approx(0.5)
    tight = mechanism.voltages(mechanism.tighten(loose), drive(365.25, 50.0))
    assert (tight == mechanism.voltages(pack, drive(365.25, 50.0))).all()


def test_cold_raises_the_resistance() -> None:
    cold, warm = (mechanism.voltages(new_pack(), drive(0.0, 40.0, c)) for c in (0.0, 25.0))
    assert (cold < warm).all()


def test_a_pack_breaks_down_at_its_weakest_and_new_modules_put_it_off() -> None:
    pack = new_pack()
    worn = pack.elements.wear.copy()
    worn[7] = 1.0
    pack = replace(pack, elements=replace(pack.elements, wear=worn))
    found = mechanism.breakdown(pack, after=0.0, before=4000.0, day_of_year=1)
    assert found is not None
    assert (found.element, found.cause) == (7, "module")
    rng = np.random.default_rng(2)
    fresh = mechanism.make_elements(ALDER, rng, fitted_day=found.day, stock=Stock())
    renewed = mechanism.renew(pack, np.array([7]), fresh)
    until = found.day + 200.0
    assert mechanism.breakdown(renewed, after=found.day, before=until, day_of_year=1) is None


def test_blocks_are_sums_of_their_modules() -> None:
    volts = np.arange(24.0)[None]
    summed = mechanism.by_block(volts, BOOKS.kinds["ALDER-24"].sizes, ALDER)
    assert summed[0].tolist() == [4.0 * pair + 1.0 for pair in range(12)]


@pytest.mark.parametrize("file", sorted(FOLDER.glob("*.json")), ids=lambda file: file.name)
def test_every_file_says_that_it_is_made_up(file: Path) -> None:
    assert "made up" in json.loads(file.read_text(encoding="utf-8"))["about"].lower()


def test_the_vins_could_be_vins() -> None:
    vins = [row["vin"] for row in BOOKS.rows("vehicles")]
    assert len(set(vins)) == len(vins) == 129
    assert [vin for vin in vins if vin_problem(vin) or vin_warning(vin)] == []


def test_some_owners_have_two_cars_and_firms_more() -> None:
    cars = Counter(Counter(row["customer"] for row in BOOKS.rows("vehicles")).values())
    assert cars[2] >= 3
    assert max(cars) >= 4


def test_plates_serials_and_customers_are_told_once() -> None:
    plates = [row["plate"] for row in BOOKS.rows("vehicles")]
    serials = [row["serial"] for row in (*BOOKS.packs, *BOOKS.donor_packs)]
    names = [row["name"] for row in BOOKS.rows("customers")]
    for told in (plates, serials, names):
        assert len(set(told)) == len(told)


def test_pictures_are_small_and_their_folder_says_that_they_are_made_up() -> None:
    names = sorted(file.stem for file in (FOLDER / "photos").glob("*.jpg"))
    assert names == sorted(BOOKS.words["photos"])
    assert all(len(BOOKS.picture(name)) < 80_000 for name in names)
    assert "made up" in (FOLDER / "photos" / "README.md").read_text(encoding="utf-8").lower()


@pytest.mark.parametrize("weekday", range(7))
def test_whatever_the_weekday_the_last_days_are_open_ones(weekday: int) -> None:
    calendar = Calendar.of(SET_UP + timedelta(days=weekday), "Europe/Dublin")
    days = [calendar.workday(number) for number in range(-4, 4)]
    assert days == sorted(set(days))
    assert days[3] < 0 <= days[4]
    assert all(calendar.date(day).weekday() < 5 for day in days)


def test_the_same_day_gives_the_same_course_and_each_pack_is_told_in_order() -> None:
    told = whole_course()
    assert told == loading.course_of_events(BOOKS, SET_UP)
    assert max(event.at for event in told) <= SET_UP
    assert 1400 <= sum(event.kind == "voltage_check" for event in told) <= 2200
    assert sum(event.kind == "pack" for event in told) == 153
    assert min(event.at for event in told) < SET_UP - timedelta(days=6 * 365)


def test_the_shop_is_shut_at_weekends() -> None:
    calendar = Calendar.of(SET_UP, "Europe/Dublin")
    assert {calendar.date(calendar.open_day(day)).weekday() for day in range(-30, 0)} == {
        0, 1, 2, 3, 4,
    }  # fmt: skip


@pytest.mark.django_db
def test_a_small_part_loaded_twice_changes_nothing() -> None:
    client = loading.shop_client(at=SET_UP)
    told = whole_course()
    part = loading.only_about(told, frozenset({"AL-3115", "RW-8074"}))
    loading.load_all(client, part, quiet)
    before = world.contents()
    loading.load_all(loading.shop_client(at=SET_UP + timedelta(days=9)), part, quiet)
    assert world.contents() == before
    assert Pack.objects.count() == 2 + len(BOOKS.donor_packs)


@pytest.mark.django_db
def test_a_load_that_was_stopped_goes_on() -> None:
    def stop(until: str, done: int, total: int) -> None:
        if done > total / 5:
            raise KeyboardInterrupt

    client = loading.shop_client(at=SET_UP)
    told = whole_course()
    part = loading.only_about(told, frozenset({"AL-3115"}))
    with pytest.raises(KeyboardInterrupt):
        loading.load_all(client, part, stop)
    fits, checks = StoredFit.objects.count(), VoltageCheck.objects.count()
    assert 0 < fits <= loading.FITS_BEFORE
    assert not loading.is_loaded(client)
    loading.load_all(client, part, quiet)
    assert loading.is_loaded(client)
    wanted = {event.key for event in part if event.kind == "voltage_check"}
    assert checks < VoltageCheck.objects.count() == len(wanted)


@pytest.mark.django_db
def test_the_demo_keeps_out_of_other_registers() -> None:
    world.pack("TP-0001")
    before = world.contents()
    with pytest.raises(CommandError, match="leave DATABASE_URL out"):
        call_command("demo", no_serve=True)
    assert world.contents() == before


def worth_telling(told: list[Event]) -> frozenset[str]:
    """The packs about which everything stands that the tests below look for."""
    newest = SET_UP - timedelta(days=9)
    checks = [event for event in told if event.kind == "voltage_check"]
    times = Counter(event.key for event in checks)
    kinds = {"core", "photo", "void", "shipping_decision"}
    few = {event.pack for event in told if event.kind in kinds}
    few |= {event.pack for event in told if event.at > newest}
    few |= {event.pack for event in checks if times[event.key] > 1 or is_odd(event)}
    few |= {row["serial"] for row in BOOKS.packs if row.get("keeps") in {"loan", "sold"}}
    return frozenset(str(serial) for serial in few if serial)


def is_odd(event: Event) -> bool:
    """Told late, by an odd meter, at or below 0 V."""
    entry = event.entry
    late = event.at > entry["taken_at"] + timedelta(days=30)
    low = any(volts is not None and volts <= 0 for volts in entry["voltages_v"])
    return late or low or "instrument" in entry or "supersedes" in entry


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """A good part of the demo, loaded once for the tests below and taken back after them."""
    with django_db_blocker.unblock(), transaction.atomic():
        told = whole_course()
        part = loading.only_about(told, worth_telling(told))
        loading.load_all(loading.shop_client(at=SET_UP), part, quiet)
        sign_ins.make_accounts(BOOKS)
        yield
        transaction.set_rollback(True)


@pytest.mark.usefixtures("demo")
class TestDemo:
    """On SQLite alone: the demo goes nowhere else."""

    __test__ = connection.vendor == "sqlite"

    def test_every_level_comes_out_of_it(self) -> None:
        present = Outlook.objects.filter(told_until__isnull=True)
        assert present.count() == Pack.objects.count() >= 30
        assert set(present.values_list("level", flat=True)) == LEVELS

    def test_outlooks_were_given_in_the_past_as_well(self) -> None:
        fitted = StoredFit.objects.order_by("facts_through")
        assert fitted.count() == loading.FITS_BEFORE + 1
        given = Outlook.objects.filter(known_at__lt=SET_UP - timedelta(days=400))
        assert given.exclude(level="too_little_data").exists()
        assert given.filter(fit__facts_through__gt=F("as_of")).count() == 0

    def test_the_records_hold(self) -> None:
        out = StringIO()
        call_command("verify_records", stdout=out, stderr=StringIO())
        assert "Everything holds." in out.getvalue()

    def test_there_is_something_of_everything(self) -> None:
        assert Failure.objects.values("cause").distinct().count() >= 4
        assert set(Swap.objects.values_list("kind", flat=True)) == {"module", "component"}
        named = SwapChange.objects.filter(swap__kind="module").exclude(fitted=None)
        unnamed = SwapChange.objects.filter(swap__kind="module", fitted=None, removed=None)
        assert named.exists()
        assert unnamed.exists()
        assert Placement.objects.exclude(module=None).exists()
        assert Warranty.objects.exists()
        assert set(Claim.objects.values_list("decision", flat=True)) >= {"open", "accepted"}
        told = set(Pack.objects.values_list("status", flat=True))
        assert told >= {"in_service", "in_shop", "shelf", "loan", "sold", "core_due", "dismantled"}

    def test_eight_cars_are_in_the_shop_each_waiting_for_something(self) -> None:
        here = Visit.objects.exclude(state="closed")
        waiting = Counter(here.values_list("waits_for", flat=True))
        assert waiting == {
            "diagnosis": 2, "owner": 1, "parts": 2, "bench": 1, "road_test": 1, "collection": 1,
        }  # fmt: skip
        assert all(visit.vehicle_id and visit.promised_at for visit in here)
        assert here.filter(promised_at__lt=SET_UP - timedelta(hours=8)).exists()
        assert here.filter(promised_at__date=SET_UP.date()).exists()

    def test_a_car_is_back_within_its_warranty_and_nothing_claimed(self) -> None:
        back = Visit.objects.get(state="open", complaint=BOOKS.words["present"]["back"])
        running = Warranty.objects.filter(pack=back.pack, voided_at__isnull=True)
        assert running.exists()
        assert not Claim.objects.filter(visit=back).exists()

    def test_a_pack_was_found_in_another_car(self) -> None:
        found = Visit.objects.get(complaint=BOOKS.words["present"]["elsewhere"])
        sat = Installation.objects.filter(pack=found.pack, voided_at__isnull=True)
        before, now = sat.order_by("installed_at")
        assert before.vehicle_id != now.vehicle_id == found.vehicle_id
        assert before.removed_at is not None
        assert before.vehicle.customer == now.vehicle.customer

    def test_the_owners_word_is_given_outstanding_and_refused(self) -> None:
        asked = Visit.objects.get(waits_for="owner")
        assert CostEstimate.objects.filter(visit=asked).exists()
        assert not Consent.objects.filter(visit=asked, about="extra_work").exists()
        words = Consent.objects.filter(about="extra_work", estimate__isnull=False)
        assert words.filter(given=True).exists()
        assert Consent.objects.filter(about="intake", given=True).exists()
        assert all(estimate.lines.exists() for estimate in CostEstimate.objects.all())

    def test_cores_stand_in_every_state(self) -> None:
        standing = Core.objects.filter(voided_at__isnull=True)
        assert set(standing.values_list("state", flat=True)) == set(Core.State.values)
        due = standing.filter(state="due")
        assert due.filter(due_on__lt=SET_UP.date()).count() == 2
        assert due.filter(due_on__gte=SET_UP.date()).count() == 2
        assert {core.pack.status for core in due if core.pack} == {"core_due"}
        assert standing.filter(state="refused").exclude(reason="").exists()
        assert all(core.photos for core in standing.exclude(state="due"))

    def test_calls_were_made_and_are_to_be_made(self) -> None:
        booked = Call.objects.filter(outcome="booked", reason="recheck")
        week = SET_UP.date() + timedelta(days=8)
        assert sum(SET_UP.date() < (call.again_on or date.min) <= week for call in booked) == 2
        again = Call.objects.filter(outcome="not_reached", again_on=SET_UP.date())
        assert set(again.values_list("reason", flat=True)) >= {"owner_word", "outlook", "core"}

    def test_photographs_are_kept_with_their_pictures(self) -> None:
        assert Photo.objects.filter(content__isnull=False).count() >= 5

    def test_people_tools_and_site_are_a_workshops(self) -> None:
        roles = {role for person in Person.objects.all() for role in person.roles}
        assert roles == {"desk", "bench", "manager"}
        assert {row.code for row in Equipment.objects.filter(due_on__lt=SET_UP.date())} == {
            "MTR-2", "GLV-3",
        }  # fmt: skip
        site = Site.objects.get()
        shown = site.distance, site.temperature, site.date_order
        assert shown == ("km", "c", "day_month")

    def test_the_strange_is_in_it(self) -> None:
        whys = [s["why"] for c in VoltageCheck.objects.all() for s in c.suspect]
        assert sum(why.startswith("reversed polarity") for why in whys) == 1
        assert any(why.startswith("0 V") for why in whys)
        assert any("step of a cell short" in why for why in whys)
        late = VoltageCheck.objects.filter(recorded_at__gt=F("taken_at") + timedelta(days=30))
        assert late.count() == 2
        voided = VoltageCheck.objects.exclude(voided_at=None)
        assert voided.count() == 2
        assert voided.filter(superseded_by__isnull=False).count() == 1
        assert VoltageCheck.objects.filter(equipment=None).exclude(instrument="").count() == 1

    def test_a_module_reads_below_zero_only_where_it_was_put_in_wrong(self) -> None:
        below = [c for c in VoltageCheck.objects.all() if (to_volts(c.voltages) < -0.5).any()]
        assert [c.condition for c in below] == ["rest"]

    def test_an_exchange_pack_changed_cars(self) -> None:
        standing = Installation.objects.filter(voided_at__isnull=True)
        moved = standing.values("pack").annotate(cars=Count("vehicle", distinct=True))
        assert moved.filter(cars__gt=1).exists()

    def test_five_pages_are_worth_a_look(self) -> None:
        told = showing.sights()
        assert len({sight.path for sight in told}) == len(told) == 5
        shown = [resolve(sight.path).url_name for sight in told[:3]]
        assert shown == ["today", "check-in", "job"]

    def test_a_job_waits_at_each_stage(self) -> None:
        here = Visit.objects.exclude(state="closed").select_related("pack__pack_type")
        upcoming = {visit.complaint: jobs.of(visit) for visit in here}
        words = BOOKS.words["present"]
        steps = {name: job.next and job.next.name for name, job in upcoming.items()}
        assert steps[words["back"]] == "lock-out"
        assert steps[words["bench"]] == "swap"
        assert steps[words["road_test"]] == "after"
        assert steps[words["ready"]] is None
        wants = {code for code, _ in upcoming[words["road_test"]].wants}
        assert "no_load_check" in wants
        assert wants <= {"no_load_check", "over_limit"}

    def test_a_pack_lies_open_with_a_module_kept_for_it(self) -> None:
        lock_out = lock_outs.not_ended().get()
        opening = openings.state(lock_out.visit)
        assert {item.part for item in opening.out} >= {"cover", "bus_bar", "module"}
        assert opening.polarity
        assert opening.polarity_missing
        kept = Module.objects.get(reserved_for=lock_out.visit)
        assert kept.status == "reserved"
        assert Matching.objects.get().proposed["taken"][0]["module"] == kept.tag

    def test_a_job_was_released_yesterday_under_the_shops_terms(self) -> None:
        release = Release.objects.get()
        assert release.visit.state == "ready"
        assert release.warranty is not None
        terms = BOOKS.read("site")["site"]["rules"]["warranties"]["component_swap"]
        assert release.warranty.months == terms["months"]
        assert release.isolation_check is not None
        fan = Component.objects.get(tag="FAN-0412")
        assert (fan.status, fan.tests.count()) == ("fitted", 1)

    def test_an_isolation_check_tells_of_a_leak(self) -> None:
        checks = IsolationCheck.objects.filter(method="two_voltages")
        told = [isolation.judged(check) for check in checks]
        assert [one.passes for one in told] == [False]

    def test_the_stock_is_tested_and_some_of_it_fails(self) -> None:
        tagged = Module.objects.filter(tests__isnull=False).distinct()
        assert 40 <= tagged.count() <= 60
        assert set(tagged.values_list("status", flat=True)) >= {"stock", "quarantined", "scrapped"}
        assert not tagged.filter(generation="").exists()
        verdicts = Counter(test.computed["verdict"] for test in ModuleTest.objects.all())
        assert verdicts["pass"] > verdicts["fail"] > 5
        logged = ModuleTest.objects.filter(series__isnull=False)
        ends = Counter(test.computed["ended_by"] for test in logged)
        assert ends == {"cut_off": 2, "knee": 1}

    def test_one_donor_was_a_good_buy_and_one_a_poor_one(self) -> None:
        def share(serial: str) -> float:
            tested = Module.objects.filter(donor_pack__serial=serial, tests__isnull=False)
            lost = tested.filter(status="scrapped").distinct().count()
            return 1 - lost / tested.distinct().count()

        assert share("AL-2980") == 1.0
        assert share("HZ-5077") < 0.5

    def test_tests_are_planned_and_one_is_overdue(self) -> None:
        due = PlannedTest.objects.filter(due_at__lt=SET_UP)
        assert (PlannedTest.objects.count(), due.count()) == (4, 1)
        assert Module.objects.filter(status="on_test").count() == 1

    def test_a_lithium_ion_pack_stands_apart_and_its_travel_is_decided(self) -> None:
        decided = ShippingDecision.objects.get()
        assert decided.condition == "damaged_or_defective"
        assert decided.done_by is not None
        assert decided.pack is not None
        assert "dangerous goods" in decided.qualification
        assert shipping_decisions.alarming(decided.pack, SET_UP)

    def test_gloves_are_in_date_but_for_one_pair(self) -> None:
        rule = DateRule(**BOOKS.read("site")["site"]["rules"]["gloves"])
        day = SET_UP.date()
        pairs = [
            Gloves(row.code, row.rating, row.checked_on, row.issued_on, row.due_on)
            for row in Equipment.objects.filter(kind="gloves").order_by("code")
        ]
        refused = [p.code for p in pairs if refusals(p, highest_v=300, worn_on=day, rule=rule)]
        assert refused == ["GLV-3"]

    def test_times_and_a_near_miss_are_noted(self) -> None:
        assert Incident.objects.get().kind == "near_miss"
        assert not WorkTime.objects.filter(ended_at=None).exists()
        assert len(set(WorkTime.objects.values_list("stage", flat=True))) >= 5

    @pytest.mark.parametrize("row", BOOKS.rows("sign_ins"), ids=lambda row: row["role"])
    def test_each_role_signs_in(self, row: dict[str, str]) -> None:
        said = {"username": row["user_name"], "password": row["password"]}
        client = Client()
        assert client.post("/sign-in/", said).status_code == 302
        shown = Pack.objects.order_by("serial")[0]
        assert client.get(f"/packs/{shown.serial}/").status_code == 200

    def test_a_second_start_tells_and_takes_nothing_away(self) -> None:
        clients.create_token(role=Role.DESK, name="somebody", at=SET_UP)
        kept = (VoltageCheck, Visit, Call, Consent, Core, CostEstimate, Photo, Pack)
        before = {model: model.objects.count() for model in kept}
        out = StringIO()
        call_command("demo", no_serve=True, stdout=out)
        said = out.getvalue()
        assert "3 March 2026" in said
        assert all(row["password"] in said for row in BOOKS.rows("sign_ins"))
        assert "/today/" in said
        assert "/check-in/" in said
        assert {model: model.objects.count() for model in kept} == before
