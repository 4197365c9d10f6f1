"""The ways through the house that stand on every page, for those who may go them."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from packs.models import Account
from packs.reads.roles import may


@dataclass(frozen=True)
class Way:
    """A page by its name among the addresses, and whom it is for."""

    label: str
    name: str
    resource: str
    write: bool = False


WAYS = (
    Way("Today", "today", "visits"),
    Way("Check in", "check-in", "vehicles", write=True),
    Way("Packs", "fleet", "outlooks"),
    Way("Stock", "stock", "modules", write=True),
    Way("Tests", "tests", "planned-tests", write=True),
    Way("Equipment", "equipment", "equipment", write=True),
    Way("Cores", "cores", "cores"),
    Way("Import", "import", "import-sources", write=True),
    Way("Papers", "paper-texts", "paper-texts", write=True),
    Way("Prices", "prices", "prices", write=True),
    Way("Watch", "watch", "watch"),
)


def ways(request: HttpRequest) -> dict[str, Any]:
    """For the templates: `ways`, each with its label, address, and whether one is there."""
    account = getattr(request, "user", None)
    if not isinstance(account, Account):
        return {"ways": []}
    open_to = [way for way in WAYS if may(account.roles, way.resource, write=way.write)]
    told = [(way.label, address) for way in open_to if (address := _address(way))]
    return {"ways": [(label, to, request.path == to) for label, to in told]}


def _address(way: Way) -> str:
    try:
        return reverse(way.name)
    except NoReverseMatch:
        return ""
