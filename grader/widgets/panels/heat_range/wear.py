"""Panel: a gap that grows with distance, what voltage it then asks for, and what is left."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from ipywidgets import FloatSlider, IntSlider, RadioButtons
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch, Polygon, Rectangle

from grader.modules.heat_range.wear import miles
from grader.reference.spark import breakdown, coil, plug
from grader.reference.timing import advance, combustion
from grader.units import KM_PER_MILE, MM_PER_IN, grouped
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch
from grader.widgets.panels.heat_range import scales

SOUND, TIRED = "sound", "tired: 0.3 Ω in the points"
FULL, CRUISE = "full load", "light cruise"
LONGEST_KM = 60_000
ROUND_AFTER_KM = 1000.0 * KM_PER_MILE / plug.ROUNDING_PER_1000_MILES  # edges quite round: a teaching choice
# A V8 of the worked examples, no vehicle that is asked about in an exercise.
DWELL_DEG, INITIAL_DEG = 30.0, 8.0
CENTRIFUGAL = ((375.0, 0.0), (750.0, 5.0), (1100.0, 8.0), (1900.0, 13.0))
_CLOSING_KPA = {FULL: 95.0, CRUISE: 40.0}
_SPEEDS = np.linspace(500.0, 5000.0, 91)
_TURNS_OF_SLIDER = np.linspace(0.0, LONGEST_KM, 61)


@dataclass(frozen=True, slots=True)
class Wear:
    """One setting: the gap [mm] and, over the engine speeds [rev/min], the voltages [kV]."""

    new_mm: float
    distance_km: float
    load: str
    system: str
    gap_mm: float
    rounding: float
    available: np.ndarray
    required: np.ndarray
    reserve: np.ndarray

    @property
    def least(self) -> tuple[float, float]:
        """(least reserve, speed at which it comes)."""
        place = int(np.argmin(self.reserve))
        return float(self.reserve[place]), float(_SPEEDS[place])


def compute(new_mm: float, distance_km: float, load: str, system: str) -> Wear:
    """Gap, required and available voltage after a distance.

    Parameters
    ----------
    new_mm : float [mm]
    distance_km : float [km]
    load : str
        `FULL` or `CRUISE`.
    system : str
        `SOUND` or `TIRED`.

    Returns
    -------
    Wear
    """
    gap = plug.worn_gap_mm(new_mm, distance_km)
    rounding = plug.rounding_after(0.0, distance_km / KM_PER_MILE)
    early = advance.total_advance_deg(_SPEEDS, 0.0, INITIAL_DEG, CENTRIFUGAL, ((6.0, 0.0), (14.0, 10.0)))
    pressure = combustion.pressure_at_spark_kpa(early, _CLOSING_KPA[load]) / 100.0
    temperature = combustion.temperature_at_spark_k(early)
    required = breakdown.required_voltage_kv(gap, pressure, temperature, breakdown.demand_factor(rounding=rounding))
    resistance = coil.primary_resistance_ohm(contact_ohm=0.3 if system == TIRED else 0.0)
    current = coil.current_at_opening_a(DWELL_DEG, _SPEEDS, resistance_ohm=resistance)
    available = coil.available_voltage_kv(current, _SPEEDS)
    return Wear(
        new_mm, distance_km, load, system, gap, rounding, available, required, breakdown.reserve_kv(available, required)
    )


class Electrodes(Picture[Wear]):
    """The two electrodes from the side, gap and rounding to scale, and the gap against distance below."""

    _WIDE = 2.6

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.0, 0.46, 1.0, 0.54))
        axes.set_xlim(-4.2, 4.2)
        axes.set_ylim(-2.9, 2.45)
        axes.set_aspect("equal")
        axes.set_axis_off()
        axes.add_patch(
            Rectangle((-self._WIDE / 2 - 1.2, 1.75), self._WIDE + 2.4, 1.0, facecolor="#f4f1e6", edgecolor=style.INK)
        )
        bar = [(-1.9, -1.9), (3.2, -1.9), (3.2, 2.6), (3.9, 2.6), (3.9, -2.6), (-1.9, -2.6)]
        axes.add_patch(Polygon(bar, closed=True, facecolor="#b7bdc2", edgecolor=style.INK))
        self._centre = add_patch(axes, FancyBboxPatch((0, 0), 1, 1, facecolor="#8d949a", edgecolor=style.INK))
        (self._line,) = axes.plot([], [], color=style.RED, lw=1.6, marker="_", ms=14)
        self._words = axes.text(-1.5, 0, "", ha="right", va="center", **style.words(15, weight="bold"))
        axes.text(-2.65, 2.2, "insulator nose", ha="right", va="center", **style.words(12))
        below = figure.add_axes((0.155, 0.115, 0.80, 0.31))
        below.set_xlim(0, LONGEST_KM / 1000)
        below.set_ylim(0.5, 2.0)
        below.set_yticks((0.5, 1.0, 1.5, 2.0))
        below.grid(color="#dddddd", lw=0.7)
        scales.plain_axes(below, "Distance (1000 km)", "Gap (mm)")
        below.spines["right"].set_visible(False)
        (self._grows,) = below.plot(_TURNS_OF_SLIDER / 1000, np.ones_like(_TURNS_OF_SLIDER), color=style.INK, lw=1.8)
        (self._now,) = below.plot([], [], "o", color=style.RED, ms=8, mec=style.INK, clip_on=False)
        return self._centre, self._line, self._words, self._grows, self._now

    def update(self, state: Wear) -> None:
        end = -1.9 + state.gap_mm
        radius = 0.04 + 0.55 * state.rounding
        self._centre.set_boxstyle("round", pad=0, rounding_size=radius)
        self._centre.set_bounds(-self._WIDE / 2, end, self._WIDE, 4.0 - end)
        self._line.set_data([-1.45, -1.45], [-1.9, end])
        self._words.set(x=-1.65, y=(end - 1.9) / 2, text=f"{state.gap_mm:.2f} mm\n{state.gap_mm / MM_PER_IN:.3f} in")
        self._grows.set_ydata(plug.worn_gap_mm(state.new_mm, _TURNS_OF_SLIDER))
        self._now.set_data([state.distance_km / 1000], [state.gap_mm])


class Voltages(Picture[Wear]):
    """Available and required voltage against speed; where they cross, the plug misfires."""

    _TOP = 45.0

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.125, 0.13, 0.83, 0.845))
        axes.set_xlim(_SPEEDS[0], _SPEEDS[-1])
        axes.set_ylim(0, self._TOP)
        axes.set_xticks(range(1000, 5001, 1000))
        axes.set_yticks(range(0, 46, 5))
        axes.grid(color="#dddddd", lw=0.7)
        scales.plain_axes(axes, "Engine speed, crankshaft (rev/min)", "Voltage (kV)")
        axes.spines["right"].set_visible(False)
        (self._has,) = axes.plot(_SPEEDS, _SPEEDS, color=style.BLUE, lw=style.LINE)
        (self._asks,) = axes.plot(_SPEEDS, _SPEEDS, color=style.RED, lw=style.LINE, ls=style.DASHED)
        self._misses = axes.fill_between(
            _SPEEDS, 0 * _SPEEDS, 0 * _SPEEDS, facecolor="#f3b79c", hatch="xx", edgecolor=style.RED, lw=0
        )
        axes.legend(
            (self._has, self._asks),
            ("available", "required, rotor gap too"),
            loc="lower left",
            ncols=2,
            frameon=False,
            prop=style.words(13),
            handlelength=2.6,
        )
        self._words = axes.text(
            0.98, 0.96, "", transform=axes.transAxes, ha="right", va="top", **style.words(15, weight="bold")
        )
        return self._misses, self._has, self._asks, self._words

    def update(self, state: Wear) -> None:
        asks = state.required + breakdown.ROTOR_GAP_KV
        self._has.set_ydata(state.available)
        self._asks.set_ydata(asks)
        self._misses.set_data(_SPEEDS, state.available, asks, where=(asks > state.available).tolist())
        least, speed = state.least
        self._words.set_text(f"{'least reserve' if least >= 0 else 'misfires:'} {_kv(least)} at {speed:.0f} rev/min")


def _kv(voltage):
    return f"{voltage:.1f} kV".replace("-", "−")


def electrodes_caption(state: Wear) -> str:
    """The gap in words."""
    edges = "sharp" if state.rounding < 0.1 else "worn" if state.rounding < 0.7 else "round"
    if state.distance_km == 0:
        return f"New gap {state.new_mm:.2f} mm ({state.new_mm / MM_PER_IN:.3f} in), edges sharp. Move the distance to wear it."
    return (
        f"New gap {state.new_mm:.2f} mm ({state.new_mm / MM_PER_IN:.3f} in). After {grouped(state.distance_km)} km "
        f"({miles(state.distance_km)} miles) about {state.gap_mm:.2f} mm ({state.gap_mm / MM_PER_IN:.3f} in) by the "
        f"rule of 0.001 inch in 1000 miles; edges {edges}. That they are quite round after {grouped(round(ROUND_AFTER_KM, -3))} km is our choice."
    )


def voltages_caption(state: Wear) -> str:
    """The voltages in words, with the law they follow."""
    least, speed = state.least
    misses = _SPEEDS[state.reserve < 0]
    end = (
        f"The plug misfires from {misses[0]:.0f} to {misses[-1]:.0f} rev/min"
        if misses.size and np.all(np.diff(misses) < 51)
        else "The plug misfires at low and at high speed"
        if misses.size
        else "The plug never misfires"
    )
    return (
        f"A teaching V8, {state.load}, points and coil {state.system}. At 2000 rev/min the coil can give "
        f"{np.interp(2000, _SPEEDS, state.available):.1f} kV and the plug asks for "
        f"{np.interp(2000, _SPEEDS, state.required):.1f} kV, the rotor gap for 2 kV more. {end}; the least reserve is {_kv(least)} at {speed:.0f} "
        "rev/min. Uniform-field law with worn edges; another published law asks for less."
    )


def gap_wear(compute: Callable[..., Wear] = compute) -> Panel[Wear]:
    """The panel of wear and reserve."""
    controls = {
        "distance_km": IntSlider(0, min=0, max=LONGEST_KM, step=1000, description="Distance (km)"),
        "new_mm": FloatSlider(0.8, min=0.6, max=0.95, step=0.05, readout_format=".2f", description="New gap (mm)"),
        "load": RadioButtons(options=[FULL, CRUISE], value=FULL, description="Load"),
        "system": RadioButtons(options=[SOUND, TIRED], value=SOUND, description="Points and coil"),
    }
    for control in controls.values():
        control.style.description_width = "11rem"
        control.layout = style.wide()
    views = ((Electrodes(420, 470), electrodes_caption), (Voltages(410, 470), voltages_caption))
    return Panel("A gap that grows", controls, compute, views)
