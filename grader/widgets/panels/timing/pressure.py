"""When the spark comes, when the pressure peaks, and what that does to the torque."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from ipywidgets import IntSlider
from matplotlib.artist import Artist
from matplotlib.figure import Figure

from grader.reference.timing import combustion, cycle
from grader.units import KPA_PER_PSI
from grader.widgets import style
from grader.widgets.panel import Panel, Picture
from grader.widgets.panels.timing.scales import mark_axes
from grader.widgets.style import words

FROM_DEG, TO_DEG, MOST_KPA = -90, 120, 8000
LEAST_SPARK_DEG, MOST_SPARK_DEG = 0, 60
DEVELOPMENT_DEG = 10.0  # from the spark to a burn that can be seen: 5 to 15 in the reference
# Thin charge burns more slowly. Between these the panel goes in a straight line; teaching values.
FULL_KPA, THIN_KPA, FULL_BURN_DEG, THIN_BURN_DEG = 95.0, 35.0, 50.0, 70.0
_SPARKS = np.arange(LEAST_SPARK_DEG, MOST_SPARK_DEG + 1, 2.0)


@dataclass(frozen=True, slots=True)
class Burned:
    """One setting and what follows; pressures in kPa absolute, angles in crank degrees."""

    spark_deg: float
    speed_rpm: float
    charge_kpa: float
    angle_deg: np.ndarray
    pressure_kpa: np.ndarray
    unfired_kpa: np.ndarray
    peak_kpa: float
    peak_deg: float
    half_deg: float
    torque_percent: float
    best_deg: float
    torque_curve_percent: np.ndarray


def cylinder(speed_rpm: float, charge_kpa: float) -> cycle.Cylinder:
    """The teaching cylinder at a speed and charge; a thin charge burns more slowly, a fast engine over more degrees."""
    share = np.clip((FULL_KPA - charge_kpa) / (FULL_KPA - THIN_KPA), 0.0, 1.0)
    burn = float(FULL_BURN_DEG + share * (THIN_BURN_DEG - FULL_BURN_DEG))
    return cycle.Cylinder(charge_kpa=float(charge_kpa), burn_deg=combustion.burn_duration_deg(speed_rpm, burn))


@lru_cache(maxsize=64)  # the curve stays while only the spark is moved
def _curve(speed_rpm, charge_kpa):
    """(best spark, its work in J, work over `_SPARKS`, unfired pressure)."""
    made = cylinder(speed_rpm, charge_kpa)
    best = cycle.best_spark_deg(speed_rpm, DEVELOPMENT_DEG, made)
    most = cycle.solve(DEVELOPMENT_DEG - best, speed_rpm, made).work_j
    works = np.array([cycle.solve(DEVELOPMENT_DEG - spark, speed_rpm, made).work_j for spark in _SPARKS])
    unfired = cycle.solve(0.0, speed_rpm, replace(made, heat_kj_per_kg=1.0)).pressure_kpa
    return best, most, works, unfired


def compute(spark_deg: float, speed_rpm: float, charge_kpa: float) -> Burned:
    """Pressure of one cycle and torque against spark timing.

    Parameters
    ----------
    spark_deg : float [crank degree before top]
    speed_rpm : float [crank rev/min]
    charge_kpa : float [kPa absolute]
        In the cylinder as compression begins: how far the throttle is open.

    Returns
    -------
    Burned
    """
    best, most, works, unfired = _curve(speed_rpm, charge_kpa)
    burned = cycle.solve(DEVELOPMENT_DEG - spark_deg, speed_rpm, cylinder(speed_rpm, charge_kpa))
    return Burned(
        spark_deg,
        speed_rpm,
        charge_kpa,
        burned.angle_deg,
        burned.pressure_kpa,
        unfired,
        burned.peak_kpa,
        burned.peak_deg,
        burned.half_burned_deg,
        100.0 * burned.work_j / most,
        best,
        100.0 * works / most,
    )


class Pressure(Picture[Burned]):
    """Cylinder pressure against crank angle, fired and unfired."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.14, 0.15, 0.83, 0.81))
        mark_axes(
            axes,
            (FROM_DEG, TO_DEG),
            (0, MOST_KPA),
            "Crank degrees after top (before: minus)",
            "Cylinder pressure (kPa absolute)",
            range(-90, 121, 30),
            range(0, MOST_KPA + 1, 1000),
        )
        axes.axvline(0, color=style.GREY, lw=0.9)
        axes.text(2, MOST_KPA * 0.965, "top", color="#555555", va="top", **words(12))
        (self._unfired,) = axes.plot([], [], color=style.GREY, ls=style.DASHED, lw=1.4)
        axes.text(-88, MOST_KPA * 0.965, "dashed: no spark", color="#555555", va="top", **words(12))
        (self._fired,) = axes.plot([], [], color=style.RED, lw=style.LINE)
        (self._spark,) = axes.plot([], [], color=style.BLUE, ls=style.DASH_DOT, lw=1.6)
        self._spark_says = axes.text(0, 0, "", color=style.BLUE, ha="right", **words(13))
        (self._peak,) = axes.plot([], [], "o", color=style.INK, ms=6)
        self._peak_says = axes.text(0, 0, "", color=style.INK, **words(13, weight="bold"))
        return self._unfired, self._fired, self._spark, self._spark_says, self._peak, self._peak_says

    def update(self, state: Burned) -> None:
        self._unfired.set_data(state.angle_deg, state.unfired_kpa)
        self._fired.set_data(state.angle_deg, state.pressure_kpa)
        self._spark.set_data([-state.spark_deg] * 2, [0, 0.72 * MOST_KPA])
        self._spark_says.set(x=-state.spark_deg - 2, y=0.66 * MOST_KPA, text="spark")
        self._peak.set_data([state.peak_deg], [state.peak_kpa])
        self._peak_says.set(
            x=state.peak_deg + 4, y=min(state.peak_kpa, 0.93 * MOST_KPA), text=f"peak {state.peak_deg:.0f}° after top"
        )
        if state.peak_deg < 0:
            self._peak_says.set_text(f"peak {-state.peak_deg:.0f}° before top")


