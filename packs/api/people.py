"""people/: who does the work."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import Choice, Code, Day, Text, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import Person, Role
from packs.reads import names
from packs.writes import people
from packs.writes.recording import Outcome

ROLES = [Role.DESK.value, Role.BENCH.value, Role.MANAGER.value]
HELD_MAX = 50  # qualifications of one person


class Qualification(Shape):
    """What somebody is qualified for, until when."""

    level = Text(max_length=100)
    expires_on = optional(Day)


class PersonChange(Shape):
    """What may change of a person."""

    name = Text(max_length=100)
    roles = serializers.ListField(child=Choice(ROLES), required=False, max_length=len(ROLES))
    qualifications = serializers.ListField(
        child=Qualification(), required=False, max_length=HELD_MAX
    )
    site = optional(Text, max_length=40, min_length=1)


class PersonEntry(PersonChange):
    """A person as sent."""

    code = Code()


class QualificationAnswer(serializers.Serializer[Any]):
    """What somebody is qualified for, until when."""

    level = serializers.CharField()
    expires_on = serializers.CharField(allow_null=True)


class PersonAnswer(KeyedAnswer):
    """A person as answered."""

    code = serializers.CharField()
    name = serializers.CharField()
    roles = serializers.ListField(child=serializers.CharField())
    qualifications = QualificationAnswer(many=True)
    site = serializers.CharField(source="site.code", allow_null=True, default=None)


class PersonQuery(Shape):
    """Which people."""

    site = Text(max_length=40, required=False)


def rows() -> QuerySet[Person]:
    return Person.objects.select_related("client", "site")


class People(CreateDoor):
    resource = "people"
    entry = PersonEntry
    answer = PersonAnswer
    query = PersonQuery
    orderings = ("code", "-code", "name", "-name", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Person]:
        return rows().filter(site__code=asked["site"]) if "site" in asked else rows()

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Person]:
        return people.create_person(by=self.actor, at=at, entry=entry)

    def address(self, row: Person) -> str:
        return f"/api/v1/people/{quote(row.code)}/"


class OnePerson(ChangeDoor):
    resource = "people"
    answer = PersonAnswer
    change = PersonChange

    def find(self, **keys: Any) -> Person:
        return names.keyed(rows(), code=keys["code"])

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> Person:
        return people.change_person(
            self.row, by=self.actor, at=at, version=version, changes=changes
        )
