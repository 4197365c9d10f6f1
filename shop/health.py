"""Whether the process lives, and whether it can work; open to all, telling nothing private."""

import logging

from django.db import Error, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

logger = logging.getLogger(__name__)


@never_cache
@require_safe
def live(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"status": "live"})


@never_cache
@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """Ready is: the database answers and has every migration of this version."""
    try:
        executor = MigrationExecutor(connection)
        missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except Error as error:
        logger.warning("not ready: %s", error.__class__.__name__)
        return JsonResponse({"status": "not ready", "waiting_for": "database"}, status=503)
    if missing:
        return JsonResponse({"status": "not ready", "waiting_for": "migrations"}, status=503)
    return JsonResponse({"status": "ready"})
