"""Routes for check rows that need more than one reference function.

Peers of `grader.reference` never call each other; where a published figure needs
two of them in a row, the row names a function of this file.
"""

from grader.reference import angles
from grader.reference.timing import advance


def cross_fire_count(order: str, layout: str) -> int:
    """Number of cross-fire pairs of a firing order such as "1-3-4-2"."""
    return len(_pairs(order, layout))


def cross_fire_code(order: str, layout: str) -> int:
    """The pairs as one number: 3 then 4, and 2 then 1, is 3421."""
    return int("".join(f"{first}{second}" for first, second in _pairs(order, layout)) or 0)


def _pairs(order, layout):
    numbers = [int(cylinder) for cylinder in order.split("-")]
    return angles.cross_fire_pairs(numbers, angles.LAYOUTS[layout](len(numbers)))


def critical_ratio_air() -> float:
    """Downstream over upstream pressure at which air through a leak reaches the speed of sound."""
    return advance.CRITICAL_RATIO_AIR
