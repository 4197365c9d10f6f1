"""Tables of facts, and what the database itself refuses."""

from packs.models.checks import VoltageCheck
from packs.models.clients import Client, KeptAnswer, Role, Token
from packs.models.desk import Call, Consent, Core, CostEstimate, EstimateLine
from packs.models.facts import VOID_COLUMNS, Fact, Keyed, Posted
from packs.models.history import Edit, HistoryEntry
from packs.models.imports import ImportFile, ImportSource
from packs.models.modules import Lot, Module, Placement
from packs.models.packs import Pack
from packs.models.papers import PaperText, PaperTextVersion
from packs.models.people import Account, Equipment, Person
from packs.models.photos import Photo, PhotoContent
from packs.models.sites import Site
from packs.models.types import RATINGS, PackType, PackTypeVersion
from packs.models.vehicles import Customer, Installation, Ownership, Vehicle
from packs.models.visits import TroubleCode, Visit
from packs.models.warranties import Claim, Warranty
from packs.models.work import Failure, Finding, Inspection, Swap, SwapChange

__all__ = [
    "RATINGS",
    "VOID_COLUMNS",
    "Account",
    "Call",
    "Claim",
    "Client",
    "Consent",
    "Core",
    "CostEstimate",
    "Customer",
    "Edit",
    "Equipment",
    "EstimateLine",
    "Fact",
    "Failure",
    "Finding",
    "HistoryEntry",
    "ImportFile",
    "ImportSource",
    "Inspection",
    "Installation",
    "KeptAnswer",
    "Keyed",
    "Lot",
    "Module",
    "Ownership",
    "Pack",
    "PackType",
    "PackTypeVersion",
    "PaperText",
    "PaperTextVersion",
    "Person",
    "Photo",
    "PhotoContent",
    "Placement",
    "Posted",
    "Role",
    "Site",
    "Swap",
    "SwapChange",
    "Token",
    "TroubleCode",
    "Vehicle",
    "Visit",
    "VoltageCheck",
    "Warranty",
]
