"""Every address of the service."""

from django.urls import include, path

from shop import health

urlpatterns = [
    path("health/live", health.live),
    path("health/ready", health.ready),
    path("api/v1/health/live", health.live),
    path("api/v1/health/ready", health.ready),
    path("api/v1/", include("packs.api.urls")),
]
