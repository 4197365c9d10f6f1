"""customers/: personal data, for the desk and the manager."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import ExternalId, Opaque, Text, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import Customer
from packs.reads import names
from packs.rules.people import name_key, phone_key
from packs.writes import customers
from packs.writes.recording import Outcome


class CustomerChange(Shape):
    """What may change of a customer."""

    name = Text(max_length=200)
    phone = optional(Text, max_length=40)
    email = optional(Text, max_length=254)


class CustomerEntry(CustomerChange):
    """A customer as it is sent."""

    external_id = ExternalId()


class CustomerAnswer(KeyedAnswer):
    """A customer as it is answered."""

    id = Opaque(Customer.PREFIX, source="pk")
    name = serializers.CharField()
    phone = serializers.CharField()
    email = serializers.CharField()
    external_id = serializers.CharField(allow_null=True)


class CustomerQuery(Shape):
    """Which customers: by a part of the name or the number, by the whole address."""

    name = Text(max_length=200, required=False)
    phone = Text(max_length=40, required=False)
    email = Text(max_length=254, required=False)
    external_id = Text(max_length=200, required=False)


KEYS: Mapping[str, tuple[str, Callable[[str], str]]] = {
    "name": ("name_key__contains", name_key),
    "phone": ("phone_key__contains", phone_key),
    "email": ("email__iexact", str),
    "external_id": ("external_id", str),
}


class Customers(CreateDoor):
    resource = "customers"
    entry = CustomerEntry
    answer = CustomerAnswer
    query = CustomerQuery
    orderings = ("-recorded_at", "recorded_at", "name", "-name")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Customer]:
        wanted = {KEYS[name][0]: KEYS[name][1](said) for name, said in asked.items()}
        return Customer.objects.select_related("client").filter(**wanted)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Customer]:
        return customers.create_customer(by=self.actor, at=at, entry=entry)

    def address(self, row: Customer) -> str:
        return f"/api/v1/customers/{Opaque(Customer.PREFIX).to_representation(row.pk)}/"


class OneCustomer(ChangeDoor):
    resource = "customers"
    answer = CustomerAnswer
    change = CustomerChange

    def find(self, **keys: Any) -> Customer:
        return names.addressed(Customer.objects.select_related("client"), keys["id"])

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> Customer:
        return customers.change_customer(
            self.row, by=self.actor, at=at, version=version, changes=changes
        )
