"""The servers that the tests run on, where the environment lies out of other users' reach."""

import os

import psycopg
import pytest

from tests import servers


@pytest.mark.skipif(os.geteuid() != 0, reason="only root has to give up rights")
def test_postgresql_starts_from_an_environment_that_others_cannot_enter(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(servers, "can_enter", lambda binaries: False)
    with servers.postgresql() as url, psycopg.connect(url) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)
