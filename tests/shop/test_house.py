"""Health, the docs page, static files and the settings that guard them."""

import re
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client

BASE_DIR = Path(__file__).resolve().parents[2]
HEALTH = ["/health/live", "/health/ready", "/api/v1/health/live", "/api/v1/health/ready"]


@pytest.mark.django_db
@pytest.mark.parametrize("address", HEALTH)
def test_health_needs_no_token_and_tells_nothing_private(client: Client, address: str) -> None:
    response = client.get(address)
    assert response.status_code == 200
    assert list(response.json()) == ["status"]


@pytest.mark.django_db
def test_a_missing_migration_is_not_ready(client: Client) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'sessions'")
    response = client.get("/health/ready")
    assert response.status_code == 503
    assert response.json() == {"status": "not ready", "waiting_for": "migrations"}


@pytest.mark.django_db
def test_the_docs_page_has_no_inline_script_or_style_and_loads_only_ours(client: Client) -> None:
    response = client.get("/api/v1/docs/")
    page = response.content.decode()
    assert response.status_code == 200
    assert "<style" not in page
    assert " style=" not in page
    sources = re.findall(r"<script src=\"([^\"]+)\"></script>", page)
    assert len(sources) == page.count("<script") == 3
    links = re.findall(r"href=\"([^\"]+)\"", page)
    assert all(address.startswith("/") for address in sources + links)
    for address in [*sources, *links]:
        loaded = client.get(address.replace("&amp;", "&"))
        assert loaded.status_code == 200, address
        loaded.close()


@pytest.mark.django_db
def test_the_schema_asks_for_a_token(client: Client) -> None:
    assert client.get("/api/v1/schema/").status_code == 401


def test_what_was_acknowledged_survives_a_power_cut(db: None) -> None:
    if connection.vendor == "sqlite":
        wanted = {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
        with connection.cursor() as cursor:
            for name, value in wanted.items():
                cursor.execute(f"PRAGMA {name}")
                assert cursor.fetchone() == (value,), name
    else:
        with connection.cursor() as cursor:
            cursor.execute("SHOW synchronous_commit")
            assert cursor.fetchone() == ("on",)


def test_a_task_is_never_handed_out_twice_while_it_runs() -> None:
    redelivered = settings.CELERY_BROKER_TRANSPORT_OPTIONS["visibility_timeout"]
    assert redelivered > settings.CELERY_TASK_TIME_LIMIT > settings.CELERY_TASK_SOFT_TIME_LIMIT
    assert settings.CELERY_BEAT_SCHEDULE["sweep"]["task"] == "reports.sweep"


@pytest.mark.parametrize("name", ["requirements.txt", "requirements-dev.txt"])
def test_every_requirement_is_pinned(name: str) -> None:
    lines = (BASE_DIR / name).read_text(encoding="utf-8").splitlines()
    asked = [line for line in lines if line and not line.startswith(("#", "-r "))]
    assert asked
    assert [line for line in asked if not re.match(r"[\w.\[\]-]+==[\w.]+(\s+#.*)?$", line)] == []


@pytest.mark.parametrize("address", HEALTH)
def test_health_is_only_read(address: str) -> None:
    stranger = Client(enforce_csrf_checks=True)
    for method in ("post", "put", "delete"):
        answer = getattr(stranger, method)(address)
        assert (answer.status_code, answer["Allow"]) == (405, "GET, HEAD")
        assert answer["Content-Type"] == "application/problem+json"
