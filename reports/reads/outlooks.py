"""Outlooks: the ones that were told, and the figures for any other point of view."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import isnan
from typing import Any

import numpy as np
from django.db.models import Q, QuerySet

from packs.models import Pack
from reports.models import Outlook, StoredFit
from reports.reads import fits, series
from reports.reads.among import Among
from reports.reads.knowledge import known
from reports.reads.vantages import EPOCH, Vantage, ratings, revision_at
from reports.trends.histories import Histories
from reports.trends.history import PackHistory
from reports.trends.outlook import Figures, judge_all


@dataclass(frozen=True)
class Estimate:
    """The figures of one pack, with what they were made from: the histories that it is one of, its
    place there, and the day of its first fact, if anything is recorded of it."""

    view: Vantage
    packs: Histories
    place: int
    first_day: float | None
    figures: Figures
    fit: StoredFit

    @property
    def history(self) -> PackHistory:
        """Its own history."""
        return self.packs.one(self.place)

    @property
    def series(self) -> str:
        """Condition and level of the checks that were compared."""
        return self.packs.names[int(self.packs.group[self.place])].split("/", 1)[1]


def estimate(views: Sequence[Vantage], fit: StoredFit) -> list[Estimate]:
    """Work out the outlook of each pack as it is known, by one fit."""
    seen = known(views)
    packs = series.histories(seen)
    as_of_day = np.array([view.as_of_day for view in views], dtype=np.float64)
    figures = judge_all(packs, fits.loaded(fit), as_of_day=as_of_day)
    first_days = [None if isnan(day) else day for day in seen.first_day.tolist()]
    rows = enumerate(zip(views, first_days, figures, strict=True))
    return [Estimate(view, packs, place, day, told, fit) for place, (view, day, told) in rows]


def columns(
    made: Sequence[Estimate], *, known_at: Sequence[datetime], told_until: datetime | None = None
) -> Mapping[str, Sequence[Any]]:
    """Estimates as the columns of the table, under its names, all but the number."""
    figures = [one.figures for one in made]
    chances = [one.failure_probability for one in figures]
    return {
        "pack_id": [one.view.pack.pk for one in made],
        "pack_revision": [one.view.revision for one in made],
        "fit_id": [one.fit.pk for one in made],
        "as_of": [one.view.as_of for one in made],
        "known_at": known_at,
        "told_until": [told_until] * len(made),
        "level": [one.level for one in figures],
        "spread_now_v": [one.spread_now_v for one in figures],
        "limit_v": [float(one.packs.limit_v[one.place]) for one in made],
        "reference_load_a": [one.view.limits.reference_load_a for one in made],
        "growth_per_year": [one.growth_per_year for one in figures],
        "limit_reached_on": [_dates(one) for one in figures],
        "weakest_position": [one.weakest_position for one in figures],
        "checks_used": [one.checks_used for one in figures],
        "since": [_since(one) for one in made],
        "series": [one.series for one in made],
        "reasons": [list(one.reasons) for one in figures],
        **{f"p{days}": [chance[days] for chance in chances] for days in (30, 90, 180, 365)},
    }


def told_already(made: Sequence[Estimate], *, at_most: timedelta) -> set[int]:
    """The packs whose outlook that is told, not older than `at_most`, says the same: by the same
    facts and limits, with every figure the same to a hundredth part of itself."""
    numbers = [one.view.pack.pk for one in made]
    rows = Outlook.objects.filter(Among("pack_id", numbers), told_until__isnull=True)
    told = {row[0]: row[1:] for row in rows.values_list("pack_id", "known_at", *WORDS, *FIGURES)}
    said = columns(made, known_at=[one.view.as_of for one in made])
    now = zip(*(said[name] for name in (*WORDS, *FIGURES)), strict=True)
    return {
        number
        for one, number, new in zip(made, numbers, now, strict=True)
        if number in told
        and one.view.as_of - told[number][0] < at_most
        and _alike(told[number][1:], new)
    }


# What must be the same, and what nearly; the sentences follow from these, the facts and the fit.
WORDS = ("pack_revision", "level", "limit_v", "reference_load_a", "weakest_position",
         "checks_used", "since", "series")  # fmt: skip
FIGURES = ("spread_now_v", "growth_per_year", "p30", "p90", "p180", "p365")
HUNDREDTH = 0.01  # of a figure: a change that nobody would act on; common practice, no source


def _alike(old: Sequence[Any], new: Sequence[Any]) -> bool:
    if tuple(old[: len(WORDS)]) != tuple(new[: len(WORDS)]):
        return False
    pairs = zip(old[len(WORDS) :], new[len(WORDS) :], strict=True)
    return all(
        was == now
        or (was is not None and now is not None and abs(now - was) <= HUNDREDTH * abs(was))
        for was, now in pairs
    )


def as_row(made: Estimate, pack: Pack, *, known_at: datetime) -> Outlook:
    """An estimate as a row, not stored."""
    told = columns([made], known_at=[known_at])
    row = Outlook(**{name: column[0] for name, column in told.items()})
    row.pack, row.fit = pack, made.fit
    return row


def _since(made: Estimate) -> datetime | None:
    return None if made.first_day is None else _instant(made.figures.since_day)


def _instant(day: float) -> datetime:
    """The instant of a day since 1970, to the second: a float day holds no microseconds."""
    return (EPOCH + timedelta(days=day)).replace(microsecond=0)


def _dates(figures: Figures) -> dict[str, str | None] | None:
    days = figures.limit_reached_days
    if days is None:
        return None
    told = [None if day is None else _date(day).isoformat() for day in days]
    return dict(zip(("p10", "p50", "p90"), told, strict=True))


def _date(day: float) -> date:
    return (EPOCH + timedelta(days=day)).date()


def present(pack: Pack) -> Outlook | None:
    """The outlook that is told now, owed or not, with the pack as it stands."""
    return _present().filter(pack=pack).first()


def present_of(serial: str) -> Outlook | None:
    """The same by the pack's serial, whatever the case."""
    return _present().filter(pack__serial__upper=serial.upper()).first()


def _present() -> QuerySet[Outlook]:
    rows = Outlook.objects.filter(told_until__isnull=True)
    return rows.select_related("fit", "pack__pack_type").defer("fit__parameters")


def told_at(instant: datetime) -> QuerySet[Outlook]:
    """The outlooks that were the ones told at an instant, one a pack at most."""
    still = Q(told_until__isnull=True) | Q(told_until__gt=instant)
    return Outlook.objects.select_related("fit", "pack").filter(still, known_at__lte=instant)


def given(pack: Pack, at: datetime) -> Outlook | None:
    """What was given of a pack at an instant, if nothing about it had been recorded since."""
    told = told_at(at).filter(pack=pack).first()
    if told is None or told.pack_revision != revision_at(pack, at):
        return None
    return told


def seen_from(pack: Pack, *, as_of: datetime, known_at: datetime) -> Outlook | None:
    """The outlook from another point of view, worked out and not stored.

    None where no fit was known then that knew no later facts.
    """
    fit = fits.fit_for(as_of=as_of, known_at=known_at)
    if fit is None:
        return None
    view = Vantage(
        pack=pack,
        revision=revision_at(pack, known_at),
        as_of=as_of,
        limits=ratings([pack.pack_type_id], known_at=min(as_of, known_at))[pack.pack_type_id],
    )
    return as_row(estimate([view], fit)[0], pack, known_at=known_at)
