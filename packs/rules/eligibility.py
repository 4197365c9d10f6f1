"""Which candidates may be matched at all: tested, and within the pass marks of the type."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from packs.rules.closeness import FIGURES
from packs.rules.matching import DIGITS, UNITS, WORDS, Asked, LeftOut

AT_LEAST = (True, False, False)  # of FIGURES: a mark is the least of the first, else the most


def eligible(asked: Asked, *, keep_unmeasured: bool) -> tuple[Asked, tuple[LeftOut, ...]]:
    """Without the candidates that miss a mark, or lack a figure unless those are kept; and them."""
    refused = {}
    for place in range(len(asked.tags)):
        why = _failed(asked, place) or ("" if keep_unmeasured else _untested(asked, place))
        if why:
            refused[place] = LeftOut(asked.tags[place], None, why)
    kept = [place for place in range(len(asked.tags)) if place not in refused]
    some = replace(
        asked,
        tags=tuple(asked.tags[place] for place in kept),
        figures=asked.figures[kept],
        age_days=asked.age_days[kept],
    )
    return some, tuple(refused.values())


def _failed(asked: Asked, place: int) -> str:
    return "; ".join(_marks_missed(asked, place))


def _marks_missed(asked: Asked, place: int) -> Iterator[str]:
    for column, name in enumerate(FIGURES):
        value, mark = float(asked.figures[place, column]), asked.pass_marks.get(name)
        if mark is None or not np.isfinite(value):
            continue
        if value < mark if AT_LEAST[column] else value > mark:
            said, unit = f"{value:.{DIGITS[column]}f}", UNITS[column]
            side = "below" if AT_LEAST[column] else "above"
            yield f"{WORDS[column]} {said} {unit} is {side} the pass mark of {mark:g} {unit}"


def _untested(asked: Asked, place: int) -> str:
    known = np.isfinite(asked.figures[place])
    missing = [word for word, yes in zip(WORDS, known, strict=True) if not yes]
    return f"no test says its {' or '.join(missing)}" if missing else ""
