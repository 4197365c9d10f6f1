"""/metrics as a scraper reads it."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone
from prometheus_client import parser
from prometheus_client.openmetrics import parser as openmetrics
from rest_framework.test import APIClient

from packs.models import Pack, Role
from reports.writes import fleet_work, shards
from tests.reports import ageing

pytestmark = pytest.mark.django_db

Api = Callable[..., APIClient]
OPENMETRICS = "application/openmetrics-text; version=1.0.0"


def samples(text: str) -> dict[str, float]:
    """By name and kind of work."""
    return {
        "/".join([sample.name, *sample.labels.values()]): sample.value
        for family in parser.text_string_to_metric_families(text)
        for sample in family.samples
    }


@pytest.mark.parametrize("role", list(Role))
def test_a_token_of_any_role_reads_it(api: Api, role: Role) -> None:
    response = api(role).get("/metrics")
    assert response.status_code == 200
    assert response.headers["Content-Type"].startswith("text/plain; version=0.0.4")
    assert "no-store" in response.headers["Cache-Control"]


def test_without_a_token_it_tells_nothing(client: Client) -> None:
    response = client.get("/metrics")
    assert response.status_code == 401
    assert response.headers["Content-Type"] == "application/problem+json"
    assert client.get("/metrics", headers={"Authorization": "Bearer no"}).status_code == 401


def test_it_is_read_only(api: Api) -> None:
    assert api("manager").post("/metrics", {}).status_code == 405


def test_the_figures_are_the_register_s(api: Api) -> None:
    ageing.fleet(5)
    fit = fleet_work.fit_fleet(at=timezone.now())
    work = shards.ask(shards.OUTLOOKS, at=timezone.now(), size=2)
    fleet_work.advance(at=timezone.now(), work=work)
    Pack.objects.update(estimate_due_at=None)
    since = timezone.now() - timedelta(hours=2)
    Pack.objects.filter(serial__lte="TP-0001").update(estimate_due_at=since)
    told = samples(api("machine").get("/metrics").content.decode())
    waited = told.pop("register_owed_oldest_seconds")
    assert waited == pytest.approx(7200, abs=60)
    assert told == {
        "register_owed_packs": 2,
        "register_last_fit_timestamp_seconds": fit.fitted_at.timestamp(),
        "register_last_fit_packs": 5,
        "register_fleet_work/fit": 0,
        "register_fleet_work/outlooks": 1,
        "register_fleet_work_shards_left/fit": 0,
        "register_fleet_work_shards_left/outlooks": 2,
        "register_voltage_checks_recorded_total": 20,
    }


def test_before_anything_is_recorded_it_answers_noughts(api: Api) -> None:
    told = samples(api("machine").get("/metrics").content.decode())
    assert set(told.values()) == {0}
    assert "register_last_fit_timestamp_seconds" not in told


def test_the_open_format_where_it_is_asked_for(api: Api) -> None:
    response = api("machine").get("/metrics", headers={"Accept": OPENMETRICS})
    assert response.headers["Content-Type"].startswith("application/openmetrics-text")
    families = list(openmetrics.text_string_to_metric_families(response.content.decode()))
    assert "register_owed_packs" in {family.name for family in families}
