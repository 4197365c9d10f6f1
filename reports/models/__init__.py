"""Tables of judgement: fits, outlooks, and work on the whole fleet."""

from reports.models.fits import StoredFit
from reports.models.fleet_work import FleetShard, FleetWork
from reports.models.outlooks import Outlook

__all__ = ["FleetShard", "FleetWork", "Outlook", "StoredFit"]
