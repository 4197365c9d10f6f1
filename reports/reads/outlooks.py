"""Outlooks: the ones that were told, and the figures for any other point of view."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.db.models import Q, QuerySet

from packs.models import Pack
from reports.models import Outlook, StoredFit
from reports.reads import fits, series
from reports.reads.knowledge import Knowledge, Vantage, known, ratings, revision_at
from reports.trends.history import PackHistory
from reports.trends.outlook import Figures, judge

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Estimate:
    """The figures of one pack, with what they were made from."""

    knowledge: Knowledge
    history: PackHistory
    figures: Figures
    fit: StoredFit


def estimate(views: Sequence[Vantage], fit: StoredFit) -> list[Estimate]:
    """Work out the outlook of each pack as it is known, by one fit."""
    loaded = fits.loaded(fit)
    made = []
    for knowledge in known(views):
        history = series.history(knowledge)
        figures = judge(history, loaded, as_of_day=knowledge.vantage.as_of_day)
        made.append(Estimate(knowledge, history, figures, fit))
    return made


def as_row(made: Estimate, *, known_at: datetime) -> Outlook:
    """An estimate as a row, not stored."""
    view, figures = made.knowledge.vantage, made.figures
    chances = {f"p{days}": chance for days, chance in figures.failure_probability.items()}
    return Outlook(
        pack=view.pack,
        pack_revision=view.revision,
        fit=made.fit,
        as_of=view.as_of,
        known_at=known_at,
        level=figures.level,
        spread_now_v=figures.spread_now_v,
        limit_v=made.history.limit_v,
        reference_load_a=view.limits.reference_load_a,
        growth_per_year=figures.growth_per_year,
        limit_reached_on=_dates(figures),
        weakest_position=figures.weakest_position,
        checks_used=figures.checks_used,
        since=None if made.knowledge.first_day is None else _instant(figures.since_day),
        series=made.history.group.split("/", 1)[1],
        reasons=list(figures.reasons),
        **chances,
    )


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
    return as_row(estimate([view], fit)[0], known_at=known_at)
