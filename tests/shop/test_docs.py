"""What people can set, run or call stands in README.md or DEVELOPERS.md."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import get_commands
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone

from packs.models import Role
from packs.writes import clients

BASE_DIR = Path(__file__).resolve().parents[2]
README = (BASE_DIR / "README.md").read_text(encoding="utf-8")
DOCS = README + (BASE_DIR / "DEVELOPERS.md").read_text(encoding="utf-8")
ENVIRONMENT = (BASE_DIR / "shop" / "environment.py").read_text(encoding="utf-8")
OURS = {"packs", "reports", "shop"}
SELF_EXPLAINING = {"", "{id}/", "{id}/void/"}  # every resource has these; they are told once


def environment_names() -> list[str]:
    return sorted(set(re.findall(r'given(?:\.get\(|, )"([A-Z_]+)"', ENVIRONMENT)))


def own_commands() -> list[str]:
    return sorted(name for name, app in get_commands().items() if app in OURS)


def routes(resolver: URLResolver, prefix: str = "") -> Iterator[str]:
    for pattern in resolver.url_patterns:
        address = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from routes(pattern, address)
        elif isinstance(pattern, URLPattern):
            yield re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", address)


def api_routes() -> list[str]:
    """Addresses below the base path, without the catch-all, keys of whatever name as {id}."""
    found = set()
    for route in routes(get_resolver()):
        address = route.removeprefix("api/v1/")
        if address != route and "(" not in address and "{format}" not in address:
            found.add(address)
    return sorted(found)


def told_as(route: str) -> str:
    resource, _, rest = route.partition("/")
    return f"{resource}/" if re.sub(r"{\w+}", "{id}", rest) in SELF_EXPLAINING else route


def test_the_settings_are_found() -> None:
    known = {"DATABASE_URL", "REDIS_URL", "SECRET_KEY", "ALLOWED_HOSTS", "DEBUG", "HTTPS"}
    assert known < set(environment_names())


@pytest.mark.parametrize("name", environment_names())
def test_each_setting_has_a_row_in_the_readme(name: str) -> None:
    assert f"| `{name}` |" in README


def test_each_command_is_told() -> None:
    commands = own_commands()
    assert "serve" in commands
    assert [name for name in commands if f"manage.py {name}" not in DOCS] == []


def test_every_told_command_exists() -> None:
    told = set(re.findall(r"manage\.py (\w+)", DOCS))
    assert sorted(told - set(get_commands())) == []


def test_each_route_of_the_api_is_told() -> None:
    found = [told_as(route) for route in api_routes() if not route.startswith("health/")]
    assert "schema/" in found
    assert [route for route in found if f"`{route}`" not in DOCS] == []


def test_every_told_resource_exists() -> None:
    told = set(re.findall(r"^\| `([a-z{}/_-]+/)` \|", README, re.MULTILINE))
    assert told
    assert sorted(told - {told_as(route) for route in api_routes()}) == []


@pytest.mark.django_db
def test_the_first_calls_do_what_the_readme_says(client: Client) -> None:
    calls = re.findall(r"^post ([a-z-]+) '(.+?)'$", README, re.MULTILINE | re.DOTALL)
    token = clients.create_token(role=Role.MANAGER, name="office", at=timezone.now())
    bearer = {"Authorization": f"Bearer {token}"}
    for resource, body in calls:
        answer = client.post(
            f"/api/v1/{resource}/", json.loads(body), "application/json", headers=bearer
        )
        assert answer.status_code == 201, (resource, answer.content)
    assert [resource for resource, _ in calls] == ["pack-types", "packs", "voltage-checks"]
    (asked,) = re.findall(r"http://127\.0\.0\.1:8000(/api/v1/packs/\S+)", README)
    assert client.get(asked, headers=bearer).json()["level"] == "too_little_data"
