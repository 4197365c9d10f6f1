"""The table of roles, held against a request."""

from typing import Any

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from packs.reads.roles import may
from packs.writes.actors import Actor

__all__ = ["RoleTable", "may"]


class RoleTable(BasePermission):
    """Holds a request against the table; a method that a door lacks is left to the 405."""

    message = "Your role may not do this; ask somebody whose role may."

    def has_permission(self, request: Request, view: Any) -> bool:
        actor = request.auth
        if not isinstance(actor, Actor):
            return False
        reads, writes = (may(actor.roles, view.resource, write=write) for write in (False, True))
        method = "get" if request.method == "HEAD" else (request.method or "").lower()
        if method not in view.offered():
            return reads or writes
        return reads if request.method in SAFE_METHODS else writes
