"""The page of a customer, for the office: how to reach them, and their cars."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from packs.models import Customer
from packs.pages.doors import page
from packs.reads import names


@page("customers")
def customer(request: HttpRequest, key: str) -> HttpResponse:
    """A customer by the id of the API."""
    row = names.addressed(Customer.objects.all(), key)
    owned = row.ownerships.select_related("vehicle").order_by("-from_at", "-pk")
    return render(request, "packs/customer.html", {"customer": row, "ownerships": owned})
