"""The lowest point of a smooth function near a point from which its curvature is known.

Newton's method with the curvature brought up to date by what the slopes say (Broyden, Fletcher,
Goldfarb, Shanno 1970: Nocedal & Wright (2006) Numerical Optimization, chapter 6). A function that
is a sum over many rows is first minimised over some of them; from there a handful of its slopes
lead to the point to the last digits, where an optimiser that starts anew takes dozens.
"""

from collections.abc import Callable

import numpy as np

from reports.trends.history import Floats

Slope = Callable[[Floats], tuple[float, Floats]]

STEPS = 40  # at most; five or six are common
SMALL = 1e-12  # of a parameter: a step that moves none by more ends the search
HALVINGS = 20  # of a step that does not lead down
DIFFERENCE = 1e-5  # between slopes, for the curvature
ROUNDING = 1e-9  # of the value: a difference that may be nothing but rounding


def curvature(slope: Slope, at: Floats) -> Floats:
    """Second derivatives by differences of the exact slopes. (n,) → (n, n)"""
    steps = DIFFERENCE * np.maximum(np.abs(at), 1.0)
    found = np.empty((at.size, at.size))
    for k, step in enumerate(np.diag(steps)):
        found[k] = (slope(at + step)[1] - slope(at - step)[1]) / (2.0 * steps[k])
    symmetric: Floats = 0.5 * (found + found.T)
    return symmetric


def descend(slope: Slope, start: Floats, curved: Floats) -> Floats | None:
    """The lowest point, from `start` (n,) with the curvature there (n, n); None where the way down
    is lost: then the start was not near."""
    if not np.all(np.isfinite(curved)) or np.linalg.eigvalsh(curved)[0] <= 0:
        return None
    inverse = np.linalg.inv(curved).astype(np.float64)
    at, (value, down) = start, slope(start)
    for _ in range(STEPS):
        step = -inverse @ down
        if np.all(np.abs(step) <= SMALL * np.maximum(np.abs(at), 1.0)):
            return at
        taken = _shortened(slope, at, value, down, step)
        if taken is None:
            return None
        change, (value, fresh) = taken
        inverse = _told(inverse, change, fresh - down)
        at, down = at + change, fresh
    return None


def _shortened(
    slope: Slope, at: Floats, value: float, down: Floats, step: Floats
) -> tuple[Floats, tuple[float, Floats]] | None:
    """The step, halved until it does not lead up: by the value, or where rounding hides that by
    the slope along the step."""
    for _ in range(HALVINGS):
        found = slope(at + step)
        flat = abs(found[0] - value) <= ROUNDING * max(abs(value), 1.0)
        if found[0] < value or (flat and abs(found[1] @ step) <= abs(down @ step)):
            return step, found
        step = 0.5 * step
    return None


def _told(inverse: Floats, change: Floats, bend: Floats) -> Floats:
    """The inverse of the curvature, after `change` has bent the slope by `bend`."""
    along = float(change @ bend)
    if along <= 0.0:
        return inverse
    part = np.eye(change.size) - np.outer(change, bend) / along
    told: Floats = part @ inverse @ part.T + np.outer(change, change) / along
    return told
