"""What is answered where no door and no page is: problem+json below the API, a page elsewhere."""

from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views import defaults
from django.views.csrf import csrf_failure
from drf_spectacular.utils import extend_schema
from rest_framework.exceptions import NotFound
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.views import APIView

from packs.pages import resending
from shop import problems

BASE_PATH = "/api/v1/"


@extend_schema(exclude=True)
class UnknownAddress(APIView):
    """An address that is not there: 401 comes before 404, as everywhere under the base path."""

    permission_classes = (IsAuthenticated,)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        raise NotFound(f"There is nothing at {request.path}.")


def below_api(request: HttpRequest, status: HTTPStatus, detail: str) -> HttpResponse | None:
    """Problem+json under the base path; None elsewhere, where people read pages."""
    if not request.path.startswith(BASE_PATH):
        return None
    body = problems.document(status.value, status.phrase, detail)
    return JsonResponse(body, status=status, content_type=problems.PROBLEM_TYPE)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    detail = "The request could not be read."
    answer = below_api(request, HTTPStatus.BAD_REQUEST, detail)
    return answer or defaults.bad_request(request, exception)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    answer = below_api(request, HTTPStatus.FORBIDDEN, "This is not allowed.")
    return answer or defaults.permission_denied(request, exception)


def expired(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form whose token counts no longer; held where this browser was signed out at it before."""
    if resending.was_offered(request):
        return resending.offer(request)
    return csrf_failure(request, reason)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    if request.path.startswith(BASE_PATH):
        return problems.no_such_address(request)
    return defaults.page_not_found(request, exception)


def broken(request: HttpRequest) -> HttpResponse:
    detail = "The service made a mistake; it is in its log. Sending the same again is safe."
    answer = below_api(request, HTTPStatus.INTERNAL_SERVER_ERROR, detail)
    return answer or defaults.server_error(request)
