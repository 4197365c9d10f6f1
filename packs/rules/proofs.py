"""What a pack that leaves the bench has to have shown: loads that tell, spreads within limits."""

from collections.abc import Sequence

from packs.rules.reference import COMPARABLE_CURRENT, MAX_STEP

LEAST_LOAD = 0.5
"""Share of the reference load from which a check under load tells of a repair; at less, a poor
joint falls by too little to be seen. Common practice, no source."""

MOST_LOAD = MAX_STEP
"""Share of the reference load up to which it does: beyond, nothing is brought to the reference.
Common practice, no source."""

ON_THE_STRING = frozenset(
    {
        "bus_bar", "sense_harness", "service_switch", "fuse", "current_sensor", "main_contactor",
        "precharge_contactor", "precharge_resistor",
    }
)  # fmt: skip
"""Parts that are joined to the string: nobody changes one without a lock-out. Common practice,
no source."""

_ROUNDING = 1 + 1e-9


def on_the_string(slot: str) -> bool:
    """Whether the part of a slot, such as bus_bar:5, is joined to the string."""
    return slot.partition(":")[0] in ON_THE_STRING


def tells_under_load(current_a: float, reference_a: float) -> bool:
    """Whether a check at that current tells of a repair."""
    share = current_a / reference_a
    return LEAST_LOAD / _ROUNDING <= share <= MOST_LOAD * _ROUNDING


def load_wanted(currents_a: Sequence[float], reference_a: float) -> str:
    """What to do where checks under load were taken, all at currents that do not tell."""
    taken = ", ".join(f"{current:g}" for current in sorted(set(currents_a)))
    return (
        f"Checked under load at {taken} A; take a check at {LEAST_LOAD * reference_a:g} to "
        f"{MOST_LOAD * reference_a:g} A, the reference load of the type being {reference_a:g} A."
    )


def over_under_load(
    at_reference_v: float | None,
    spread_v: float,
    current_a: float,
    reference_a: float,
    limit_v: float,
) -> str:
    """The sentence on a spread under load above the limit, V; empty where it is not, or where
    nobody can tell.

    What could not be brought to the reference tells as it stands at the reference current or
    less: more current spreads it further.
    """
    told_v = at_reference_v
    if told_v is None and current_a <= reference_a * (1 + COMPARABLE_CURRENT):
        told_v = spread_v
    if told_v is None or told_v <= limit_v * _ROUNDING:
        return ""
    return (
        f"The spread under load is {told_v:.2f} V after the work, above the type's limit of "
        f"{limit_v:g} V; find out why first."
    )


def over_at_rest(spread_v: float, limit_v: float) -> str:
    """The sentence on a spread at rest above the limit, V; empty where it is not."""
    if spread_v <= limit_v * _ROUNDING:
        return ""
    return (
        f"The spread at rest is {spread_v:.2f} V after the work, above the type's limit of "
        f"{limit_v:g} V; find out why first."
    )
