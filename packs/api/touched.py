"""equipment/{code}/touched/: everything that names a piece, to be looked at again if it is bad."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import PolymorphicProxySerializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import remove_query_param, replace_query_param

from packs.api.doors import Door
from packs.api.facts import FactAnswer, asked_facts
from packs.api.fields import Choice, Instant
from packs.api.paging import bad_cursor, page_size, read_cursor, write_cursor
from packs.api.schema import Schema
from packs.api.voltage_checks import COLUMNS, CheckAnswer, CheckQuery
from packs.errors import Malformed
from packs.models import Equipment, Fact, VoltageCheck
from packs.reads import comparing, history, names, touched
from packs.reads.touched import Asked, Place, Touch
from packs.rules.identity import encode

ORDERINGS = ("-at", "at")
OF_CHECKS = ("level", "condition", "set", "taken_since", "taken_until")


class LinkedAnswer(serializers.Serializer[Any]):
    """Which kind of record it is, when it happened, and its address."""

    kind = serializers.SerializerMethodField()
    link = serializers.SerializerMethodField()

    def get_kind(self, fact: Fact) -> str:
        return fact.KIND

    def get_link(self, fact: Fact) -> str:
        return f"/api/v1/{history.resource_of(fact.KIND)}/{encode(fact.PREFIX, fact.pk)}/"


class TouchedCheck(LinkedAnswer, CheckAnswer):
    """A voltage check, as voltage-checks/ answers it."""


class TouchedOther(LinkedAnswer, FactAnswer):
    """Another record; its link says the rest."""

    id = serializers.SerializerMethodField()
    at = serializers.SerializerMethodField()

    def get_id(self, fact: Fact) -> str:
        return encode(fact.PREFIX, fact.pk)

    def get_at(self, fact: Fact) -> datetime:
        at: datetime = self.context["at"]
        return at


class TouchedQuery(CheckQuery):
    """Which records; `level`, `condition`, `set` and `taken_…` ask for voltage checks alone."""

    kind = Choice(list(touched.SOURCES), required=False)
    since = Instant(required=False)
    until = Instant(required=False)


class EitherAnswer(Schema):
    """A list of both shapes."""

    def _successes(self) -> dict[Any, Any]:
        shapes = PolymorphicProxySerializer(
            component_name="Touched",
            serializers=[TouchedCheck, TouchedOther],
            resource_type_field_name=None,
            many=True,
        )
        return {"200": shapes}


class Touched(Door):
    """Every record that names the piece, the newest first."""

    resource = "equipment"
    schema = EitherAnswer()
    answer = TouchedOther
    query = TouchedQuery
    many = True
    orderings = ORDERINGS
    row: Equipment

    def locate(self, **keys: Any) -> None:
        self.row = names.keyed(Equipment.objects.all(), code=keys["code"])

    def get(self, request: Request, **keys: Any) -> Response:
        asked, said = self.asked(), request.query_params
        ordering = said.get("ordering", ORDERINGS[0])
        if ordering not in ORDERINGS:
            raise Malformed.at(
                "", "unknown_ordering", f"ordering is one of: {', '.join(ORDERINGS)}."
            )
        side, edge = _read(said["cursor"]) if said.get("cursor") else ("after", None)
        page = touched.page(
            self.row,
            Asked(
                kinds=self._kinds(asked),
                size=page_size(said.get("page_size")),
                edge=edge,
                backwards=side == "before",
                newest_first=ordering == "-at",
            ),
            lambda rows, kind: _narrowed(rows, kind, asked),
        )
        return Response(
            {
                "next": self._beside("after", page.touches[-1:]) if page.after else None,
                "previous": self._beside("before", page.touches[:1]) if page.before else None,
                "results": _told(page.touches),
            }
        )

    def _kinds(self, asked: dict[str, Any]) -> list[str]:
        """The kinds that are asked for and that the role may read elsewhere."""
        readable = history.kinds_for(self.actor.roles)
        of_checks = any(name in asked for name in OF_CHECKS)
        wanted = VoltageCheck.KIND if of_checks else asked.get("kind")
        return [kind for kind in touched.SOURCES if kind in readable and wanted in (None, kind)]

    def _beside(self, side: str, edge: Sequence[Touch]) -> str:
        here = self.request.build_absolute_uri()
        if not edge:
            return str(remove_query_param(here, "cursor"))
        place = edge[0].place
        cursor = write_cursor(side, f"{place.at.isoformat()}/{place.rank}", place.number)
        return str(replace_query_param(here, "cursor", cursor))


def _narrowed(rows: QuerySet[Any], kind: str, asked: dict[str, Any]) -> QuerySet[Any]:
    """The rows of a kind that the query fields ask for."""
    instant = touched.SOURCES[kind][1]
    columns = {"since": f"{instant}__gte", "until": f"{instant}__lte", "visit": "visit_id"}
    if kind == VoltageCheck.KIND:
        columns = {**COLUMNS, **columns}
    said = {columns[name]: value for name, value in asked.items() if name in columns}
    return asked_facts(rows, asked).filter(**said)


def _told(touches: Sequence[Touch]) -> list[Any]:
    checks = [touch.fact for touch in touches if isinstance(touch.fact, VoltageCheck)]
    derived = comparing.derive(checks)
    return [_answered(touch, derived) for touch in touches]


def _answered(touch: Touch, derived: Any) -> Any:
    if touch.kind == VoltageCheck.KIND:
        return TouchedCheck(touch.fact, context={"derived": derived}).data
    return TouchedOther(touch.fact, context={"at": touch.at}).data


def _read(cursor: str) -> tuple[str, Place]:
    edge = read_cursor(cursor)
    try:
        instant, _, rank = str(edge.value).partition("/")
        at = datetime.fromisoformat(instant)
        place = Place(at, int(rank), edge.number)
    except (ValueError, OverflowError) as error:
        raise bad_cursor() from error
    if at.tzinfo is None or rank not in {str(number) for number in touched.RANKS.values()}:
        raise bad_cursor()
    return edge.side, place
