"""Whether the process lives, and whether it can work; open to all, telling nothing private."""

import logging
from collections.abc import Callable
from functools import wraps

from django.db import Error, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt

from shop import problems

logger = logging.getLogger(__name__)
READ = ("GET", "HEAD")
View = Callable[[HttpRequest], JsonResponse]


def only_read(view: View) -> View:
    """Another method is a problem like any other of the API, not a page."""

    @wraps(view)
    def answer(request: HttpRequest) -> JsonResponse:
        if request.method in READ:
            return view(request)
        body = problems.document(405, "Method Not Allowed", "This address is only read.")
        return JsonResponse(
            body, status=405, content_type=problems.PROBLEM_TYPE, headers={"Allow": ", ".join(READ)}
        )

    return csrf_exempt(answer)


@only_read
@never_cache
def live(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"status": "live"})


@only_read
@never_cache
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
