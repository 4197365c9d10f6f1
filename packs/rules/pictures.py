"""Photographs as they are kept: looked into, encoded anew, without what the camera wrote beside."""

from dataclasses import dataclass
from io import BytesIO

from PIL import ExifTags, Image, UnidentifiedImageError
from PIL.Image import Transpose

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
            upright = _upright(opened)
    except Image.DecompressionBombError as error:
        raise NotAPicture(TOO_MANY) from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        if isinstance(error, NotAPicture):
            raise
        raise NotAPicture("This is no whole JPEG, PNG or WebP picture; send one.") from error
    flat = Image.new("RGB", upright.size, PAPER)
    flat.paste(upright, mask=upright.getchannel("A"))
    small = flat.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE))
    return Picture(_jpeg(flat), _jpeg(small), flat.width, flat.height)


TURNS = {
    2: Transpose.FLIP_LEFT_RIGHT,
    3: Transpose.ROTATE_180,
    4: Transpose.FLIP_TOP_BOTTOM,
    5: Transpose.TRANSPOSE,
    6: Transpose.ROTATE_270,
    7: Transpose.TRANSVERSE,
    8: Transpose.ROTATE_90,
}
"""What brings a picture upright, by its orientation tag (Exif, 0x0112)."""


def _upright(opened: Image.Image) -> Image.Image:
    """Of the size that is kept, read no larger than needed; only its orientation is looked at."""
    turn = TURNS.get(opened.getexif().get(ExifTags.Base.Orientation, 1))
    opened.draft(None, (SIDE, SIDE))
    whole = opened.convert("RGBA" if opened.has_transparency_data else "RGB")
    whole.thumbnail((SIDE, SIDE))
    turned = whole if turn is None else whole.transpose(turn)
    return turned.convert("RGBA")


def _jpeg(picture: Image.Image) -> bytes:
    encoded = BytesIO()
    picture.save(encoded, "JPEG", quality=QUALITY, optimize=True)
    return encoded.getvalue()
