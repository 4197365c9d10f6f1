"""The page of a check-in: one box for the car, what is known of it in one look, one form."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html

from packs.errors import Contradiction, DomainError, Fault
from packs.models import Customer, Pack, Site, Vehicle, Visit
from packs.pages.arrival import (
    CAME,
    CODE_ROWS,
    CODE_ROWS_MAX,
    PACK,
    SERIAL,
    ArrivalForm,
    answered,
    shown_of,
)
from packs.pages.doors import actor, form
from packs.pages.forms import Km
from packs.pages.promises import kind, past, until
from packs.pages.units import day, distance
from packs.reads import arrivals, names, papers, questions, searching, sites
from packs.reads.arrivals import Arrival
from packs.rules.identity import decode, encode
from packs.rules.vehicles import as_scanned, normalise_vin, vin_problem, vin_warning
from packs.writes.check_in import CheckedIn
from packs.writes.check_in import check_in as store

LONGEST = 200  # characters searched for, as the API takes them
ADDRESS = "check-in"
INTAKE = "intake"


@dataclass(frozen=True)
class Choice:
    """One of several that may be meant: what kind it is, a line to read, where it leads."""

    kind: str
    title: str
    address: str


@form("vehicles")
def check_in(request: HttpRequest) -> HttpResponseBase:
    """A car comes in: found by `q`, `vehicle` or `pack`, or `new`; then checked in."""
    now = timezone.now()
    if request.method == "POST":
        return _posted(request, now)
    asked = request.GET
    if asked.get("q", "").strip():
        return _found(request, asked["q"].strip()[:LONGEST], now)
    if not {"vehicle", "pack", "customer", "new"} & asked.keys():
        return render(request, "packs/check_in/find.html", {})
    return _shown(request, _blank(asked, now))


def _found(request: HttpRequest, text: str, now: datetime) -> HttpResponseBase:
    """The one that is meant, the several that may be, or the form of a new car."""
    hits = searching.find(text, with_customers=True)
    hits = [hit for hit in hits if hit.kind in {"vehicle", "pack", "customer"}]
    one = searching.meant(hits)
    choices = _choices(hits if one is None else [one])
    if len(choices) == 1:
        return redirect(choices[0].address)
    if choices:
        context = {"text": text, "choices": choices, "cut": len(hits) == searching.FOUND_MAX}
        return render(request, "packs/check_in/find.html", context)
    return _shown(request, _blank(QueryDict(urlencode({"new": text})), now), missed=text)


def _choices(hits: Sequence[searching.Hit]) -> list[Choice]:
    """Each with its way to the form; an owner by their cars."""
    choices = []
    owners = [hit for hit in hits if hit.kind == "customer"]
    for hit in hits:
        if hit.kind == "customer":
            choices += _cars_of(hit, alone=len(owners) == 1)
        else:
            label = "car" if hit.kind == "vehicle" else "pack"
            choices.append(Choice(label, hit.title, _to(**{hit.kind: hit.key})))
    return list({choice.address: choice for choice in choices}.values())


def _cars_of(hit: searching.Hit, *, alone: bool) -> list[Choice]:
    """The cars of an owner; and another one, where no other owner may be meant or none is known."""
    number = decode(Customer.PREFIX, hit.key)
    cars = Vehicle.objects.filter(customer=number).order_by("plate", "vin")
    name = hit.title.split(" · ")[0]
    told = [Choice("car", _titled(car, name), _to(vehicle=car.vin)) for car in cars]
    another = Choice("owner", f"{name} · another car", _to(customer=hit.key))
    return [*told, another] if alone or not told else told


def _titled(car: Vehicle, owner: str) -> str:
    return " · ".join(filter(None, [car.plate or car.vin, car.description, owner]))


def _to(**query: str) -> str:
    return f"{reverse(ADDRESS)}?{urlencode(query)}"


def _blank(asked: QueryDict, now: datetime) -> ArrivalForm:
    """The form as it is first seen."""
    known, fixed = _subject(asked, now)
    first: dict[str, Any] = {} if fixed else dict(guess(asked.get("new", "")))
    if known.vehicle is not None:
        first["vehicle__vin"] = known.vehicle.vin
    elif known.pack is not None:
        first["pack__serial"] = known.pack.serial
    if "customer" in asked:
        owner = names.addressed(Customer.objects.all(), asked.get("customer", ""))
        key = encode(Customer.PREFIX, owner.pk)
        first |= {"owner__name": owner.name, "owner__customer": key, "asked_owner": owner.name}
    return ArrivalForm(known=known, site=sites.present(), fixed=fixed, initial=first)


def guess(text: str) -> dict[str, str]:
    """Where in the form of a new car that goes which was found nowhere."""
    said = as_scanned(text)
    if vin_problem(normalise_vin(said)) is None:
        return {"vehicle__vin": normalise_vin(said)}
    if any(letter.isdigit() for letter in said) and len(said) <= 20:
        return {"vehicle__plate": said.upper()}
    return {"owner__name": said} if said and not said.isdigit() else {}


def _subject(asked: QueryDict, now: datetime) -> tuple[Arrival, bool]:
    """What the address names, and whether it names something; `alone`: a pack without its car."""
    if asked.get("vehicle"):
        rows = Vehicle.objects.select_related("customer")
        car = names.keyed(rows, vin=normalise_vin(asked.get("vehicle", "")))
        return arrivals.gather(car, None, at=now), True
    if asked.get("pack"):
        pack = names.keyed(names.packs(), serial__upper=asked.get("pack", "").upper())
        place = None if "alone" in asked else arrivals.place_of(pack, at=now)
        return arrivals.gather(None if place is None else place.vehicle, pack, at=now), True
    return Arrival(), False


def _posted(request: HttpRequest, now: datetime) -> HttpResponseBase:
    data = answered(request.POST)
    known, fixed = _sent(request.GET, data, now)
    rows = _rows(data)
    site = sites.present()
    if "more" in data:
        more = min(rows + 1, CODE_ROWS_MAX)
        kept = {
            **{name: data[name] for name in data},
            "rows": more,
            "claims": data.getlist("claims"),
        }
        again = ArrivalForm(known=known, site=site, fixed=fixed, rows=more, initial=kept)
        return _shown(request, again, at_row=more - 1)
    sent = ArrivalForm(data, known=known, site=site, fixed=fixed, rows=rows)
    if sent.is_valid():
        entry = _entry(sent)
        try:
            _look_first(sent, entry, now)
            done = store(by=actor(request), at=now, entry=entry)
        except DomainError as error:
            sent.refuse(error)
        else:
            return _done(request, done)
    _mark_shown(sent, known)
    return _shown(request, sent, status=422)


def _sent(asked: QueryDict, data: QueryDict, now: datetime) -> tuple[Arrival, bool]:
    """What stands recorded of what was sent, judged at the odometer that was sent."""
    known, fixed = _subject(asked, now)
    car, pack = known.vehicle, None if known.vehicle else known.pack
    vin = normalise_vin(data.get("vehicle__vin", ""))
    if car is None and vin_problem(vin) is None:
        car = Vehicle.objects.select_related("customer").filter(vin=vin).first()
    serial = data.get("pack__serial", "")
    if SERIAL.match(serial) and data.get("pack__moved") != questions.MISREAD:
        pack = names.packs().filter(serial__upper=serial.upper()).first()
    odometer = Km(site=sites.present(), required=False)
    try:
        km = odometer.clean(data.get("visit__odometer_km"))
    except ValidationError:
        km = None
    return arrivals.gather(car, pack, at=now, odometer_km=km), fixed


def _rows(data: QueryDict) -> int:
    said = data.get("rows", "")
    shown = range(CODE_ROWS, CODE_ROWS_MAX + 1)
    return next((rows for rows in shown if str(rows) == said), CODE_ROWS)


def _entry(sent: ArrivalForm) -> dict[str, Any]:
    entry = sent.entry()
    if "consent" in entry:
        entry["consent"]["wording"] = wording()
    return entry


def _look_first(sent: ArrivalForm, entry: dict[str, Any], now: datetime) -> None:
    """Raise what is to be read or answered before anything is stored.

    A car or a pack that turns out to be recorded is shown once with its warranties.
    """
    shown = shown_of(sent.known)
    if shown == "|" or shown in sent.cleaned_data["shown"].split():
        return
    opened_at = entry.get("visit", {}).get("opened_at") or now
    came = questions.look(entry, opened_at=opened_at)
    faults = questions.ask(entry, came, opened_at=opened_at)
    pointer = "/pack/serial" if sent.fixed or sent.known.vehicle is None else "/vehicle/vin"
    sentence = "It is recorded already; what is known of it stands above. Read it, then check in."
    raise Contradiction([Fault(pointer, "recorded_already", sentence), *faults])


def _mark_shown(sent: ArrivalForm, known: Arrival) -> None:
    """What is shown now was shown when the form comes again."""
    assert isinstance(sent.data, QueryDict)
    sent.data["shown"] = f"{sent.data.get('shown', '')} {shown_of(known)}"
    sent.data["rows"] = str(sent.code_rows)


def wording() -> str:
    """What the owner agrees to, as it stands on the intake sheet."""
    return papers.words(INTAKE).closing


def _done(request: HttpRequest, done: CheckedIn) -> HttpResponse:
    visit, key = done.visit, encode(Visit.PREFIX, done.visit.pk)
    car = "" if visit.vehicle is None else visit.vehicle.plate or visit.vehicle.vin
    pack = "" if visit.pack is None else f"pack {visit.pack.serial}"
    what = ", ".join(filter(None, [car, pack]))
    if not done.created:
        messages.success(request, f"{what} was checked in already; nothing was stored twice.")
    else:
        sheet = reverse("paper", args=[INTAKE, key])
        told = format_html('Checked in: {}. <a href="{}">Intake sheet to print</a>', what, sheet)
        messages.success(request, told)
        for sentence in _to_mind(done):
            messages.warning(request, sentence)
    return HttpResponseRedirect(reverse("visit", args=[key]))


def _to_mind(done: CheckedIn) -> list[str]:
    """What the desk is told along with it."""
    told = []
    before = arrivals.still_here(done.visit.vehicle, done.visit.pack, besides=done.visit)
    if before is not None:
        told.append(f"Its visit of {day(before.opened_at)} is not closed yet.")
    if done.visit.pack is None:
        told.append("No pack is known in it: this is a visit of the car alone.")
    for row in done.ended:
        assert row.pack is not None
        car = row.vehicle.plate or row.vehicle.vin
        told.append(f"Pack {row.pack.serial} no longer counts as sitting in {car}.")
    warning = None if done.visit.vehicle is None else vin_warning(done.visit.vehicle.vin)
    return told if warning is None else [*told, warning]


def _shown(
    request: HttpRequest,
    sent: ArrivalForm,
    *,
    status: int = 200,
    missed: str = "",
    at_row: int | None = None,
) -> HttpResponse:
    told = _told(sent.known, sent.site)
    if not sent.is_bound and (at_row is not None or not told["still_here"]):
        first = "visit__complaint" if sent.fixed else "vehicle__vin"
        sent.focus(first if at_row is None else f"codes__{at_row}__code")
    context = {
        "form": sent,
        "parts": sent.parts(),
        "known": sent.known,
        "missed": missed,
        "more_rows": sent.code_rows < CODE_ROWS_MAX,
        "changed": sent.touched("vehicle__plate", "owner__name", "owner__phone", *PACK, *CAME),
        "codes_said": at_row is not None or _codes_said(sent),
        "wording": wording(),
        **told,
    }
    return render(request, "packs/check_in/form.html", context, status=status)


def _codes_said(sent: ArrivalForm) -> bool:
    return any(sent.touched(field.name) for row in sent.codes() for field in row)


def _told(known: Arrival, site: Site) -> dict[str, Any]:
    """What is known, in words."""
    reading, still_here = known.reading, known.still_here
    running = [row for row in known.promises if row.running]
    ended = [row for row in known.promises if row.just_ended]
    return {
        "reading": "" if reading is None else f"{distance(reading.km, site)} on {day(reading.at)}",
        "covers": [(kind(row), until(row, site), row.warranty) for row in running],
        "ended": [(kind(row), past(row, site), row.warranty) for row in ended],
        "still_here": still_here and encode(Visit.PREFIX, still_here.pk),
        "status": known.pack and Pack.Status(known.pack.status).label.lower(),
    }
