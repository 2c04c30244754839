"""What miles do to the plugs: gaps grow, edges round, soot settles where a nose stays cool or misfires."""

from dataclasses import replace
from functools import lru_cache

import numpy as np

from grader.ranges import in_range
from grader.reference.spark import insulation, plug
from grader.units import KM_PER_MILE
from grader.vehicle.car import Car, Surroundings
from grader.vehicle.standard import CRUISE, HILL, States

STEP_MILES = 1000.0
MISFIRES_FROM = 0.03
MOST_GAP_MM = 3.0


def driven(car: Car, miles: float, surroundings: Surroundings = Surroundings()) -> Car:  # noqa: B008 - frozen
    """The car after a distance, in steps of 1000 miles: what fouls sooner misfires sooner and fouls the more.

    Parameters
    ----------
    car : Car
    miles : float [mile]
    surroundings : Surroundings

    Returns
    -------
    Car

    Raises
    ------
    OutOfRange
        Distance outside 0 to 60000 miles.
    """
    left = in_range("The distance", miles, "miles", least=0, most=60000)
    while left > 0:
        step = min(STEP_MILES, left)
        car = _step(car, step, surroundings)
        left -= step
    return car


@lru_cache(maxsize=512)  # a car that comes back was driven there before, and a sound one beside it
def _step(car, miles, surroundings):
    states = States(car, surroundings)
    cool = states[CRUISE].nose_c < plug.CLEAN_FROM_C
    missing = np.maximum(states[CRUISE].misses, states[HILL].misses) > MISFIRES_FROM
    gaps = plug.worn_gap_mm(np.array(car.plug_gap_mm), KM_PER_MILE * miles)
    fouled = insulation.shunt_after_mohm(np.array(car.shunt_mohm), miles)
    return replace(
        car,
        plug_gap_mm=_tuple(np.minimum(MOST_GAP_MM, gaps)),
        rounding=_tuple(plug.rounding_after(np.array(car.rounding), miles)),
        shunt_mohm=_tuple(np.where(cool | missing, fouled, car.shunt_mohm)),
        kmiles=car.kmiles + miles / 1000.0,
    )


def _tuple(values):
    return tuple(float(value) for value in values)
