"""Tables of judgement: fits and what they need, outlooks, and work on the whole fleet."""

from reports.models.fits import StoredFit
from reports.models.fleet_work import FleetShard, FleetWork
from reports.models.outlooks import Outlook
from reports.models.statistics import PackStatistics

__all__ = ["FleetShard", "FleetWork", "Outlook", "PackStatistics", "StoredFit"]
