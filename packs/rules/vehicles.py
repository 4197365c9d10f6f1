"""Vehicle identification numbers, and the keys by which cars are searched."""

import re

VIN_LENGTH = 17
"""Characters of a VIN (ISO 3779)."""

CHECK_PLACE = 9
"""Place of the check digit, from 1 (49 CFR 565.15(c))."""

CODE_39_FRAME = "*"
IMPORT_MARK = "I"
_ALIKE = str.maketrans({"O": "0", "I": "1"})

_LETTERS = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", "12345678123457923456789", strict=True))
_VALUES = {
    character: int(_LETTERS.get(character, character)) for character in (*_LETTERS, *"0123456789")
}
"""What each character counts (49 CFR 565.15(c), table III)."""

_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
"""What each place counts (49 CFR 565.15(c), table IV)."""

_SEPARATORS = re.compile(r"[\s\-‐-―.·]+")


def search_key(text: str) -> str:
    """Upper case without spaces, hyphens and dots: how plates, serials and tags are compared."""
    return _SEPARATORS.sub("", text).upper()


def alike_key(text: str) -> str:
    """The search key with O read as 0 and I as 1, as a plate or a worn label is read."""
    return search_key(text).translate(_ALIKE)


def as_scanned(text: str) -> str:
    """What a scanner read off a label, without what it reads along with it.

    Code 39 is framed by asterisks (ISO/IEC 16388); before a VIN a label may bear the letter I, for
    a car that was imported, and no VIN holds an I.
    """
    bare = text.strip().strip(CODE_39_FRAME).strip()
    key = search_key(bare)
    if key.startswith(IMPORT_MARK) and vin_problem(key[1:]) is None:
        return key[1:]
    return bare


def normalise_vin(text: str) -> str:
    """The VIN as it is kept: upper case, without the spaces and hyphens of print."""
    return search_key(text)


def vin_problem(vin: str) -> str | None:
    """Why a normalised VIN can not be one, in a sentence, or None. Source: ISO 3779."""
    if len(vin) != VIN_LENGTH:
        return f"A VIN has {VIN_LENGTH} characters; this one has {len(vin)}."
    wrong = sorted(set(vin) - set(_VALUES))
    if wrong:
        return (
            f"A VIN has digits and letters other than I, O and Q; this one has {' '.join(wrong)}."
        )
    return "A VIN is not all zeros." if set(vin) == {"0"} else None


def check_digit(vin: str) -> str:
    """The check digit, 0 to 9 or X, that a well-formed VIN should carry (49 CFR 565.15(c)).

    Raises KeyError for a character and ValueError for a length that no VIN has.
    """
    counted = zip(vin, _WEIGHTS, strict=True)
    remainder = sum(_VALUES[character] * weight for character, weight in counted) % 11
    return "X" if remainder == 10 else str(remainder)


def vin_warning(vin: str) -> str | None:
    """What to look at again though it is no bar, or None; None too where `vin_problem` speaks.

    Markets outside North America need not use the check digit, so a mismatch proves nothing, and
    one slip in eleven agrees by chance.
    """
    if vin_problem(vin):
        return None
    expected, found = check_digit(vin), vin[CHECK_PLACE - 1]
    if expected == found:
        return None
    return (
        f"The check digit at place {CHECK_PLACE} is {found}, worked out it would be {expected}: "
        "read the VIN again. Cars of some markets do not use it."
    )
