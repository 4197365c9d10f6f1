"""The form of diagnostic trouble codes (SAE J2012, ISO 15031-6); their words are the shop's own."""

import re

_CODE = re.compile(r"[PCBU][0-3][0-9A-F]{3}")
"""Body letter, one of four groups, three hexadecimal digits (SAE J2012, ISO 15031-6)."""

_FAILURE_TYPE = re.compile(r"[0-9A-F]{2}")
"""One byte in hexadecimal, printed behind the code (SAE J2012-DA, ISO 15031-6)."""


def normalise_code(text: str) -> str:
    """The code as it is kept: upper case, without spaces."""
    return "".join(text.split()).upper()


def split_code(code: str) -> tuple[str, str | None]:
    """The code and its failure type byte, where one follows a hyphen: P0A80-1F. Normalised text."""
    base, hyphen, failure_type = code.partition("-")
    return base, failure_type if hyphen else None


def code_problem(code: str) -> str | None:
    """Why a normalised code is no trouble code, in a sentence, or None."""
    base, failure_type = split_code(code)
    if not _CODE.fullmatch(base):
        return (
            f"{base or 'An empty text'} is no trouble code: that is P, C, B or U, a digit 0 to 3 "
            "and three digits 0 to 9 or A to F, like P0A80."
        )
    return None if failure_type is None else failure_type_problem(failure_type)


def failure_type_problem(failure_type: str) -> str | None:
    """Why a normalised failure type is none, in a sentence, or None."""
    if _FAILURE_TYPE.fullmatch(failure_type):
        return None
    return f"The failure type is two digits 0 to 9 or A to F, like 1F, not {failure_type!r}."
