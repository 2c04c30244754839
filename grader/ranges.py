"""Checking the range of a quantity, for scalars and arrays alike."""

import math

import numpy as np

from grader.errors import OutOfRange


def in_range(name, value, unit, *, least=None, most=None, above=None, below=None, advice=""):
    """The value as float or float array, or a refusal that says what is allowed.

    Parameters
    ----------
    name : str
        The quantity in a mechanic's words; opens the message.
    value : float or array
    unit : str
        Shown in the message only.
    least, most : float or None
        Inclusive bounds.
    above, below : float or None
        Exclusive bounds.
    advice : str
        What to do next; closes the message.

    Raises
    ------
    OutOfRange
        Any element outside the bounds, nan, infinite, or not a number.
    """
    if type(value) is float or type(value) is int:  # the hot path: no array is built
        if (
            math.isfinite(value)
            and (least is None or value >= least)
            and (most is None or value <= most)
            and (above is None or value > above)
            and (below is None or value < below)
        ):
            return float(value)
        _refuse(name, value, unit, least, most, above, below, advice)
    try:
        numbers = np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        _refuse(name, value, unit, least, most, above, below, advice)
    good = np.isfinite(numbers)
    if least is not None:
        good &= numbers >= least
    if most is not None:
        good &= numbers <= most
    if above is not None:
        good &= numbers > above
    if below is not None:
        good &= numbers < below
    if not good.all():
        _refuse(name, numbers[~good].flat[0], unit, least, most, above, below, advice)
    return float(numbers) if numbers.ndim == 0 else numbers


def plain(value):
    """A Python float for anything without dimensions, the array itself otherwise."""
    return float(value) if np.ndim(value) == 0 else value


def _refuse(name, value, unit, least, most, above, below, advice):
    if least is not None and most is not None:
        allowed = f"{least:g} to {most:g}"
    else:
        lower = f"{least:g} or more" if least is not None else f"above {above:g}" if above is not None else ""
        upper = f"{most:g} or less" if most is not None else f"below {below:g}" if below is not None else ""
        allowed = " and ".join(bound for bound in (lower, upper) if bound) or "any finite number"
    shown = f"{value:g}" if isinstance(value, (int, float)) else repr(value)
    mark = f" {unit}" if unit else ""
    raise OutOfRange(f"{name} is {shown}{mark}; allowed is {allowed}{mark}.{' ' + advice if advice else ''}")
