"""re-energisings/: the switch goes back in; its gates are tried in test_gates."""

from typing import Any

from packs.models import HistoryEntry, ReEnergising
from tests.packs.api.conftest import Api
from tests.packs.api.test_lock_outs import RE_ENERGISINGS as URL
from tests.packs.api.test_lock_outs import URL as LOCK_OUTS
from tests.packs.api.test_lock_outs import body, ended
from tests.packs.api.test_lock_outs import visit as visit  # noqa: PLC0414  # a fixture
from tests.packs.api.test_pack_types import fault


def test_it_ends_the_lock_out_that_stands(api: Api, visit: str) -> None:
    bench = api("bench")
    lock_out = bench.post(LOCK_OUTS, body(visit)).json()["id"]
    said = ended(visit, note="clear", second_person="lee")
    response = bench.post(URL, said)
    assert response.status_code == 201, response.content
    told = response.json()
    assert {name: told[name] for name in said} == said
    assert (told["lock_out"], told["pack"]) == (lock_out, "TP-0001")
    assert bench.get(f"{LOCK_OUTS}{lock_out}/").json()["stands"] is False
    line = HistoryEntry.objects.get(kind="re_energising")
    assert line.summary == "Re-energised: tools counted, covers on, everybody clear"
    assert api("desk").get(response["Location"]).json() == told


def test_sent_twice_it_is_there_once_also_after_a_new_lock_out(api: Api, visit: str) -> None:
    bench = api("bench")
    assert bench.post(LOCK_OUTS, body(visit)).status_code == 201
    said = ended(visit, external_id="r-1")
    first = bench.post(URL, said)
    assert bench.post(LOCK_OUTS, body(visit, at="2024-05-03T09:00:00Z")).status_code == 201
    again = bench.post(URL, said)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    other = bench.post(URL, {**said, "note": "other"})
    assert fault(other) == (409, "/external_id", "external_id_taken")
    assert ReEnergising.objects.count() == 1


def test_a_correction_ends_the_same_lock_out(api: Api, visit: str) -> None:
    bench = api("bench")
    lock_out = bench.post(LOCK_OUTS, body(visit)).json()["id"]
    first = bench.post(URL, ended(visit)).json()["id"]
    again = bench.post(URL, ended(visit, at="2024-05-02T16:00:00Z", supersedes=first))
    assert again.status_code == 201, again.content
    assert again.json()["lock_out"] == lock_out
    assert bench.get(f"{LOCK_OUTS}{lock_out}/").json()["stands"] is False


def test_roles_and_filters(api: Api, visit: str) -> None:
    bench = api("bench")
    lock_out = bench.post(LOCK_OUTS, body(visit)).json()["id"]
    one = bench.post(URL, ended(visit)).json()["id"]

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("desk").get(URL, asked).json()["results"]]

    assert found(visit=visit) == found(lock_out=lock_out) == found(voided="false") == [one]
    assert found(since="2024-05-03T00:00:00Z") == found(visit="vi_00000000") == []
