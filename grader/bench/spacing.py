"""Which family of faults is practised next: the weakest or the longest ago, and again after 1, 3 and 7 days.

Even gaps do as well as growing ones, and both far better than none (Latimier and others 2021, abstract);
the days are ours.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from grader.bench.cases import FAMILIES

AGAIN_DAYS = (1.0, 3.0, 7.0)  # after the first, the second, and every further good session
GOOD = 0.7  # share of the marks from which a session counts as good


@dataclass(frozen=True, slots=True)
class Practised:
    """One session of practice: its family, the day (any count that grows by one a day), and its share of the marks."""

    family: str
    day: float
    share: float


def next_family(practised: Iterable[Practised], today: float, last: str = "", among: Sequence[str] = FAMILIES) -> str:
    """The family to deal next.

    Parameters
    ----------
    practised : iterable of Practised
        In the order in which it was done.
    today : float [day]
    last : str
        Family dealt last, which does not come twice in a row where there is another.
    among : sequence of str
        Families that can be dealt, at least one.

    Returns
    -------
    str
        One that was never dealt, in the order of the course; else of those that are due the
        weakest; else the one that is due next.
    """
    history: dict[str, list[Practised]] = {family: [] for family in FAMILIES}
    for practice in practised:
        history[practice.family].append(practice)
    open_to = [family for family in FAMILIES if family in among and family != last] or list(among)
    new = [family for family in open_to if not history[family]]
    if new:
        return new[0]
    due = [family for family in open_to if due_day(history[family]) <= today]
    if due:
        return min(due, key=lambda family: (history[family][-1].share, history[family][-1].day))
    return min(open_to, key=lambda family: due_day(history[family]))


def due_day(history: list[Practised]) -> float:
    """The day on which a family comes again: the better it went of late, the later."""
    good = 0
    for one in reversed(history):
        if one.share < GOOD:
            break
        good += 1
    wait = 0.0 if not good else AGAIN_DAYS[min(good, len(AGAIN_DAYS)) - 1]
    return history[-1].day + wait
