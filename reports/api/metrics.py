"""/metrics: whether the register keeps up, as programs that watch services read it."""

from collections.abc import Iterator
from datetime import datetime

from django.http import HttpResponse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.cache import never_cache
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import choose_encoder
from prometheus_client.registry import Collector
from rest_framework.request import Request

from packs.api.doors import Door
from reports.models import FleetWork
from reports.reads import fits, watching


@method_decorator(never_cache, name="dispatch")
class Metrics(Door):
    """The OpenMetrics text format, or Prometheus's older one where that is asked for."""

    resource = "metrics"
    schema = None  # an address of its own, beside the API

    def get(self, request: Request) -> HttpResponse:
        encode, kind = choose_encoder(request.headers.get("Accept", ""))
        return HttpResponse(encode(Figures(timezone.now())), content_type=kind)


class Figures(Collector):
    """The figures at an instant; counts and instants, nothing private."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def collect(self) -> Iterator[Metric]:
        yield from self._owed()
        yield from self._fit()
        yield from self._work()
        yield CounterMetricFamily(
            "register_voltage_checks_recorded",
            "Voltage checks recorded so far, told by their numbers",
            value=fits.checks_so_far(),
        )

    def _owed(self) -> Iterator[Metric]:
        owed = watching.owed(at=self.at)
        waited = 0.0 if owed.oldest is None else (self.at - owed.oldest).total_seconds()
        yield GaugeMetricFamily(
            "register_owed_packs", "Packs whose outlook is owed", value=owed.packs
        )
        yield GaugeMetricFamily(
            "register_owed_oldest_seconds",
            "How long the one that waits longest has waited; 0 where none is owed",
            value=waited,
        )

    def _fit(self) -> Iterator[Metric]:
        """Left out until there is a fit."""
        for last in watching.last_fits(most=1):
            yield GaugeMetricFamily(
                "register_last_fit_timestamp_seconds",
                "When the fleet was last fitted, in seconds since 1970-01-01",
                value=last.fit.fitted_at.timestamp(),
            )
            yield GaugeMetricFamily(
                "register_last_fit_packs", "Packs it was fitted to", value=last.fit.packs
            )

    def _work(self) -> Iterator[Metric]:
        under_way = [work for work in watching.works() if work.finished_at is None]
        works = GaugeMetricFamily(
            "register_fleet_work", "Work on the fleet under way", labels=["kind"]
        )
        shards = GaugeMetricFamily(
            "register_fleet_work_shards_left", "Shards of it to be done", labels=["kind"]
        )
        for kind in FleetWork.Kind:
            mine = [work for work in under_way if work.kind == kind]
            works.add_metric([kind], len(mine))
            shards.add_metric([kind], sum(work.shards - work.done for work in mine))
        yield from (works, shards)
