"""Numbers inside, opaque strings outside.

A string names its kind, so that the id of one kind is never taken for another's; the number is
stirred by an odd multiplier, so that nobody reads an order or a count out of it.
"""

from collections.abc import Sequence

import numpy as np

BITS = 40
_MODULUS = 1 << BITS
_STIR = 0x9E3779B97F  # odd, hence invertible modulo a power of two
_UNSTIR = pow(_STIR, -1, _MODULUS)
_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"
_LETTERS = np.frombuffer(_ALPHABET.encode(), dtype=np.uint8)
_SHIFTS = np.arange(35, -1, -5, dtype=np.uint64)


def encode(kind: str, number: int) -> str:
    """`kind` and a number from 0 to 2^40 - 1 as 'kind_xxxxxxxx'."""
    if not 0 <= number < _MODULUS:
        raise ValueError(f"{number} is no identity: 0 to {_MODULUS - 1} are.")
    stirred = number * _STIR % _MODULUS
    return f"{kind}_" + "".join(_ALPHABET[stirred >> shift & 31] for shift in range(35, -1, -5))


def encode_all(kind: str, numbers: Sequence[int]) -> list[str]:
    """`encode` of many numbers at once."""
    given = np.array(numbers, dtype=np.int64)
    if ((given < 0) | (given >= _MODULUS)).any():
        raise ValueError(f"Not all are identities: 0 to {_MODULUS - 1} are.")
    stirred = given.astype(np.uint64) * np.uint64(_STIR)  # modulo 2^64, which 2^40 divides
    letters = _LETTERS[(stirred[:, None] >> _SHIFTS) & np.uint64(31)]
    tails = letters.tobytes().decode()
    return [f"{kind}_{tails[begin : begin + 8]}" for begin in range(0, len(tails), 8)]


def decode(kind: str, text: str) -> int | None:
    """The number behind `text`, or None where it is no id of that kind."""
    head, _, tail = text.partition("_")
    if head != kind or len(tail) != 8 or any(letter not in _ALPHABET for letter in tail):
        return None
    stirred = 0
    for letter in tail:
        stirred = stirred << 5 | _ALPHABET.index(letter)
    return stirred * _UNSTIR % _MODULUS
