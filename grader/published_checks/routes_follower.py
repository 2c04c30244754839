"""Routes for check rows of the follower: a load on a shaken plate, and a cam's fastest fall.

A load that rides on a plate in harmonic motion is a breaker arm on its cam: gravity in the
place of the spring, the swing of the plate in the place of the lobe. Textbooks print when
such a load lets go and how high it flies.
"""

import numpy as np
from scipy.optimize import root_scalar

from grader.reference.spark import follower

LOBES = 4
_WHOLE_SWING = 0.999999  # the contacts never quite at the bottom of the swing, which would be no gap at all
_ACROSS = np.linspace(-0.5, 1.0, 3001) * 360.0 / LOBES


def separation_amplitude_m(period_s: float, gravity: float) -> float:
    """Amplitude from which a load on a plate of known period lets go at the top."""
    return _least(lambda amplitude: _parts(amplitude, 1.0 / period_s, gravity), 1e-6, 1e3)


def separation_frequency_hz(amplitude_m: float, gravity: float) -> float:
    """Frequency from which a load on a plate of known amplitude lets go at the top."""
    return _least(lambda frequency: _parts(amplitude_m, frequency, gravity), 1e-3, 1e3)


def height_m(amplitude_m: float, rate_per_s: float, gravity: float) -> float:
    """Highest point of the load above the lowest point of the plate."""
    return float(np.max(_openings(amplitude_m, rate_per_s / (2.0 * np.pi), gravity))) / 1e3


def amplitude_of_height_cm(height_cm: float, rate_per_s: float, gravity: float) -> float:
    """Amplitude with which the load springs up to a height above where it lay."""
    short = 100.0 * gravity / rate_per_s**2  # where it only just lets go
    return root_scalar(
        lambda swing: 100.0 * height_m(swing / 100.0, rate_per_s, gravity) - height_cm,
        bracket=(short, height_cm),
        method="brentq",
    ).root


def holding_force_per_mass(lift_mm: float, rise_turn: float, speed_rpm: float) -> float:
    """Spring force on each kilogram that just keeps a follower on a cam, harmonic rise in a share of a turn."""
    frequency = speed_rpm / 60.0 / (2.0 * rise_turn)  # the rise is half a swing
    return _least(lambda force: not _parts(lift_mm / 2e3, frequency, force), 1e-3, 1e6)


def widest_opening_mm(**setting: float) -> float:
    """Highest point of the flight of a breaker arm above the fixed contact."""
    across = np.linspace(-180.0, 360.0, 60001) / setting["cylinders"]
    return float(np.max(follower.opening_mm(across, **setting)))


def _parts(amplitude_m, frequency_hz, gravity):
    """Whether the load is anywhere above the plate."""
    moving, still = (_openings(amplitude_m, frequency, gravity) for frequency in (frequency_hz, 0.0))
    return bool(np.any(moving - still > 1e-9 * amplitude_m))


def _openings(amplitude_m, frequency_hz, gravity):
    """Heights above the lowest point [mm] over one and a half swings."""
    lift, crank_rpm = 2e3 * amplitude_m, 120.0 * frequency_hz / LOBES
    return follower.opening_mm(_ACROSS, _WHOLE_SWING * lift, lift, LOBES, crank_rpm, gravity, 1.0)


def _least(holds, low, high):
    """Where something begins to hold, by halving the ratio between two limits."""
    for _ in range(60):
        middle = np.sqrt(low * high)
        low, high = (low, middle) if holds(middle) else (middle, high)
    return float(high)
