"""What every page does alike: sign-in, the role, the site's clock, and errors people can read."""

from collections.abc import Callable
from functools import update_wrapper
from typing import Concatenate, ParamSpec

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone, translation
from django.views.decorators.http import require_http_methods, require_safe

from packs.errors import NotFound
from packs.models import Account, Site
from packs.pages import resending
from packs.reads import sites
from packs.reads.roles import may
from packs.writes import clients
from packs.writes.actors import Actor

Keys = ParamSpec("Keys")
View = Callable[Concatenate[HttpRequest, Keys], HttpResponseBase]

NO_STORE = "no-store, private"  # tablets are shared: who signs out leaves no page behind

# The language of a site is English as it writes its dates: see shop/formats/.
LANGUAGES = {"day_month": "en-gb", "month_day": "en-us", "iso": "en-ca"}


def page(resource: str) -> Callable[[View[Keys]], View[Keys]]:
    """A page for the signed-in whose role may read that resource; a machine has none."""

    def dressed(view: View[Keys]) -> View[Keys]:
        return require_safe(_guarded(view, resource, write=False))

    return dressed


def form(resource: str) -> Callable[[View[Keys]], View[Keys]]:
    """A page whose form stores something, for the roles that may write that resource."""

    def dressed(view: View[Keys]) -> View[Keys]:
        methods = require_http_methods(["GET", "HEAD", "POST"])
        return methods(_guarded(view, resource, write=True))

    return dressed


def _guarded(view: View[Keys], resource: str, *, write: bool) -> View[Keys]:
    def answer(request: HttpRequest, /, *args: Keys.args, **keys: Keys.kwargs) -> HttpResponseBase:
        if not request.user.is_authenticated:
            sent = request.method == "POST"
            return resending.offer(request) if sent else redirect_to_login(request.get_full_path())
        if not may(roles(request), resource, write=write):
            raise PermissionDenied
        if not all(str(said).isprintable() for said in (*keys.values(), *_asked(request))):
            raise Http404("There is no page at this address.")
        site = sites.present()
        zone, language = timezone.override(sites.zone(site)), translation.override(_language(site))
        with sites.held(site), zone, language:
            try:
                response = view(request, *args, **keys)
            except NotFound as error:
                raise Http404(str(error)) from error
        response.headers["Cache-Control"] = NO_STORE
        return response

    update_wrapper(answer, view)
    return answer


def _language(site: Site) -> str:
    return LANGUAGES[site.date_order]


def _asked(request: HttpRequest) -> list[str]:
    return [text for values in request.GET.lists() for text in values[1]]


def roles(request: HttpRequest) -> frozenset[str]:
    """The roles of who is signed in."""
    account = request.user
    return account.roles & PAGE_ROLES if isinstance(account, Account) else frozenset()


def actor(request: HttpRequest) -> Actor:
    """Who writes through a page: its client, and the person signed in."""
    account = request.user
    assert isinstance(account, Account)
    client = clients.pages_client(at=timezone.now())
    return Actor(client=client, roles=roles(request), person=account.person)


PAGE_ROLES = frozenset({"desk", "bench", "manager"})