class Torque(Picture[Burned]):
    """Torque as a share of the best at this speed and load, against the spark timing."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.17, 0.15, 0.79, 0.81))
        mark_axes(
            axes,
            (LEAST_SPARK_DEG, MOST_SPARK_DEG),
            (60, 104),
            "Spark (crank degrees before top)",
            "Torque (% of the best here)",
            range(0, MOST_SPARK_DEG + 1, 10),
            range(60, 101, 10),
        )
        (self._line,) = axes.plot([], [], color=style.RED, lw=style.LINE)
        (self._best,) = axes.plot([], [], color=style.GREEN, ls=style.DOTTED, lw=1.6)
        self._best_says = axes.text(0, 61, "", color=style.GREEN, va="bottom", **words(13))
        (self._dot,) = axes.plot([], [], "o", color=style.INK, ms=7)
        self._says = axes.text(0, 0, "", color=style.INK, va="top", ha="center", **words(14, weight="bold"))
        return self._line, self._best, self._best_says, self._dot, self._says

    def update(self, state: Burned) -> None:
        self._line.set_data(_SPARKS, np.clip(state.torque_curve_percent, 55, 104))
        self._best.set_data([state.best_deg] * 2, [60, 104])
        right = state.best_deg < 0.6 * MOST_SPARK_DEG
        self._best_says.set(
            x=state.best_deg + (1 if right else -1), ha="left" if right else "right", text=f"best {state.best_deg:.0f}°"
        )
        shown = max(state.torque_percent, 60.5)
        self._dot.set_data([state.spark_deg], [shown])
        aside = -7 if abs(state.spark_deg - state.best_deg) < 7 else 0  # beside the line of the best
        self._says.set(
            x=np.clip(min(state.spark_deg, state.best_deg) + aside if aside else state.spark_deg, 6, 54),
            y=max(shown - 2.2, 65),
            text=f"{state.torque_percent:.0f} %",
        )


def pressure_caption(state: Burned) -> str:
    """What the pressure does, in words with the present values."""
    where = "after" if state.peak_deg >= 0 else "before"
    return (
        f"Spark {state.spark_deg:.0f}° before top at {state.speed_rpm:.0f} rev/min, charge {state.charge_kpa:.0f} kPa "
        f"({state.charge_kpa / KPA_PER_PSI:.0f} psi) absolute. The pressure peaks at {state.peak_kpa:.0f} kPa "
        f"({state.peak_kpa / KPA_PER_PSI:.0f} psi), {abs(state.peak_deg):.0f}° {where} top."
    )


def torque_caption(state: Burned) -> str:
    """What that does to the torque, and what the panel leaves out."""
    off = state.spark_deg - state.best_deg
    if abs(off) < 1.5:
        what = "The spark is where it gives the most."
    elif off > 0:
        what = f"The spark is {off:.0f}° too early: the piston is pushed back while it still rises."
    else:
        what = f"The spark is {-off:.0f}° too late: the push comes when the piston is already on its way down."
    return (
        f"Torque is {state.torque_percent:.0f} % of the best at this speed and load; the best spark is "
        f"{state.best_deg:.0f}° before top. {what} Knock is not drawn: a real engine may knock before the best is "
        "reached, and its manual decides."
    )


def spark_pressure(compute: Callable[..., Burned] = compute) -> Panel[Burned]:
    """The panel: when the spark comes, how fast the engine turns, how full the cylinder is."""
    controls = {
        "spark_deg": IntSlider(30, min=LEAST_SPARK_DEG, max=MOST_SPARK_DEG, description="Spark (° before top)"),
        "speed_rpm": IntSlider(2000, min=800, max=4400, step=200, description="Engine speed (rev/min)"),
        "charge_kpa": IntSlider(90, min=35, max=100, step=5, description="Charge (kPa absolute)"),
    }
    for control in controls.values():
        control.style.description_width = "13rem"
        control.layout = style.wide()
        control.continuous_update = True
    return Panel(
        "Spark timing, pressure and torque",
        controls,
        compute,
        ((Pressure(470, 370), pressure_caption), (Torque(390, 370), torque_caption)),
    )
