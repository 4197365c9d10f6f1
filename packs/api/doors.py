"""What every door of the API does alike: the order of refusals, lists, single things, writes.

A door checks the shape, makes one call down, and translates the answer.
"""

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any, ClassVar

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from rest_framework import serializers
from rest_framework.exceptions import MethodNotAllowed, UnsupportedMediaType
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param
from rest_framework.views import APIView

from packs.api.encodings import encoding_of, is_known
from packs.api.fields import Text
from packs.api.paging import Pages
from packs.api.parsers import (
    BODY_LIMIT,
    JSON_TYPE,
    StrictJSONParser,
    ends_itself,
    is_chunked,
    too_large,
)
from packs.api.shapes import Shape, taken
from packs.errors import LengthMissing, Malformed, NotFound, Stale, VersionMissing
from packs.writes import answers, voiding
from packs.writes.actors import Actor
from packs.writes.recording import Outcome

METHODS = ("get", "post", "put", "patch", "delete")


class JsonAlways(DefaultContentNegotiation):
    """There is one form of answer, whatever is asked for."""

    def select_renderer(self, request: Any, renderers: Any, format_suffix: Any = None) -> Any:
        return renderers[0], renderers[0].media_type


class NoQuery(Shape):
    """A door without query fields."""


class Door(APIView):
    """The order of refusals: 401, 403, 404, 405, 415, 413, then the handler's own."""

    resource: ClassVar[str]
    query: ClassVar[type[Shape]] = NoQuery
    entry: ClassVar[type[Shape] | None] = None
    change: ClassVar[type[Shape] | None] = None
    answer: ClassVar[type[serializers.Serializer[Any]] | None] = None
    many: ClassVar[bool] = False
    content_negotiation_class = JsonAlways
    parser_classes: Sequence[type[BaseParser]] = (StrictJSONParser,)
    metadata_class = None

    def offered(self) -> list[str]:
        return [method for method in METHODS if hasattr(self, method)]

    @property
    def allowed_methods(self) -> list[str]:
        """What the Allow header says."""
        offered = [method.upper() for method in self.offered()]
        return [*offered, "HEAD"] if "GET" in offered else offered

    def initialize_request(self, request: Any, *args: Any, **kwargs: Any) -> Request:
        made = super().initialize_request(request, *args, **kwargs)
        if is_chunked(request.META) and ends_itself(request.META):
            made._stream = request.META["wsgi.input"]
        return made

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if not all(key.isprintable() for key in kwargs.values()):
            raise NotFound.at("", "not_found", "There is nothing at this address.")
        self.locate(**kwargs)
        method = (request.method or "").lower()
        if method not in (*self.offered(), "head"):
            raise MethodNotAllowed(request.method or "")
        if method in ("post", "patch"):
            self._check_body(request)

    def _check_body(self, request: Request) -> None:
        kind = (request.content_type or "").partition(";")[0].strip().lower()
        said = request.META.get("CONTENT_LENGTH") or ""
        length = int(said) if said.isdecimal() else 0
        bodyless = not length and not kind and self.entry is None and self.change is None
        if kind not in [parser.media_type for parser in self.parser_classes] and not bodyless:
            raise UnsupportedMediaType(request.content_type or "")
        if not is_known(encoding_of(request.META)):
            told = "This service unpacks gzip; send the body so, or without Content-Encoding."
            raise UnsupportedMediaType(kind, detail=told)
        if kind == JSON_TYPE and length > BODY_LIMIT:
            raise too_large()
        if is_chunked(request.META) and not ends_itself(request.META):
            raise LengthMissing.at(
                "", "length_needed", "This server takes no chunked body; send Content-Length."
            )

    def locate(self, **keys: Any) -> None:
        """Find what the address names; a door with an address overrides this."""

    @property
    def actor(self) -> Actor:
        actor = self.request.auth
        assert isinstance(actor, Actor)
        return actor

    def asked(self) -> dict[str, Any]:
        """The query fields, each known and well formed."""
        paging = ("cursor", "page_size", "ordering") if self.many else ()
        said = {
            name: value for name, value in self.request.query_params.items() if name not in paging
        }
        return taken(self.query, _typed(self.query, said))

    def body(self, shape: type[Shape]) -> dict[str, Any]:
        """The body in that shape."""
        return taken(shape, self.request.data)

    def shown(self, row: Any, **kwargs: Any) -> Any:
        """A row, or rows with many=True, as the door answers it."""
        assert self.answer is not None
        return self.answer(row, context={"actor": self.actor}, **kwargs).data

    def once(self, at: datetime, act: Callable[[], Response]) -> Response:
        """Act, or where the request bears an Idempotency-Key seen before, answer as then.

        What is stored and how it is answered stand or fall together, so that to send again
        after an error never doubles.
        """
        key = self.request.headers.get("Idempotency-Key")
        if key is None:
            with transaction.atomic():
                return act()
        said = answers.Asked(client=self.actor.client, key=key, digest=self._request_digest())
        kept = answers.claim(said, at=at)
        if kept.status is not None:
            return Response(kept.body, status=kept.status, headers=_located(kept.location))
        try:
            with transaction.atomic():
                response = act()
                answers.keep(
                    kept,
                    status=response.status_code,
                    body=response.data,
                    location=response.headers.get("Location", ""),
                )
        except BaseException:
            answers.release(kept)
            raise
        return response

    def _request_digest(self) -> bytes:
        request = self.request
        said = [request.method, request.get_full_path(), request.data]
        return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).digest()


