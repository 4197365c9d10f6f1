"""A reader of small QR codes (ISO/IEC 18004, versions 1 to 6, level M, bytes), apart from what drew them.

It corrects no errors: what it reads must have been drawn whole.
"""

from collections.abc import Callable, Iterator, Sequence

Grid = Sequence[Sequence[bool]]
BLOCKS = {1: 1, 2: 1, 3: 1, 4: 2, 5: 2, 6: 4}
DATA = {1: 16, 2: 28, 3: 44, 4: 64, 5: 86, 6: 108}  # codewords of data in all blocks
MASKS: tuple[Callable[[int, int], int], ...] = (
    lambda r, c: (r + c) % 2,
    lambda r, c: r % 2,
    lambda r, c: c % 3,
    lambda r, c: (r + c) % 3,
    lambda r, c: (r // 2 + c // 3) % 2,
    lambda r, c: r * c % 2 + r * c % 3,
    lambda r, c: (r * c % 2 + r * c % 3) % 2,
    lambda r, c: ((r + c) % 2 + r * c % 3) % 2,
)


def read(grid: Grid) -> str:
    """The text of a code, given without its quiet zone; dark modules are true."""
    size = len(grid)
    version = (size - 17) // 4
    level_and_mask = _number(grid[8][column] for column in range(5)) ^ 0b10101
    assert level_and_mask >> 3 == 0, "not of level M"
    mask = MASKS[level_and_mask & 7]
    bits = [grid[r][c] ^ (mask(r, c) == 0) for r, c in _path(size)]
    words = [_number(bits[at : at + 8]) for at in range(0, DATA[version] * 8, 8)]
    blocks = BLOCKS[version]
    laid = [word for block in range(blocks) for word in words[block::blocks]]
    told = [bool(word >> shift & 1) for word in laid for shift in range(7, -1, -1)]
    assert _number(told[:4]) == 0b0100, "not bytes"
    count = _number(told[4:12])
    return bytes(_number(told[12 + 8 * n : 20 + 8 * n]) for n in range(count)).decode()


def _number(bits: Iterator[bool] | Sequence[bool]) -> int:
    return int("".join("01"[bit] for bit in bits), 2)


def _path(size: int) -> Iterator[tuple[int, int]]:
    """The modules that hold data, in the order in which they are filled."""
    up = True
    for right in [*range(size - 1, 6, -2), 5, 3, 1]:
        for row in range(size - 1, -1, -1) if up else range(size):
            for column in (right, right - 1):
                if not _is_function(row, column, size):
                    yield row, column
        up = not up


def _is_function(row: int, column: int, size: int) -> bool:
    corner = (row < 9 and column < 9) or (row < 9 and column >= size - 8)
    corner = corner or (row >= size - 8 and column < 9)
    aligned = size > 21 and abs(row - size + 7) <= 2 and abs(column - size + 7) <= 2
    return corner or aligned or 6 in (row, column)
