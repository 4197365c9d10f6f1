"""How a pack may travel: what was decided, and who may decide."""

from collections.abc import Sequence
from datetime import date

from packs.models import Pack, Person, ShippingDecision, Site
from packs.rules import shipping

SIGNERS_RULE = "shipping_qualifications"  # the site's own names for who may sign


def signers(site: Site) -> tuple[str, ...]:
    """What a qualification that may sign is called where the shop is."""
    own = site.rules.get(SIGNERS_RULE) if isinstance(site.rules, dict) else None
    told = tuple(str(one) for one in own) if isinstance(own, list) else ()
    return told or shipping.SIGNERS


def may_sign(site: Site, day: date) -> list[tuple[Person, str]]:
    """Who may sign on that day, and with which qualification."""
    named = signers(site)
    return [
        (person, held["level"])
        for person in Person.objects.order_by("code")
        for held in person.qualifications
        if shipping.signing([held], held["level"], day, signers=named) is None
    ]


def decisions(pack: Pack) -> Sequence[ShippingDecision]:
    """Those that count, the newest first."""
    rows = ShippingDecision.objects.filter(pack=pack, voided_at__isnull=True)
    return list(rows.select_related("done_by").order_by("-happened_at", "-pk"))
