"""What every answer passes through on its way out."""

from collections.abc import Callable, Iterator

from django.http import HttpRequest, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.middleware.common import CommonMiddleware

from shop import wake

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
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS", "TRACE"})


class ContentSecurityPolicy:
    """Nothing is loaded from elsewhere, and no script or style stands in a page."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        response.setdefault("Content-Security-Policy", CONTENT_SECURITY_POLICY)
        return response


class SlashOnRead(CommonMiddleware):
    """Sends a read to the address with its slash; a redirected write would lose its body."""

    def should_redirect_with_slash(self, request: HttpRequest) -> bool:
        return request.method in SAFE_METHODS and super().should_redirect_with_slash(request)


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
