"""Numbers inside, opaque strings outside.

A string names its kind, so that the id of one kind is never taken for another's; the number is
stirred by an odd multiplier, so that nobody reads an order or a count out of it.
"""

BITS = 40
_MODULUS = 1 << BITS
_STIR = 0x9E3779B97F  # odd, hence invertible modulo a power of two
_UNSTIR = pow(_STIR, -1, _MODULUS)
_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"


def encode(kind: str, number: int) -> str:
    """`kind` and a number from 0 to 2^40 - 1 as 'kind_xxxxxxxx'."""
    if not 0 <= number < _MODULUS:
        raise ValueError(f"{number} is no identity: 0 to {_MODULUS - 1} are.")
    stirred = number * _STIR % _MODULUS
    return f"{kind}_" + "".join(_ALPHABET[stirred >> shift & 31] for shift in range(35, -1, -5))


def decode(kind: str, text: str) -> int | None:
    """The number behind `text`, or None where it is no id of that kind."""
    head, _, tail = text.partition("_")
    if head != kind or len(tail) != 8 or any(letter not in _ALPHABET for letter in tail):
        return None
    stirred = 0
    for letter in tail:
        stirred = stirred << 5 | _ALPHABET.index(letter)
    return stirred * _UNSTIR % _MODULUS
