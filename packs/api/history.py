"""packs/{serial}/history/: everything that ever happened to a pack, newest first."""

from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import remove_query_param, replace_query_param

from packs.api.doors import Door
from packs.api.fields import Choice
from packs.api.paging import bad_cursor, page_size, read_cursor, write_cursor
from packs.api.shapes import Shape
from packs.errors import Malformed
from packs.models import Pack
from packs.reads import history, names


class LineAnswer(serializers.Serializer[Any]):
    """Something that happened; `link` is the address of the fact, `by` who did it or wrote it."""

    at = serializers.DateTimeField()
    kind = serializers.CharField()
    summary = serializers.CharField()
    by = serializers.CharField()
    link = serializers.SerializerMethodField()

    def get_link(self, line: history.Line) -> str:
        return f"/api/v1/{history.resource_of(line.kind)}/{quote(line.key)}/"


class HistoryQuery(Shape):
    """Which lines."""

    kind = Choice(sorted(history.kinds_known()), required=False)


class History(Door):
    resource = "history"
    answer = LineAnswer
    query = HistoryQuery
    many = True
    orderings = ("-at",)
    row: Pack

    def locate(self, **keys: Any) -> None:
        self.row = names.keyed(names.packs(), serial__upper=keys["serial"].upper())

    def get(self, request: Request, **keys: Any) -> Response:
        wanted = self.asked().get("kind")
        said = request.query_params
        if said.get("ordering", "-at") not in self.orderings:
            raise Malformed.at("", "unknown_ordering", "ordering is one of: -at.")
        kinds = [kind for kind in history.kinds_for(self.actor.roles) if wanted in (None, kind)]
        edge = _read(said["cursor"]) if said.get("cursor") else {}
        page = history.page(
            self.row,
            kinds=kinds,
            size=page_size(said.get("page_size")),
            before=edge.get("before"),
            after=edge.get("after"),
        )
        return Response(
            {
                "next": self._beside("after", page.lines[-1:]) if page.older else None,
                "previous": self._beside("before", page.lines[:1]) if page.newer else None,
                "results": self.shown(page.lines, many=True),
            }
        )

    def _beside(self, side: str, edge: tuple[history.Line, ...]) -> str | None:
        """The address of the page on that side of a line."""
        here = self.request.build_absolute_uri()
        if not edge:
            return str(remove_query_param(here, "cursor"))
        return str(replace_query_param(here, "cursor", _written(side, edge[0].place)))


def _written(side: str, place: history.Place) -> str:
    return write_cursor(side, place.at.isoformat(), place.revision)


def _read(cursor: str) -> dict[str, history.Place]:
    """Which side of which line: the history runs from the newest to the oldest."""
    edge = read_cursor(cursor)
    try:
        at = datetime.fromisoformat(edge.value)
        place = history.Place(at.astimezone(UTC), edge.number)
    except (ValueError, TypeError, OverflowError) as error:
        raise bad_cursor() from error
    if at.tzinfo is None:
        raise bad_cursor()
    return {SIDES[edge.side]: place}


SIDES = {"after": "before", "before": "after"}  # later in the list is earlier in time
