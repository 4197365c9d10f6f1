"""Photographs as they are kept: upright, small, and never an error of another kind."""

from contextlib import suppress
from io import BytesIO
from typing import Any

import pytest
from PIL import ExifTags, Image

from packs.rules import pictures
from packs.rules.pictures import NotAPicture, reencode

RED, BLUE = (220, 20, 20), (20, 20, 220)


def encoded(size: tuple[int, int], form: str = "JPEG", **how: Any) -> bytes:
    """A picture whose upper left quarter is red."""
    made, out = Image.new("RGB", size, BLUE), BytesIO()
    made.paste(RED, (0, 0, size[0] // 2, size[1] // 2))
    made.save(out, form, **how)
    return out.getvalue()


def turned(orientation: int) -> Image.Exif:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    return exif


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize(
    ("orientation", "corner"),
    [(1, "upper left"), (2, "upper right"), (3, "lower right"), (4, "lower left"),
     (5, "upper left"), (6, "upper right"), (7, "lower right"), (8, "lower left")],
)  # fmt: skip
def test_a_picture_is_kept_upright(form: str, orientation: int, corner: str) -> None:
    kept = reencode(encoded((80, 40), form, exif=turned(orientation)))
    assert (kept.width, kept.height) == ((80, 40) if orientation < 5 else (40, 80))
    with Image.open(BytesIO(kept.jpeg)) as opened:
        assert not opened.getexif()
        below, right = corner.startswith("lower"), corner.endswith("right")
        at = (kept.width * (3 if right else 1) // 4, kept.height * (3 if below else 1) // 4)
        red, _, blue = opened.getpixel(at)  # type: ignore[misc]
        assert red > blue


def test_a_large_picture_keeps_its_shape() -> None:
    kept = reencode(encoded((5000, 2500)))
    assert (kept.width, kept.height) == (pictures.SIDE, pictures.SIDE // 2)


@pytest.mark.filterwarnings("ignore::UserWarning")
@pytest.mark.parametrize("form", ["JPEG", "WEBP"])
def test_a_damaged_note_beside_the_picture_is_no_error(form: str) -> None:
    """Whatever byte of it is wrong, the picture is kept or refused."""
    exif = turned(6)
    exif[ExifTags.Base.DateTime] = "2026:01:01 00:00:00"
    exif.get_ifd(ExifTags.IFD.GPSInfo)[1] = "N"
    good = encoded((16, 12), form, exif=exif)
    begin = max(good.find(mark) for mark in (b"Exif", b"EXIF"))
    kept = 0
    for place in range(begin, min(begin + 120, len(good))):
        for wrong in (0, 1, 255):
            raw = bytearray(good)
            raw[place] = wrong
            with suppress(NotAPicture):
                kept += reencode(bytes(raw)).width in {12, 16}
    assert kept > 50
