"""Pages by cursor, in an order from a stated list."""

from typing import Any

from rest_framework.exceptions import NotFound
from rest_framework.pagination import CursorPagination

from packs.errors import Malformed

PAGE = 50
PAGE_MAX = 500


class Pages(CursorPagination):
    """`next` and `previous` are addresses; `?page_size=` up to 500, `?ordering=` as stated."""

    page_size = PAGE
    page_size_query_param = "page_size"
    max_page_size = PAGE_MAX

    def get_ordering(self, request: Any, queryset: Any, view: Any) -> tuple[str, ...]:
        asked = request.query_params.get("ordering") or view.orderings[0]
        if asked not in view.orderings:
            raise Malformed.at(
                "", "unknown_ordering", f"ordering is one of: {', '.join(view.orderings)}."
            )
        column = view.ordering_columns.get(asked.lstrip("-"), asked.lstrip("-"))
        sign = "-" if asked.startswith("-") else ""
        return (sign + column, sign + "pk")

    def decode_cursor(self, request: Any) -> Any:
        try:
            return super().decode_cursor(request)
        except NotFound as error:
            raise bad_cursor() from error


def bad_cursor() -> Malformed:
    return Malformed.at(
        "", "bad_cursor", "cursor is not one that was answered; follow next and previous."
    )
