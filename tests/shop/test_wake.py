"""A request that wrote wakes the sweep; one that read, or failed, does not."""

import time

import pytest
from celery import Celery
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.test import RequestFactory
from pytest_django import Settings
from redis import Redis

from shop import wake
from shop.middleware import ContentSecurityPolicy, WakeSweep
from tests import servers

LONGEST_WAIT_S = 1.5  # the broker's time-out and a margin


@pytest.fixture(autouse=True)
def no_broker(settings: Settings) -> None:
    settings.REDIS_URL = None
    wake.wait_for_write(timeout_s=0)


def answer_with(response: HttpResponseBase, method: str) -> HttpResponseBase:
    def respond(request: HttpRequest) -> HttpResponseBase:
        return response

    return WakeSweep(respond)(RequestFactory().generic(method, "/"))


def was_woken() -> bool:
    return wake.wait_for_write(timeout_s=0)


@pytest.mark.parametrize("method", ["POST", "PATCH", "PUT", "DELETE"])
@pytest.mark.parametrize("status", [200, 201, 204, 303])
def test_a_write_wakes(method: str, status: int) -> None:
    answer_with(HttpResponse(status=status), method)
    assert was_woken()
    assert not was_woken()


@pytest.mark.parametrize(
    ("method", "status"),
    [("GET", 200), ("HEAD", 200), ("OPTIONS", 200), ("POST", 400), ("POST", 409), ("POST", 500)],
)
def test_a_read_and_a_refused_write_do_not(method: str, status: int) -> None:
    answer_with(HttpResponse(status=status), method)
    assert not was_woken()


def test_a_streamed_write_wakes_when_it_has_ended() -> None:
    response = answer_with(StreamingHttpResponse(iter([b"a", b"b"])), "POST")
    assert isinstance(response, StreamingHttpResponse)
    assert not was_woken()
    assert response.getvalue() == b"ab"
    assert was_woken()


def over(broker: str, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let wake-ups go to that broker, with the house's own limits."""
    settings.REDIS_URL = settings.CELERY_BROKER_URL = broker
    app = Celery("over", set_as_current=False)
    app.config_from_object("django.conf:settings", namespace="CELERY")
    monkeypatch.setattr("shop.wake.app", app)


def test_a_broker_that_is_away_or_goes_away_fails_no_request(
    settings: Settings, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    with servers.redis() as broker:
        over(broker, settings, monkeypatch)
        answer_with(HttpResponse(status=201), "POST")
        with Redis.from_url(broker) as client:
            assert client.llen("celery") == 1
        assert caplog.text == ""
    begun = time.monotonic()
    for _ in range(2):
        answer_with(HttpResponse(status=201), "POST")
    assert caplog.text.count("the broker did not take the wake-up") == 2
    assert time.monotonic() - begun < 2 * LONGEST_WAIT_S
    assert not was_woken()


def test_every_answer_carries_the_content_policy() -> None:
    def respond(request: HttpRequest) -> HttpResponseBase:
        return HttpResponse()

    policy = ContentSecurityPolicy(respond)(RequestFactory().get("/"))["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
