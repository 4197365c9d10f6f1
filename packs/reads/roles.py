"""Who may do what: one table, read by every door and every page."""

from collections.abc import Mapping
from dataclasses import dataclass

from packs.models import Role

DESK, BENCH, MANAGER, MACHINE = Role.DESK, Role.BENCH, Role.MANAGER, Role.MACHINE
EVERYBODY = frozenset({DESK, BENCH, MANAGER, MACHINE})
PEOPLE = frozenset({DESK, BENCH, MANAGER})
OFFICE = frozenset({DESK, MANAGER})
WORKSHOP = frozenset({BENCH, MANAGER})
NOBODY: frozenset[Role] = frozenset()


@dataclass(frozen=True)
class Access:
    """The roles that may read and those that may write a resource."""

    read: frozenset[Role]
    write: frozenset[Role] = NOBODY


TABLE: Mapping[str, Access] = {
    "schema": Access(EVERYBODY),
    "sites": Access(PEOPLE, frozenset({MANAGER})),
    "people": Access(PEOPLE, frozenset({MANAGER})),
    "pack-types": Access(EVERYBODY, frozenset({MANAGER})),
    "packs": Access(EVERYBODY, PEOPLE),
    "placements": Access(EVERYBODY),
    "history": Access(EVERYBODY),
    "outlooks": Access(EVERYBODY),
    "search": Access(PEOPLE),
    "installations": Access(PEOPLE, OFFICE),
    "vehicles": Access(PEOPLE, OFFICE),
    "customers": Access(OFFICE, OFFICE),
    "visits": Access(PEOPLE, PEOPLE),
    "voltage-checks": Access(EVERYBODY, frozenset({BENCH, MANAGER, MACHINE})),
    "trouble-codes": Access(EVERYBODY, frozenset({BENCH, MANAGER, MACHINE})),
    "modules": Access(EVERYBODY, WORKSHOP),
    "lots": Access(PEOPLE, WORKSHOP),
    "equipment": Access(PEOPLE, WORKSHOP),
    "inspections": Access(PEOPLE, WORKSHOP),
    "swaps": Access(PEOPLE, WORKSHOP),
    "failures": Access(PEOPLE, PEOPLE),
    "warranties": Access(PEOPLE, OFFICE),
    "claims": Access(PEOPLE, OFFICE),
    "cores": Access(PEOPLE, OFFICE),
    "consents": Access(PEOPLE, OFFICE),
    "cost-estimates": Access(PEOPLE, OFFICE),
    "calls": Access(PEOPLE, OFFICE),
    "photos": Access(PEOPLE, PEOPLE),
    "paper-texts": Access(PEOPLE, frozenset({MANAGER})),
    "import-sources": Access(PEOPLE, WORKSHOP),
    "watch": Access(frozenset({MANAGER})),
    "metrics": Access(EVERYBODY),
    "voiding": Access(NOBODY, WORKSHOP),
}


def may(roles: frozenset[str], resource: str, *, write: bool) -> bool:
    """Whether any of the roles may read, or write, that resource."""
    access = TABLE[resource]
    return bool(roles & (access.write if write else access.read))
