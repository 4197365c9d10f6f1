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
    "lock-outs": Access(PEOPLE, WORKSHOP),
    "re-energisings": Access(PEOPLE, WORKSHOP),
    "teardowns": Access(PEOPLE, WORKSHOP),
    "reassemblies": Access(PEOPLE, WORKSHOP),
    "isolation-checks": Access(PEOPLE, WORKSHOP),
    "part-tests": Access(PEOPLE, WORKSHOP),
    "releases": Access(PEOPLE, WORKSHOP),
    "module-tests": Access(PEOPLE | {MACHINE}, frozenset({BENCH, MANAGER, MACHINE})),
    "planned-tests": Access(EVERYBODY, WORKSHOP),
    "components": Access(PEOPLE, WORKSHOP),
    "work-times": Access(PEOPLE, WORKSHOP),
    "incidents": Access(PEOPLE, PEOPLE),
    "matchings": Access(PEOPLE, WORKSHOP),
    "disposals": Access(PEOPLE, WORKSHOP),
    "shipping-decisions": Access(PEOPLE, WORKSHOP),
    "prices": Access(PEOPLE, frozenset({MANAGER})),
    "watch": Access(frozenset({MANAGER})),
    "metrics": Access(EVERYBODY),
    "voiding": Access(NOBODY, WORKSHOP),
}


def may(roles: frozenset[str], resource: str, *, write: bool) -> bool:
    """Whether any of the roles may read, or write, that resource."""
    access = TABLE[resource]
    return bool(roles & (access.write if write else access.read))
