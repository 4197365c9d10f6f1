"""photos/: photographs, looked into and encoded anew."""

import base64
from io import BytesIO
from typing import Any

import pytest
from PIL import Image

from packs.models import HistoryEntry, Photo, PhotoContent
from tests import world
from tests.packs.api.conftest import Api
from tests.world import later

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/photos/"


def picture(
    size: tuple[int, int] = (64, 48), form: str = "JPEG", exif: Image.Exif | None = None
) -> bytes:
    made = BytesIO()
    more = {} if exif is None else {"exif": exif}
    Image.new("RGB", size, (120, 90, 60)).save(made, form, **more)
    return made.getvalue()


def body(raw: bytes | None = None, **changes: Any) -> dict[str, Any]:
    return {
        "pack": "TP-0001",
        "at": later(days=3).isoformat(),
        "note": "residue at module 7",
        "image": base64.b64encode(picture() if raw is None else raw).decode(),
        **changes,
    }


@pytest.fixture(autouse=True)
def pack() -> None:
    world.pack()


def opened(api: Api, address: str) -> Image.Image:
    answer = api("bench").get(address)
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/jpeg")
    assert answer["Cache-Control"] == "private, max-age=3600"
    return Image.open(BytesIO(answer.content))


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_photograph_is_kept_as_jpeg(api: Api, form: str) -> None:
    answer = api("desk").post(ADDRESS, body(picture(form=form)))
    assert answer.status_code == 201
    told = answer.json()
    assert (told["width"], told["height"], told["note"]) == (64, 48, "residue at module 7")
    assert opened(api, told["image"]).format == "JPEG"
    assert HistoryEntry.objects.get(kind="photo").summary == "Photograph: residue at module 7"


def test_what_the_camera_wrote_beside_is_dropped_and_the_picture_turned(api: Api) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # orientation: to be turned by a quarter (Exif 2.3, table 4)
    exif[0x013B] = "somebody"
    told = api("desk").post(ADDRESS, body(picture(exif=exif))).json()
    assert (told["width"], told["height"]) == (48, 64)
    kept = PhotoContent.objects.get()
    assert b"somebody" not in bytes(kept.jpeg) + bytes(kept.small)
    assert not opened(api, told["image"]).getexif()


def test_a_large_one_is_made_smaller(api: Api) -> None:
    told = api("desk").post(ADDRESS, body(picture((4000, 3000)))).json()
    assert (told["width"], told["height"]) == (1600, 1200)
    assert opened(api, f"{told['image']}?size=small").size == (320, 240)


def test_the_same_again(api: Api) -> None:
    client = api("desk")
    first = client.post(ADDRESS, body(external_id="p-1"))
    again = client.post(ADDRESS, body(external_id="p-1"))
    assert (again.status_code, again.json()) == (200, first.json())
    other = client.post(ADDRESS, body(picture((10, 10)), external_id="p-1"))
    assert other.status_code == 409
    assert Photo.objects.count() == 1


def bomb() -> bytes:
    """A small file of 20,000 × 20,000 pixels."""
    made = BytesIO()
    Image.new("1", (20000, 20000)).save(made, "PNG")
    return made.getvalue()


@pytest.mark.parametrize(
    ("changes", "status", "pointer"),
    [
        ({"image": "not base64!"}, 400, "/image"),
        ({"image": ""}, 400, "/image"),
        ({"image": base64.b64encode(b"<svg onload=alert(1)>").decode()}, 422, "/image"),
        ({"image": base64.b64encode(picture()[:200]).decode()}, 422, "/image"),
        ({"image": base64.b64encode(picture(form="GIF")).decode()}, 422, "/image"),
        ({"image": base64.b64encode(bomb()).decode()}, 422, "/image"),
        ({"pack": "TP-9"}, 422, "/pack"),
        ({"at": "2150-01-01T00:00:00Z"}, 422, "/at"),
    ],
)
def test_what_is_refused_changes_nothing(
    api: Api, changes: dict[str, Any], status: int, pointer: str
) -> None:
    client = api("desk")
    before = world.contents()
    answer = client.post(ADDRESS, body(**changes))
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)
    assert world.contents() == before


@pytest.mark.parametrize(
    ("role", "read", "write"),
    [("desk", 200, 201), ("bench", 200, 201), ("manager", 200, 201), ("machine", 403, 403)],
)
def test_roles(api: Api, role: str, read: int, write: int) -> None:
    made = api().post(ADDRESS, body()).json()
    client = api(role, "somebody else")
    assert client.get(ADDRESS).status_code == read
    assert client.get(made["image"]).status_code == read
    assert client.post(ADDRESS, body()).status_code == write
