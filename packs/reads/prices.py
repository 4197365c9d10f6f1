"""What the shop's own list says of a pack type."""

from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Q, QuerySet

from packs.models import PackType, PriceItem, Site


def rows() -> QuerySet[PriceItem]:
    """All lines, in the order in which a list is read."""
    return PriceItem.objects.select_related("pack_type", "site", "client").order_by("kind", "code")


@dataclass(frozen=True)
class PriceList:
    """The lines that hold for one pack type at one site; None where the list says nothing."""

    hour: PriceItem | None
    module: PriceItem | None
    rebuild: PriceItem | None
    replacement: PriceItem | None
    components: tuple[PriceItem, ...]

    @property
    def an_hour(self) -> Decimal | None:
        return None if self.hour is None else self.hour.price

    def component(self, kind: str) -> PriceItem | None:
        return next((row for row in self.components if row.component_kind == kind), None)


def of_type(pack_type: PackType, site: Site) -> PriceList:
    """One query: the type's own line before a general one, the site's before anybody's."""
    mine = Q(pack_type=pack_type) | Q(pack_type__isnull=True)
    here = Q(site__isnull=True) | Q(site_id=site.pk)
    found = sorted(rows().filter(mine, here), key=_generality)
    first = {row.kind: row for row in reversed(found)}
    parts = {row.component_kind: row for row in reversed(found) if row.component_kind}
    kinds = PriceItem.Kinds
    return PriceList(
        hour=first.get(kinds.HOUR),
        module=first.get(kinds.MODULE),
        rebuild=first.get(kinds.REBUILD),
        replacement=first.get(kinds.REPLACEMENT),
        components=tuple(parts[name] for name in sorted(parts)),
    )


def _generality(row: PriceItem) -> tuple[bool, bool, str]:
    """The closest first."""
    return row.pack_type_id is None, row.site_id is None, row.code
