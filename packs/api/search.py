"""search/: what the desk's box finds."""

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from packs.api.doors import Door
from packs.api.fields import Text
from packs.api.permissions import may
from packs.api.schema import Schema
from packs.api.shapes import Shape
from packs.reads import searching


class HitAnswer(serializers.Serializer[Any]):
    """One thing found, and the page that shows it."""

    kind = serializers.CharField()
    key = serializers.CharField()
    title = serializers.CharField()
    link = serializers.CharField()


class PlainList(Schema):
    """The best first, at most a few: a list without pages."""

    def _is_list_view(self, serializer: Any = None) -> bool:
        return True

    def _get_paginator(self) -> None:
        return None


class SearchQuery(Shape):
    """A part of a plate, a VIN, a serial, a tag, a name or a telephone number."""

    q = Text(max_length=200)


class Search(Door):
    resource = "search"
    query = SearchQuery
    answer = HitAnswer
    schema = PlainList()

    def get(self, request: Request, **keys: Any) -> Response:
        with_customers = may(self.actor.roles, "customers", write=False)
        hits = searching.find(self.asked()["q"], with_customers=with_customers)
        return Response(self.shown(hits, many=True))
