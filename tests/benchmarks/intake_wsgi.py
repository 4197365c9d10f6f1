"""The service with the rivals' addresses beside its own."""

from django.conf import settings

from shop.starting import make_application

settings.ROOT_URLCONF = "tests.benchmarks.intake_rivals"
application = make_application()
