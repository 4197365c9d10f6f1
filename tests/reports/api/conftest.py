"""The API's clients are the same in every room."""

from tests.packs.api.conftest import api

__all__ = ["api"]