def _located(location: str) -> dict[str, str]:
    return {"Location": location} if location else {}


def _typed(shape: type[Shape], said: Mapping[str, Any]) -> dict[str, Any]:
    """Query fields are text; what the shape wants as a number or a truth is read from it."""
    fields = shape().fields
    return {name: _read(fields.get(name), value) for name, value in said.items()}


def _read(field: Any, value: str) -> Any:
    if isinstance(field, serializers.BooleanField):
        return {"true": True, "false": False}.get(value, value)
    if isinstance(field, serializers.IntegerField | serializers.FloatField):
        try:
            return int(value) if isinstance(field, serializers.IntegerField) else float(value)
        except ValueError:
            return value
    return value


class ListDoor(Door):
    """GET answers a page of rows."""

    many = True
    orderings: ClassVar[tuple[str, ...]] = ("-recorded_at", "recorded_at")
    ordering_columns: ClassVar[Mapping[str, str]] = {}
    pinned: Mapping[str, str] = {}  # query fields that every page of one listing keeps

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Any]:
        """The rows that the query fields ask for."""
        raise NotImplementedError

    def get(self, request: Request, **keys: Any) -> Response:
        pages = Pages()
        page = pages.paginate_queryset(self.rows(self.asked()), request, view=self)
        for name, value in self.pinned.items():
            pages.base_url = replace_query_param(str(pages.base_url), name, value)
        return pages.get_paginated_response(self.shown(page, many=True))


class CreateDoor(ListDoor):
    """POST stores one thing: 201, or 200 with what was stored before."""

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Any]:
        """Make the one call down."""
        raise NotImplementedError

    def address(self, row: Any) -> str:
        """Where the stored thing is found from now on."""
        return ""

    def post(self, request: Request, **keys: Any) -> Response:
        assert self.entry is not None
        at = timezone.now()
        entry = self.body(self.entry)
        return self.once(at, lambda: self._stored(self.write(entry, at)))

    def _stored(self, outcome: Outcome[Any]) -> Response:
        status = 201 if outcome.created else 200
        location = self.address(outcome.row)
        return Response(self.shown(outcome.row), status=status, headers=_located(location))


class OneDoor(Door):
    """GET answers one thing, found by its address."""

    row: Any

    def find(self, **keys: Any) -> Any:
        """The row an address names; raises NotFound."""
        raise NotImplementedError

    def locate(self, **keys: Any) -> None:
        self.row = self.find(**keys)

    def get(self, request: Request, **keys: Any) -> Response:
        self.asked()
        return self._answered(self.row)

    def _answered(self, row: Any) -> Response:
        version = getattr(row, "version", None)
        headers = {} if version is None else {"ETag": f'"{version}"'}
        return Response(self.shown(row), headers=headers)


class ChangeDoor(OneDoor):
    """PATCH changes one thing, for who says which version it changes."""

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> Any:
        """Make the one call down; answers the changed row."""
        raise NotImplementedError

    def patch(self, request: Request, **keys: Any) -> Response:
        assert self.change is not None
        version = self._version(request)
        changes = taken(self.change, request.data, partial=True)
        if not changes:
            raise Malformed.at("", "nothing_to_change", "Name at least one field to change.")
        with transaction.atomic():
            return self._answered(self.apply(changes, timezone.now(), version))

    def _version(self, request: Request) -> int:
        """The version in If-Match; told before the body is read."""
        said = request.headers.get("If-Match")
        if said is None:
            raise VersionMissing.at(
                "", "if_match_needed", "Send If-Match with the ETag that you read."
            )
        present = self.row.version
        if not {f'"{present}"', "*"} & {tag.strip() for tag in said.split(",")}:
            raise stale(present)
        return int(present)


def stale(present: int) -> Stale:
    return Stale.at(
        "",
        "stale_version",
        f'It was changed meanwhile and is at version "{present}"; read it again, then change it.',
    )


class VoidEntry(Shape):
    """Why a record is taken out of account."""

    reason = Text(max_length=1000)


class VoidDoor(OneDoor):
    """POST …/{id}/void/ takes a record out of account."""

    resource = "voiding"
    entry = VoidEntry

    def void(self, reason: str, at: datetime) -> Any:
        """Make the one call down; answers the voided row."""
        return voiding.void(self.row, by=self.actor, at=at, reason=reason)

    def offered(self) -> list[str]:
        return ["post"]

    def post(self, request: Request, **keys: Any) -> Response:
        reason = self.body(VoidEntry)["reason"]
        at = timezone.now()
        return self.once(at, lambda: Response(self.shown(self.void(reason, at))))
