"""Swaps that come at the same moment: one is stored, the other is told what stands."""

import threading
from typing import Any

import pytest
from django.db import connections
from rest_framework.test import APIClient

from packs.models import Module, Placement, Swap
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_swaps import ADDRESS, at_3, body, seats


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_two_threads_put_one_module_into_two_packs(api: Api) -> None:
    packs = [world.pack("TP-0001"), world.pack("TP-0002")]
    world.module("A")
    posts = [(api(), body(pack, at_3(fitted="A"))) for pack in packs]
    assert sorted(_at_once(posts)) == [201, 409]
    assert Placement.objects.filter(module__tag="A").count() == 1
    assert Swap.objects.count() == 1
    assert Module.objects.get().status == "fitted"


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_two_threads_change_one_position(api: Api) -> None:
    pack = world.pack()
    world.module("A"), world.module("B")
    posts = [(api(), body(pack, at_3(fitted=tag))) for tag in "AB"]
    assert sorted(_at_once(posts)) == [201, 409]
    assert len(seats(pack)) == 2


def _at_once(posts: list[tuple[APIClient, dict[str, Any]]]) -> list[int]:
    """The statuses of posts begun at the same moment."""
    gate, statuses = threading.Barrier(len(posts)), []

    def post(client: APIClient, said: dict[str, Any]) -> None:
        gate.wait()
        statuses.append(client.post(ADDRESS, said).status_code)
        connections.close_all()

    threads = [threading.Thread(target=post, args=said) for said in posts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return statuses
