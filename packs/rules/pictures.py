"""Photographs as they are kept: looked into, encoded anew, without what the camera wrote beside."""

from dataclasses import dataclass
from io import BytesIO

from PIL import Image, ImageOps, UnidentifiedImageError

FORMATS = ("JPEG", "PNG", "WEBP")
LARGEST_BYTES = 5 * 1024 * 1024  # of a file that is sent; a phone's picture has 2 to 5 MB
LARGEST_PIXELS = 50_000_000  # of a picture that is opened; the largest phones take 50 million
SIDE, SMALL_SIDE = 1600, 320  # px, the longer side as kept, and of the small one in lists
QUALITY = 85  # of the JPEG; common practice, no source
TOO_MANY = f"The picture has more than {LARGEST_PIXELS} pixels; send a smaller one."
PAPER = (255, 255, 255)  # behind what is transparent


class NotAPicture(ValueError):
    """What was sent is no photograph that can be kept; the text says what would be."""


@dataclass(frozen=True)
class Picture:
    """A photograph as JPEG, and a small one; width and height in pixels."""

    jpeg: bytes
    small: bytes
    width: int
    height: int


def reencode(raw: bytes) -> Picture:
    """The photograph in `raw`, upright, at most SIDE px; raises NotAPicture."""
    if len(raw) > LARGEST_BYTES:
        raise NotAPicture(
            f"The picture has {len(raw)} bytes, more than {LARGEST_BYTES}; send a smaller one."
        )
    try:
        with Image.open(BytesIO(raw), formats=FORMATS) as opened:
            if opened.width * opened.height > LARGEST_PIXELS:
                raise NotAPicture(TOO_MANY)
            upright = ImageOps.exif_transpose(opened).convert("RGBA")
    except Image.DecompressionBombError as error:
        raise NotAPicture(TOO_MANY) from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        if isinstance(error, NotAPicture):
            raise
        raise NotAPicture("This is no whole JPEG, PNG or WebP picture; send one.") from error
    flat = Image.new("RGB", upright.size, PAPER)
    flat.paste(upright, mask=upright.getchannel("A"))
    flat.thumbnail((SIDE, SIDE))
    small = flat.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE))
    return Picture(_jpeg(flat), _jpeg(small), flat.width, flat.height)


def _jpeg(picture: Image.Image) -> bytes:
    encoded = BytesIO()
    picture.save(encoded, "JPEG", quality=QUALITY, optimize=True)
    return encoded.getvalue()
