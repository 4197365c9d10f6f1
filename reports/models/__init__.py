"""Tables of judgement: fits, outlooks, and what is owed beside the packs."""

from reports.models.duties import Duty
from reports.models.fits import StoredFit
from reports.models.outlooks import Outlook

__all__ = ["Duty", "Outlook", "StoredFit"]
