"""The test sheet of a drawn vehicle, as its exercises are issued with it."""

import math
from collections.abc import Mapping
from types import SimpleNamespace
from typing import Any

from grader.vehicle.spec import vehicle


def tables(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """The drawn vehicle's own figures, so that an issue is complete in itself."""
    spec = vehicle(parameters["vehicle"])
    return {
        "title": spec.title,
        "initial_deg": spec.initial_deg,
        "idle_rpm": spec.idle_rpm,
        "centrifugal": [list(point) for point in spec.centrifugal],
        "vacuum": [list(point) for point in spec.vacuum],
        "port": spec.port,
    }


def tables_and_speed(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """The tables, and an engine speed so far along this engine's own curve; a few lie just beyond its end.

    One list of speeds for all engines had the weights fully out too often, and one answer right for many.
    """
    curves = tables(parameters)
    first, last = curves["centrifugal"][0][0], curves["centrifugal"][-1][0]
    distributor_rpm = first + (last - first) * parameters["along_percent"] / 100
    return {**curves, "speed_rpm": 10 * round(2 * distributor_rpm / 10)}


def _speed_where(curve, degrees):
    """Distributor speed at which the weights first give so many distributor degrees."""
    for (low, at_low), (high, at_high) in zip(curve, curve[1:], strict=False):
        if at_low <= degrees <= at_high and at_high > at_low:
            return low + (high - low) * (degrees - at_low) / (at_high - at_low)
    return curve[-1][0]


LEAST_WEIGHTS_DIST_DEG = 0.85  # less than that nobody would find out with a light


def tables_and_fast_idle(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """The tables, and an idle that is half as fast again as the manual's, and fast enough for the weights to move.

    `times_percent` says how many hundredths of the manual's idle; 135 to 155 is what a workshop meets (practice).
    """
    figures = tables(parameters)
    speed = figures["idle_rpm"] * parameters["times_percent"] / 100
    moving = 2 * _speed_where(figures["centrifugal"], LEAST_WEIGHTS_DIST_DEG)
    return {**figures, "fast_rpm": 10 * math.ceil(round(max(speed, moving), 6) / 10)}


def show_tables(v: SimpleNamespace) -> dict[str, str]:
    """Both curves as a sheet prints them."""
    return {
        "centrifugal_table": ", ".join(f"{rpm:g} → {deg:g}°" for rpm, deg in v.centrifugal),
        "vacuum_table": ", ".join(f"{vac:g} → {deg:g}°" for vac, deg in v.vacuum),
    }
