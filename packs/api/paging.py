"""Pages by cursor, in an order from a stated list.

A cursor names the last row of a page by its place in the order, the column and then the number,
so that rows with equal values are each met once, and rows stored meanwhile move no page.
"""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import DataError
from django.db.models import Model, Q, QuerySet
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.utils.urls import remove_query_param, replace_query_param

from packs.errors import Malformed

PAGE = 50
PAGE_MAX = 500
DIGITS = 9  # of the longest number that is read from an address
NUMBERS = 62  # bits of the largest row number that a cursor may name


@dataclass(frozen=True)
class Edge:
    """A row's place in an order, and the side of it that is asked for: 'after' or 'before'."""

    side: str
    value: Any
    number: int


class Pages(CursorPagination):
    """`next` and `previous` are addresses; `?page_size=` up to 500, `?ordering=` as stated."""

    page_size = PAGE
    page_size_query_param = "page_size"
    max_page_size = PAGE_MAX

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        self.base_url = request.build_absolute_uri()
        size = self.get_page_size(request)
        self.column, self.descends = _order(request, view)
        said = request.query_params.get("cursor")
        edge = None if not said else read_cursor(said)
        found = self._read(queryset, edge, size + 1)
        rows = found[:size]
        back = edge is not None and edge.side == "before"
        if back:
            rows.reverse()
        self.older = back or len(found) > size
        self.newer = len(found) > size if back else edge is not None
        self.rows: list[Model] = rows
        return rows

    def _read(self, queryset: QuerySet[Any], edge: Edge | None, count: int) -> list[Any]:
        down = self.descends != (edge is not None and edge.side == "before")
        sign = "-" if down else ""
        ordered = queryset.order_by(sign + self.column, sign + "pk")
        if edge is None:
            return list(ordered[:count])
        beyond = "lt" if down else "gt"
        further = Q(**{f"{self.column}__{beyond}": edge.value})
        tied = Q(**{self.column: edge.value, f"pk__{beyond}": edge.number})
        try:
            reached = ordered.filter(**{f"{self.column}__{beyond}e": edge.value})  # by an index
            return list(reached.filter(further | tied)[:count])
        except (ValidationError, DataError, TypeError, ValueError, OverflowError) as error:
            raise bad_cursor() from error

    def get_page_size(self, request: Request) -> int:
        return page_size(request.query_params.get("page_size"))

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        address = {"type": ["string", "null"], "format": "uri"}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {"next": address, "previous": address, "results": schema},
        }

    def get_next_link(self) -> str | None:
        return self._beside("after", self.rows[-1:]) if self.older else None

    def get_previous_link(self) -> str | None:
        return self._beside("before", self.rows[:1]) if self.newer else None

    def _beside(self, side: str, rows: list[Model]) -> str:
        """The address of the page on that side of a row; of the first page where there is none."""
        if not rows:
            return str(remove_query_param(str(self.base_url), "cursor"))
        value = getattr(rows[0], self.column)
        plain = value.isoformat() if isinstance(value, date) else value
        cursor = write_cursor(side, plain, rows[0].pk)
        return str(replace_query_param(str(self.base_url), "cursor", cursor))


def _order(request: Request, view: Any) -> tuple[str, bool]:
    """The column to order by, and whether it descends."""
    asked = request.query_params.get("ordering") or view.orderings[0]
    if asked not in view.orderings:
        raise Malformed.at(
            "", "unknown_ordering", f"ordering is one of: {', '.join(view.orderings)}."
        )
    name = asked.lstrip("-")
    return view.ordering_columns.get(name, name), asked.startswith("-")


def page_size(said: str | None) -> int:
    """How many rows a page is asked to have."""
    if said is None:
        return PAGE
    if not said.isdecimal() or len(said) > DIGITS or not 1 <= int(said) <= PAGE_MAX:
        raise Malformed.at(
            "/page_size", "bad_page_size", f"page_size is a number from 1 to {PAGE_MAX}."
        )
    return int(said)


def write_cursor(side: str, value: Any, number: int) -> str:
    return urlsafe_b64encode(json.dumps([side, value, number]).encode()).decode().rstrip("=")


def read_cursor(cursor: str) -> Edge:
    """The edge a cursor names; Malformed for one that was never answered."""
    try:
        side, value, number = json.loads(urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
    except (ValueError, TypeError, RecursionError) as error:
        raise bad_cursor() from error
    plain = isinstance(value, str | int | float) and not isinstance(value, bool)
    if side not in ("after", "before") or not plain or type(number) is not int or number >> NUMBERS:
        raise bad_cursor()
    return Edge(side, value, number)


def bad_cursor() -> Malformed:
    return Malformed.at(
        "", "bad_cursor", "cursor is not one that was answered; follow next and previous."
    )
