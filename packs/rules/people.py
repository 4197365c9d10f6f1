"""The keys by which people are searched: names and telephone numbers."""

import unicodedata

from packs.rules.vehicles import search_key

KEY_LENGTH = 600
"""Characters of a name's key: a letter becomes up to three in upper case, rarely more."""


def name_key(text: str) -> str:
    """Upper case without spaces, hyphens and accents, so that José is found as jose."""
    parted = unicodedata.normalize("NFKD", search_key(text.casefold()))
    return "".join(letter for letter in parted if not unicodedata.combining(letter))[:KEY_LENGTH]


def phone_key(text: str) -> str:
    """The digits alone, without the zeros or the plus in front.

    A national number then stands inside the same number written with its country's code.
    """
    return "".join(letter for letter in text if letter.isdecimal()).lstrip("0")
