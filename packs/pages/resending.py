"""A form sent by somebody who was signed out meanwhile: what was typed is held, to be sent again.

To sign in renews the token that a form bears, so what is sent from the page that is still open
is refused once; a cookie of this browser alone then tells that these very fields came from it.
"""

import hashlib
import json

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.crypto import constant_time_compare

COOKIE = "sent_signed_out"
AGAINST_FORGERY = "csrfmiddlewaretoken"
KEPT_FOR_S = 12 * 3600  # as long as a session; common practice, no source


def offer(request: HttpRequest) -> HttpResponse:
    """The page that holds what was typed; a file it cannot hold."""
    fields = _fields(request)
    context = {"fields": fields, "address": request.get_full_path(), "files": bool(request.FILES)}
    status = 403 if request.user.is_authenticated else 401
    answer = render(request, "packs/form/signed_out.html", context, status=status)
    answer.set_signed_cookie(
        COOKIE,
        _digest(request),
        salt=COOKIE,
        max_age=KEPT_FOR_S,
        path=request.path,
        secure=settings.CSRF_COOKIE_SECURE,
        httponly=True,
        samesite="Strict",
    )
    answer.headers["Cache-Control"] = "no-store, private"
    return answer


def was_offered(request: HttpRequest) -> bool:
    """Whether this browser sent the same fields to the same address, and was offered them."""
    kept = request.get_signed_cookie(COOKIE, default=None, salt=COOKIE, max_age=KEPT_FOR_S)
    return kept is not None and constant_time_compare(kept, _digest(request))


def _fields(request: HttpRequest) -> list[tuple[str, str]]:
    sent = request.POST.lists()
    return [(name, str(one)) for name, values in sent if name != AGAINST_FORGERY for one in values]


def _digest(request: HttpRequest) -> str:
    """Of the address and the fields, their line ends as any browser may send them."""
    fields = [(name, one.replace("\r\n", "\n")) for name, one in _fields(request)]
    said = json.dumps([request.get_full_path(), sorted(fields)])
    return hashlib.sha256(said.encode()).hexdigest()
