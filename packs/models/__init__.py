"""Tables of facts, and what the database itself refuses."""

from packs.models.bench import (
    Incident,
    IsolationCheck,
    LockOut,
    Part,
    Reassembly,
    ReEnergising,
    Release,
    Step,
    Teardown,
    WorkTime,
)
from packs.models.bench_tests import Component, ModuleTest, PartTest, PlannedTest, TestSeries
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
from packs.models.stock import Disposal, DisposalLine, Matching, PriceItem, ShippingDecision
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
    "Component",
    "Consent",
    "Core",
    "CostEstimate",
    "Customer",
    "Disposal",
    "DisposalLine",
    "Edit",
    "Equipment",
    "EstimateLine",
    "Fact",
    "Failure",
    "Finding",
    "HistoryEntry",
    "ImportFile",
    "ImportSource",
    "Incident",
    "Inspection",
    "Installation",
    "IsolationCheck",
    "KeptAnswer",
    "Keyed",
    "LockOut",
    "Lot",
    "Matching",
    "Module",
    "ModuleTest",
    "Ownership",
    "Pack",
    "PackType",
    "PackTypeVersion",
    "PaperText",
    "PaperTextVersion",
    "Part",
    "PartTest",
    "Person",
    "Photo",
    "PhotoContent",
    "Placement",
    "PlannedTest",
    "Posted",
    "PriceItem",
    "ReEnergising",
    "Reassembly",
    "Release",
    "Role",
    "ShippingDecision",
    "Site",
    "Step",
    "Swap",
    "SwapChange",
    "Teardown",
    "TestSeries",
    "Token",
    "TroubleCode",
    "Vehicle",
    "Visit",
    "VoltageCheck",
    "Warranty",
    "WorkTime",
]
