"""Every address of the service."""

from django.contrib.auth.views import LoginView, LogoutView
from django.urls import URLPattern, URLResolver, include, path, re_path
from drf_spectacular.renderers import (
    OpenApiJsonRenderer,
    OpenApiJsonRenderer2,
    OpenApiYamlRenderer,
)
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.permissions import AllowAny

from reports.api.metrics import Metrics
from shop import health, refusals

sign_in = LoginView.as_view(template_name="shop/sign_in.html", redirect_authenticated_user=True)
# The page itself tells nothing; the schema that it loads asks for a token or a session.
docs = SpectacularSwaggerSplitView.as_view(
    template_name="shop/docs.html", permission_classes=[AllowAny], authentication_classes=[]
)

schema = SpectacularAPIView.as_view(
    renderer_classes=[OpenApiJsonRenderer, OpenApiJsonRenderer2, OpenApiYamlRenderer]
)

api: list[URLPattern | URLResolver] = [
    path("health/live", health.live),
    path("health/ready", health.ready),
    path("schema/", schema, name="schema"),
    path("docs/", docs, name="docs"),
    path("", include("packs.api.urls")),
    path("", include("reports.api.urls")),
    # Last: what ends with a slash and is none of the above.
    re_path(r"^(?:.*/)?$", refusals.UnknownAddress.as_view()),
]

urlpatterns = [
    path("health/live", health.live),
    path("health/ready", health.ready),
    path("metrics", Metrics.as_view(), name="metrics"),
    path("api/v1/", include(api)),
    path("sign-in/", sign_in, name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("", include("packs.pages.urls")),
    path("", include("reports.pages.urls")),
]

handler400 = refusals.bad_request
handler403 = refusals.forbidden
handler404 = refusals.not_found
handler500 = refusals.broken
