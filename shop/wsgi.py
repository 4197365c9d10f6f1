"""The web application, for gunicorn or another WSGI server."""

import os

from shop.starting import make_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

application = make_application()
