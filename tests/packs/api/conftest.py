"""How a program of each role comes to the API."""

from collections.abc import Callable

import pytest
from rest_framework.test import APIClient

from tests import world

Api = Callable[..., APIClient]


@pytest.fixture
def api(db: None) -> Api:
    """`api(role)` gives a client with a bearer token of that role; one client a role and name."""

    def signed_in(role: str = "manager", name: str | None = None) -> APIClient:
        client = APIClient(raise_request_exception=False)
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {world.token(role, name)}")
        return client

    return signed_in
