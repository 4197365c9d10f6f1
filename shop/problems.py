"""Errors into answers: RFC 9457 problem+json, in one place."""

import logging
from collections.abc import Iterable
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from rest_framework import exceptions
from rest_framework.response import Response

from packs.errors import DomainError, Fault

PROBLEM_TYPE = "application/problem+json"
RETRY_AFTER_S = 5
AGAIN = "send the same again shortly."
BUSY = (OperationalError, TimeoutError)
"""What passes: the database is away or locked, or a pack changes faster than it is worked out."""
log = logging.getLogger(__name__)


def document(status: int, title: str, detail: str, faults: Iterable[Fault] = ()) -> dict[str, Any]:
    """A problem document (RFC 9457, 3), with what is wrong field by field."""
    return {
        "type": "about:blank",
        "title": title,
        "status": status,
        "detail": detail,
        "errors": [
            {"pointer": fault.pointer, "code": fault.code, "detail": fault.detail}
            for fault in faults
        ],
    }


def answer(status: int, title: str, detail: str, faults: Iterable[Fault] = ()) -> Response:
    response = Response(document(status, title, detail, faults), status=status)
    response.content_type = PROBLEM_TYPE
    return response


def handle(error: Exception, context: dict[str, Any]) -> Response | None:
    """What the API answers for an error; None for what is our own mistake."""
    if isinstance(error, DomainError):
        return answer(error.status, error.title, str(error), error.faults)
    if isinstance(error, Http404):
        error = exceptions.NotFound()
    elif isinstance(error, PermissionDenied):
        error = exceptions.PermissionDenied()
    elif isinstance(error, RequestDataTooBig):
        return answer(413, "Too large", "The body is larger than this address takes.")
    elif isinstance(error, BUSY):
        log.exception("not answered in time")
        busy = answer(503, "Busy", "The service is busy or its database away; " + AGAIN)
        busy["Retry-After"] = str(RETRY_AFTER_S)
        return busy
    if not isinstance(error, exceptions.APIException):
        return None
    return _known(error)


def _known(error: exceptions.APIException) -> Response:
    status = error.status_code
    code = error.get_codes()
    fault = Fault("", code if isinstance(code, str) else "invalid", str(error.detail))
    response = answer(status, HTTPStatus(status).phrase, str(error.detail), [fault])
    for header, value in (
        ("WWW-Authenticate", getattr(error, "auth_header", None)),
        ("Retry-After", _wait(error)),
    ):
        if value:
            response[header] = value
    return response


def _wait(error: exceptions.APIException) -> str | None:
    wait = getattr(error, "wait", None)
    return None if wait is None else str(int(wait))


def no_such_address(request: HttpRequest) -> HttpResponse:
    """For addresses below the API that lead nowhere, where no door can answer."""
    body = document(404, "Not found", "There is nothing at this address.")
    return JsonResponse(body, status=404, content_type=PROBLEM_TYPE)
