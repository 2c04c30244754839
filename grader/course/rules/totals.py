"""How the modules of a trainee add up: by points, all alike, or by given weights."""

from dataclasses import dataclass
from fractions import Fraction

from grader.records.term.policy import GIVEN, POINTS


@dataclass(frozen=True, slots=True)
class Total:
    """`got` of `most` hundredths; where modules do not count by points, hundredths of a hundred, `got` a fraction."""

    got: Fraction
    most: int


def total(policy, counted):
    """The total of what counts; what is excused, not due or not marked is not in it, and the rest fills its place.

    Parameters
    ----------
    policy : Policy
    counted : sequence of (str, int, int)
        Module, mark and most, in hundredths; work that counts nothing has a mark of 0.

    Returns
    -------
    Total or None
        None where nothing counts: nobody gets nought out of nought.
    """
    if policy.totals == POINTS:
        most = sum(most for _, _, most in counted)
        return Total(Fraction(sum(mark for _, mark, _ in counted)), most) if most else None
    weights = [Fraction(policy.weights.get(module, 0)) if policy.totals == GIVEN else 1 for module, _, _ in counted]
    whole = sum(weights)
    if not whole:
        return None
    share = sum(weight * Fraction(mark, most) for weight, (_, mark, most) in zip(weights, counted, strict=True)) / whole
    return Total(share * 10000, 10000)
