"""The web application, with all of it loaded before the first request."""

import gc

from django.core.handlers.wsgi import WSGIHandler
from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver


def make_application() -> WSGIHandler:
    """The application; what is loaded by now stays, and is not looked through for garbage again.

    Of the work on a batch of checks the looking would be a quarter, measured.
    """
    made: WSGIHandler = get_wsgi_application()
    loaded = get_resolver().url_patterns  # every page and door with what it needs
    assert loaded
    gc.collect()
    gc.freeze()
    return made
