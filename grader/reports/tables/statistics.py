"""Classical item statistics of a class: how hard an item was, and how far a module's marks can be trusted.

Rows of a table are trainees with a complete, marked first attempt; columns are
items. Whoever has a gap is left out as a whole (listwise), so that every figure
of a module rests on the same people. Where a figure means nothing it is None and
`note` says why.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import f as f_distribution

FEW = 10  # below this many trainees only counts are shown
OUTER_SHARE, OUTER_FROM = 0.27, 30  # upper and lower 27 % from 30 trainees on, halves below
UNLIKE, ERRORS = 0.15, 3.5  # a bin of numbers is named if it differs by so much, and by so many standard errors
LEVELS = ((0.40, "very good"), (0.30, "good"), (0.20, "marginal"), (0.0, "poor"))  # the usual table after Ebel


@dataclass(frozen=True, slots=True)
class Item:
    """Figures of one item; `full` counts trainees with full marks."""

    n: int
    full: int
    facility: float | None
    discrimination: float | None
    rest_correlation: float | None
    basis: str
    note: str


@dataclass(frozen=True, slots=True)
class Test:
    """Figures of one module; mean, sd and sem are in marks of the table given."""

    n: int
    items: int
    mean: float | None
    sd: float | None
    alpha: float | None
    alpha_low: float | None
    alpha_high: float | None
    sem: float | None
    note: str


@dataclass(frozen=True, slots=True)
class Bin:
    """How those with some numbers did in an item beside all others; `note` names what stands out."""

    facility: float
    of_rest: float | None
    difference: float | None
    error: float | None
    note: str


def facility(marks: ArrayLike, most: float) -> float:
    """Share of the marks of an item that were earned.

    Parameters
    ----------
    marks : array of shape (n,)
    most : float

    Returns
    -------
    float
    """
    return float(np.mean(np.asarray(marks, dtype=float)) / most)


def discrimination(table: ArrayLike, column: int, most: float) -> tuple[float | None, str]:
    """How much better the upper group does in an item than the lower one, by total mark.

    Parameters
    ----------
    table : array of shape (n, k)
    column : int
    most : float
        Marks of that item.

    Returns
    -------
    (float or None, str)
        None where a group would be empty or everybody has the same total; and
        what the groups are. Of equal totals the earlier row goes to the upper
        group; an odd one in the middle belongs to neither half.
    """
    table = np.asarray(table, dtype=float)
    n = len(table)
    size, basis = (round(OUTER_SHARE * n), "27 %") if n >= OUTER_FROM else (n // 2, "halves")
    total = table.sum(axis=1)
    if size == 0 or np.ptp(total) == 0:
        return None, basis
    order = np.argsort(-total, kind="stable")
    marks = table[order, column]
    return float((marks[:size].mean() - marks[-size:].mean()) / most), basis


def rest_correlation(table: ArrayLike, column: int) -> float | None:
    """Correlation of an item with the total of all other items.

    Returns
    -------
    float or None
        None where the item or the rest is the same for everybody.
    """
    table = np.asarray(table, dtype=float)
    mine = table[:, column]
    rest = table.sum(axis=1) - mine
    if len(mine) < 2 or np.ptp(mine) == 0 or np.ptp(rest) == 0:
        return None
    return float(np.corrcoef(mine, rest)[0, 1])


def alpha(table: ArrayLike) -> float | None:
    """Cronbach's alpha; for items marked 0 or 1 it is KR-20.

    One divisor for item and total variances: mixing n and n - 1 gives another
    and wrong figure. A negative alpha is given as it is.

    Returns
    -------
    float or None
        None for fewer than two items or people, or if nobody differs in total.
    """
    table = np.asarray(table, dtype=float)
    n, k = table.shape
    if n < 2 or k < 2:
        return None
    of_total = table.sum(axis=1).var(ddof=1)
    if of_total <= 1e-12 * max(1.0, float(np.abs(table).max()) ** 2):
        return None
    return float(k / (k - 1) * (1 - table.var(axis=0, ddof=1).sum() / of_total))


def feldt_interval(value: float, n: int, k: int, level: float = 0.95) -> tuple[float, float]:
    """Confidence interval of alpha.

    Parameters
    ----------
    value : float
        Alpha.
    n, k : int
        People and items, both at least 2.
    level : float

    Returns
    -------
    (float, float)
    """
    tail, freedom = (1 - level) / 2, (n - 1, (n - 1) * (k - 1))
    return (
        float(1 - (1 - value) * f_distribution.ppf(1 - tail, *freedom)),
        float(1 - (1 - value) * f_distribution.ppf(tail, *freedom)),
    )


def standard_error(table: ArrayLike) -> float | None:
    """Standard error of measurement, in marks; None where alpha has no meaning or is negative."""
    value = alpha(table)
    if value is None or not 0 <= value <= 1:
        return None
    return float(np.asarray(table, dtype=float).sum(axis=1).std(ddof=1) * np.sqrt(1 - value))


def item(table: ArrayLike, column: int, most: float) -> Item:
    """All figures of one item, or counts alone with the reason.

    Returns
    -------
    Item
    """
    table = np.asarray(table, dtype=float)
    n = len(table)
    full = int(np.count_nonzero(table[:, column] >= most)) if n else 0
    if n < FEW:
        return Item(n, full, None, None, None, "", f"not meaningful: n is below {FEW}, counts only")
    separates, basis = discrimination(table, column, most)
    r = rest_correlation(table, column)
    notes = []
    if np.ptp(table[:, column]) == 0:
        notes.append("item-rest correlation not meaningful: everybody has the same mark")
    elif r is None:
        notes.append("item-rest correlation not meaningful: nobody differs in the rest")
    if separates is None:
        notes.append("discrimination not meaningful: nobody differs in total")
    return Item(n, full, facility(table[:, column], most), separates, r, basis, "; ".join(notes))


def test(table: ArrayLike) -> Test:
    """All figures of one module, or counts alone with the reason.

    Returns
    -------
    Test
    """
    table = np.asarray(table, dtype=float)
    n, k = table.shape if table.ndim == 2 else (0, 0)
    blank = dict.fromkeys(("alpha", "alpha_low", "alpha_high", "sem"))
    if n < FEW:
        return Test(n, k, None, None, **blank, note=f"not meaningful: n is below {FEW}, counts only")
    total = table.sum(axis=1)
    mean, sd = float(total.mean()), float(total.std(ddof=1))
    if k < 3:
        return Test(n, k, mean, sd, **blank, note="alpha not meaningful: fewer than three items")
    value = alpha(table)
    if value is None:
        return Test(n, k, mean, sd, **blank, note="alpha not meaningful: nobody differs in total")
    low, high = feldt_interval(value, n, k)
    note = "alpha is negative: items work against each other; no standard error" if value < 0 else ""
    return Test(n, k, mean, sd, value, low, high, standard_error(table), note)


def against_rest(mine: ArrayLike, others: ArrayLike, most: float) -> Bin:
    """Facility of those with some numbers beside that of all others.

    Parameters
    ----------
    mine, others : array
        Marks in one item.
    most : float
        Marks of that item.

    Returns
    -------
    Bin
        With fewer than ten others only the facility. The standard error is that of a
        difference of two means with variances of their own (Welch).
    """
    mine, others = np.asarray(mine, dtype=float) / most, np.asarray(others, dtype=float) / most
    if min(len(mine), len(others)) < FEW:
        return Bin(float(mine.mean()), None, None, None, f"not meaningful: fewer than {FEW} to compare")
    difference = float(mine.mean() - others.mean())
    error = float(np.sqrt(mine.var(ddof=1) / len(mine) + others.var(ddof=1) / len(others)))
    note = ""
    if abs(difference) >= UNLIKE and abs(difference) > ERRORS * error:
        note = "harder with these numbers" if difference < 0 else "easier with these numbers"
    return Bin(float(mine.mean()), float(others.mean()), difference, error, note)


def level(value: float | None) -> str:
    """The usual word for a discrimination; negative means: look at the key."""
    if value is None:
        return ""
    return next((word for least, word in LEVELS if value >= least), "negative: suspect the key")
