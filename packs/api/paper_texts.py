"""paper-texts/: the shop's own words on the papers that it hands out."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor, ListDoor
from packs.api.fields import Choice, Text, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import PaperText, PaperTextVersion
from packs.reads import names
from packs.writes import paper_texts
from packs.writes.recording import Outcome


class PaperTextChange(Shape):
    """What may change of a paper's words: plain text, blank lines between paragraphs."""

    heading = Text(max_length=120)
    opening = optional(Text)
    closing = optional(Text)


class PaperTextEntry(PaperTextChange):
    """The words of a paper as they are sent."""

    paper = Choice(PaperText.Papers.choices)


class WordsAnswer(serializers.Serializer[Any]):
    """Words as they are answered."""

    heading = serializers.CharField()
    opening = serializers.CharField()
    closing = serializers.CharField()


class PaperTextAnswer(WordsAnswer, KeyedAnswer):
    """The words of a paper as they stand now."""

    paper = serializers.ChoiceField(PaperText.Papers.choices)


class PaperTexts(CreateDoor):
    resource = "paper-texts"
    entry = PaperTextEntry
    answer = PaperTextAnswer
    orderings = ("paper", "-paper", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[PaperText]:
        return PaperText.objects.select_related("client")

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[PaperText]:
        return paper_texts.create_paper_text(by=self.actor, at=at, entry=entry)

    def address(self, row: PaperText) -> str:
        return f"/api/v1/paper-texts/{quote(row.paper)}/"


class OnePaperText(ChangeDoor):
    resource = "paper-texts"
    answer = PaperTextAnswer
    change = PaperTextChange

    def find(self, **keys: Any) -> PaperText:
        return names.keyed(PaperText.objects.select_related("client"), paper=keys["paper"])

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> PaperText:
        return paper_texts.change_paper_text(
            self.row, by=self.actor, at=at, version=version, changes=changes
        )


class PaperTextVersionAnswer(WordsAnswer):
    """The words of a paper from one change to the next."""

    number = serializers.IntegerField()
    recorded_at = serializers.DateTimeField()


class PaperTextVersions(ListDoor):
    resource = "paper-texts"
    answer = PaperTextVersionAnswer
    orderings = ("-number", "number")
    row: PaperText

    def locate(self, **keys: Any) -> None:
        self.row = names.keyed(PaperText.objects.all(), paper=keys["paper"])

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[PaperTextVersion]:
        return PaperTextVersion.objects.filter(text=self.row)
