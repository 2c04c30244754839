"""Checking the range of a quantity, for scalars and arrays alike."""

from math import inf
from typing import Any, NoReturn, TypeAlias, overload

import numpy as np
from numpy.typing import ArrayLike

from grader.errors import OutOfRange

# A float for floats and an array for arrays: with several arguments no type can say which, as in numpy's own.
FloatOrArray: TypeAlias = Any
TextOrArray: TypeAlias = Any  # likewise a text or an array of them
_SCALARS = (float, np.float64, int)


@overload
def in_range(
    name: str,
    value: float,
    unit: str,
    least: float = -inf,
    most: float = inf,
    above: float = -inf,
    below: float = inf,
    advice: str = "",
) -> float: ...


@overload
def in_range(
    name: str,
    value: np.ndarray,
    unit: str,
    least: float = -inf,
    most: float = inf,
    above: float = -inf,
    below: float = inf,
    advice: str = "",
) -> np.ndarray: ...


@overload
def in_range(
    name: str,
    value: ArrayLike,
    unit: str,
    least: float = -inf,
    most: float = inf,
    above: float = -inf,
    below: float = inf,
    advice: str = "",
) -> FloatOrArray: ...


def in_range(
    name: str,
    value: Any,
    unit: str,
    least: float = -inf,
    most: float = inf,
    above: float = -inf,
    below: float = inf,
    advice: str = "",
) -> FloatOrArray:
    """The value as float or float array, or a refusal that says what is allowed.

    Parameters
    ----------
    name : str
        The quantity in a mechanic's words; opens the message.
    value : float or array
    unit : str
        Shown in the message only.
    least, most : float
        Inclusive bounds.
    above, below : float
        Exclusive bounds; where none is given, what is infinite or nan is still refused.
    advice : str
        What to do next; closes the message.

    Raises
    ------
    OutOfRange
        Any element outside the bounds, nan, infinite, or not a number.
    """
    kind = type(value)
    if kind in _SCALARS:  # the hot path: no array is built
        value = float(value)
        if above < value < below and least <= value <= most:
            return value
        _refuse(name, value, unit, least, most, above, below, advice)
    try:
        numbers = np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        _refuse(name, value, unit, least, most, above, below, advice)
    good = (numbers > above) & (numbers < below) & (numbers >= least) & (numbers <= most)
    if not good.all():
        _refuse(name, numbers[~good].flat[0], unit, least, most, above, below, advice)
    return float(numbers) if numbers.ndim == 0 else numbers


@overload
def plain(value: float) -> float: ...


# The type of an array does not tell whether it has dimensions.
@overload
def plain(value: np.ndarray) -> FloatOrArray: ...


def plain(value: Any) -> FloatOrArray:
    """A Python float for anything without dimensions, the array itself otherwise."""
    return float(value) if np.ndim(value) == 0 else value


def _refuse(name, value, unit, least, most, above, below, advice) -> NoReturn:
    if least > -inf and most < inf:
        allowed = f"{least:g} to {most:g}"
    else:
        lower = f"{least:g} or more" if least > -inf else f"above {above:g}" if above > -inf else ""
        upper = f"{most:g} or less" if most < inf else f"below {below:g}" if below < inf else ""
        allowed = " and ".join(bound for bound in (lower, upper) if bound) or "any finite number"
    shown = f"{value:g}" if isinstance(value, (int, float)) else repr(value)
    mark = f" {unit}" if unit else ""
    raise OutOfRange(f"{name} is {shown}{mark}; allowed is {allowed}{mark}.{' ' + advice if advice else ''}")
