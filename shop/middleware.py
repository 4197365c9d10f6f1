"""What every answer passes through on its way out."""

import logging
from collections.abc import Callable, Iterator
from contextlib import suppress

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.middleware.common import CommonMiddleware
from django.template.loader import get_template

from shop import problems, wake

Answer = Callable[[HttpRequest], HttpResponseBase]

# data: is for images only; the pages and the API's docs page draw small marks that way.
CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'self'",
        "img-src 'self' data:",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
DROPPED_MAX = 64 * 1024 * 1024  # bytes of a refused body that are heard out; then it is cut off
DROPPED_AT_ONCE = 64 * 1024
log = logging.getLogger(__name__)
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS", "TRACE"})


class ContentSecurityPolicy:
    """Nothing is loaded from elsewhere, and no script or style stands in a page."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        response.setdefault("Content-Security-Policy", CONTENT_SECURITY_POLICY)
        return response


class HearOut:
    """A refused sender hears why: what is left of its body is read and dropped first.

    To close a connection that still holds data resets it, and the answer is lost with it.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        if response.status_code >= 400 and request.method not in SAFE_METHODS:
            with suppress(OSError):  # the sender has gone
                drop_body(request)
        return response


def drop_body(request: HttpRequest) -> None:
    """Read what is left, up to DROPPED_MAX."""
    terminated = request.META.get("wsgi.input_terminated") and not request.META.get(
        "CONTENT_LENGTH"
    )
    source = request.META["wsgi.input"] if terminated else request
    left = DROPPED_MAX
    while left > 0 and (chunk := source.read(min(left, DROPPED_AT_ONCE))):
        left -= len(chunk)


class SlashOnRead(CommonMiddleware):
    """Sends a read to the address with its slash; a redirected write would lose its body."""

    def should_redirect_with_slash(self, request: HttpRequest) -> bool:
        return request.method in SAFE_METHODS and super().should_redirect_with_slash(request)


class BusyPage:
    """What passes is told to readers of pages as such, not as a mistake."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, problems.BUSY):
            return None
        log.error("not answered in time", exc_info=error)
        page = get_template("503.html").render()
        return HttpResponse(page, status=503, headers={"Retry-After": problems.RETRY_AFTER_S})


class WakeSweep:
    """A request that wrote wakes the sweep, so that what is now owed is worked out at once."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        if request.method in SAFE_METHODS or response.status_code >= 400:
            return response
        if isinstance(response, StreamingHttpResponse):
            response.streaming_content = then_wake(iter(response))
        else:
            wake.wake_sweep()
        return response


def then_wake(chunks: Iterator[bytes]) -> Iterator[bytes]:
    """A streamed answer may still write while it is sent."""
    yield from chunks
    wake.wake_sweep()
