"""What every page does alike: sign-in, the role, the site's clock, and errors people can read."""

from collections.abc import Callable
from functools import update_wrapper
from typing import Concatenate, ParamSpec

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.views.decorators.http import require_safe

from packs.errors import NotFound
from packs.models import Account
from packs.reads import sites
from packs.reads.roles import may

Keys = ParamSpec("Keys")
View = Callable[Concatenate[HttpRequest, Keys], HttpResponseBase]


def page(resource: str) -> Callable[[View[Keys]], View[Keys]]:
    """A page for the signed-in whose role may read that resource; a machine has none."""

    def dressed(view: View[Keys]) -> View[Keys]:
        def answer(
            request: HttpRequest, /, *args: Keys.args, **keys: Keys.kwargs
        ) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            if not may(roles(request), resource, write=False):
                raise PermissionDenied
            if not all(str(said).isprintable() for said in (*keys.values(), *_asked(request))):
                raise Http404("There is no page at this address.")
            with timezone.override(sites.zone()):
                try:
                    return view(request, *args, **keys)
                except NotFound as error:
                    raise Http404(str(error)) from error

        update_wrapper(answer, view)
        return require_safe(answer)

    return dressed


def _asked(request: HttpRequest) -> list[str]:
    return [text for values in request.GET.lists() for text in values[1]]


def roles(request: HttpRequest) -> frozenset[str]:
    """The roles of who is signed in."""
    account = request.user
    return account.roles & PAGE_ROLES if isinstance(account, Account) else frozenset()


PAGE_ROLES = frozenset({"desk", "bench", "manager"})
