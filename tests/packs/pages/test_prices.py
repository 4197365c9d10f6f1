"""The pages of the price list."""

import re
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from packs.models import PriceItem
from tests import world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db

NEW = {
    "code": "module",
    "kind": "module",
    "what": "Module, tested",
    "price": "58,50",
    "hours": "4.5",
}


def sent(client: Client, address: str, **filled: Any) -> Any:
    hidden = re.findall(r'name="(sent_as|version)" value="([^"]+)"', text(client, address))
    return client.post(address, {**dict(hidden), **filled})


def test_an_empty_list_says_what_is_missing() -> None:
    told = words(text(signed_in("bench"), "/prices/"))
    assert "Not in the list yet: an hour of work, modules, the price of one, other parts" in told
    assert "Add a price" not in told


def test_a_price_is_added_and_changed() -> None:
    world.pack_type()
    manager = signed_in("manager")
    assert sent(manager, "/prices/new/", **NEW, pack_type="NM-28").status_code == 302
    row = PriceItem.objects.get()
    assert (row.price, row.hours, row.pack_type and row.pack_type.code) == (
        Decimal("58.50"),
        Decimal("4.50"),
        "NM-28",
    )
    changed = {"what": "Module", "price": "61", "hours": ""}
    assert sent(manager, "/prices/module/", **changed).status_code == 302
    row.refresh_from_db()
    assert (row.what, row.price, row.hours, row.version) == ("Module", Decimal(61), Decimal(0), 2)
    html = text(manager, "/prices/")
    assert "61.00" in html
    assert not inline(html)


def test_what_is_wrong_is_said_at_its_field() -> None:
    manager = signed_in("manager")
    response = sent(manager, "/prices/new/", **{**NEW, "kind": "component"})
    assert "Say which kind of part this is the price of." in response.content.decode()
    sent(manager, "/prices/new/", **NEW)
    response = sent(manager, "/prices/new/", **{**NEW, "price": "60"})
    assert "is recorded with other content" in response.content.decode()
    stale = {"what": "Module", "price": "61", "version": "7"}
    response = sent(manager, "/prices/module/", **stale)
    assert "It was changed meanwhile" in response.content.decode()


def test_only_the_manager_writes_it() -> None:
    assert signed_in("bench").get("/prices/new/").status_code == 403
