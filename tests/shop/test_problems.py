"""Every error under the base path is problem+json, whoever refused."""

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import OperationalError
from django.http import Http404
from django.test import Client
from rest_framework import exceptions

from packs.errors import Conflict, Fault, VersionMissing
from shop import problems, refusals


def handled(error: Exception) -> tuple[int, dict[str, Any]]:
    response = problems.handle(error, {})
    assert response is not None
    assert response.content_type == "application/problem+json"
    assert response.data is not None
    assert response.data["status"] == response.status_code
    return response.status_code, response.data


def test_a_domain_error_carries_its_faults() -> None:
    error = Conflict([Fault("/changes/0/fitted", "elsewhere", "M-17 sits in another pack.")])
    status, data = handled(error)
    assert status == 409
    assert data["detail"] == "M-17 sits in another pack."
    assert data["errors"] == [
        {
            "pointer": "/changes/0/fitted",
            "code": "elsewhere",
            "detail": "M-17 sits in another pack.",
        }
    ]


def test_a_version_that_is_missing_is_428() -> None:
    assert handled(VersionMissing([Fault("", "if_match", "Say which version.")]))[0] == 428


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (exceptions.ParseError(), 400),
        (exceptions.NotAuthenticated(), 401),
        (exceptions.PermissionDenied(), 403),
        (PermissionDenied(), 403),
        (Http404(), 404),
        (exceptions.MethodNotAllowed("PUT"), 405),
        (RequestDataTooBig(), 413),
        (exceptions.UnsupportedMediaType("text/csv"), 415),
    ],
)
def test_each_refusal_of_the_framework(error: Exception, status: int) -> None:
    assert handled(error)[0] == status


@pytest.mark.parametrize(
    ("error", "status", "wait_s"),
    [
        (exceptions.Throttled(wait=12.5), 429, "13"),
        (OperationalError("database is locked"), 503, "5"),
        (TimeoutError("a pack of the name locked"), 503, "5"),
    ],
)
def test_a_refusal_that_passes_says_when_to_come_back(
    error: Exception, status: int, wait_s: str
) -> None:
    response = problems.handle(error, {})
    assert response is not None
    assert (response.status_code, response["Retry-After"]) == (status, wait_s)
    assert "locked" not in str(response.data)


def test_what_is_not_expected_is_left_to_the_500_page() -> None:
    assert problems.handle(ZeroDivisionError(), {}) is None


@pytest.mark.django_db
def test_an_unknown_address_asks_for_a_token_first(client: Client) -> None:
    response = client.get("/api/v1/no-such-thing/")
    assert response.status_code == 401
    assert response["Content-Type"] == "application/problem+json"
    assert response["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.django_db
def test_an_unknown_address_without_its_slash_is_told_too(client: Client) -> None:
    response = client.post("/api/v1/no-such-thing", data={}, content_type="application/json")
    assert response.status_code == 404
    assert response["Content-Type"] == "application/problem+json"


def test_an_unknown_page_is_no_problem_document(client: Client) -> None:
    response = client.get("/no-such-page/nor/this")
    assert response.status_code == 404
    assert response["Content-Type"].startswith("text/html")


@pytest.mark.django_db
def test_our_own_mistake_is_a_problem_document_without_its_cause(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_down(*args: object) -> None:
        raise ZeroDivisionError("private")

    monkeypatch.setattr(refusals.UnknownAddress, "initial", break_down)
    client.raise_request_exception = False
    response = client.get("/api/v1/no-such-thing/")
    assert response.status_code == 500
    assert response["Content-Type"] == "application/problem+json"
    assert b"private" not in response.content
