"""The schema as the doors declare it: query, entry, change, answer, and the refusals."""

import inspect
from typing import Any

from django.conf import settings
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework import serializers

from packs.api.paging import Pages

PROBLEM = "application/problem+json"
REFUSALS = {
    "400": "Malformed: a wrong type, a missing or an unknown field.",
    "401": "No token, or a bad one.",
    "403": "The role may not do this.",
    "404": "There is nothing at this address.",
    "409": "Conflict with what is recorded.",
    "412": "Changed meanwhile.",
    "413": "Too large.",
    "415": "Another content type than this address takes.",
    "422": "Contradicts the pack, the physics, or names something unknown.",
    "428": "If-Match needed.",
    "503": "The database is busy or away; send the same again shortly.",
}
ALWAYS = ("401", "403", "503")
BY_METHOD = {
    "GET": ("400", "422"),
    "POST": ("400", "409", "413", "415", "422"),
    "PATCH": ("400", "409", "412", "413", "415", "422", "428"),
}


class FaultAnswer(serializers.Serializer[Any]):
    """One thing wrong, and where."""

    pointer = serializers.CharField()
    code = serializers.CharField()
    detail = serializers.CharField()


class ProblemAnswer(serializers.Serializer[Any]):
    """RFC 9457 problem details."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    errors = FaultAnswer(many=True)  # type: ignore[assignment]  # its name in the answer


class Schema(AutoSchema):
    """Reads a door's own declarations."""

    view: Any

    def get_tags(self) -> list[str]:
        return [self.view.resource]

    def get_operation_id(self) -> str:
        words = self.path.removeprefix("/api/v1/").strip("/").replace("{", "").replace("}", "")
        return f"{self.method.lower()}_{words}".replace("/", "_").replace("-", "_").strip("_")

    def get_description(self) -> str:  # type: ignore[override]
        """What the door's noun is: each module of the API opens by telling its own."""
        return inspect.getdoc(inspect.getmodule(type(self.view))) or ""

    def get_request_serializer(self) -> Any:
        if self.method == "PATCH":
            return self.view.change
        return self.view.entry if self.method == "POST" else None

    def get_response_serializers(self) -> Any:
        refusals = [*ALWAYS, *BY_METHOD.get(self.method, ())]
        if "{" in self.path:
            refusals.append("404")
        answers: dict[Any, Any] = {
            (code, PROBLEM): OpenApiResponse(ProblemAnswer, description=REFUSALS[code])
            for code in sorted(refusals)
        }
        return {**self._successes(), **answers}

    def _successes(self) -> dict[Any, Any]:
        shown = self.view.answer
        if self.method == "GET" and self._is_list_view():
            return {"200": shown(many=True)}
        if self.method == "POST" and self.view.resource != "voiding":
            return {"200": shown, "201": shown}
        return {"200": shown}

    def _is_list_view(self, serializer: Any = None) -> bool:
        return bool(getattr(self.view, "many", False)) and self.method == "GET"

    def _get_paginator(self) -> Any:
        return Pages() if self._is_list_view() else None

    def get_override_parameters(self) -> list[Any]:
        parameters: list[Any] = []
        if self.method == "GET" and self.view.query().fields:
            parameters.append(self.view.query)
        if self._is_list_view() and hasattr(self.view, "orderings"):
            parameters.append(OpenApiParameter("ordering", str, enum=list(self.view.orderings)))
        if self.method == "POST":
            parameters.append(OpenApiParameter("Idempotency-Key", str, OpenApiParameter.HEADER))
        if self.method == "PATCH":
            parameters.append(
                OpenApiParameter("If-Match", str, OpenApiParameter.HEADER, required=True)
            )
        return parameters


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How a token is told in the schema."""

    target_class = "packs.api.authentication.BearerToken"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}


class SessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the session of the pages is told in the schema."""

    target_class = "packs.api.authentication.PageSession"
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "apiKey", "in": "cookie", "name": settings.SESSION_COOKIE_NAME}
