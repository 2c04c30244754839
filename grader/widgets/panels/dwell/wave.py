"""The voltage after the points have opened: condenser, firing, fouled plug."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from matplotlib.artist import Artist
from matplotlib.figure import Figure

from grader.reference.spark import coil, waveform
from grader.widgets import style
from grader.widgets.panel import Panel, Picture
from grader.widgets.panels.dwell.drawing import axes, pick, slider
from grader.widgets.style import words

FIRES, OPEN = "plug connected", "lead off (tester only)"
CLEAN_MOHM = 1000.0
_FOULING = (("clean", CLEAN_MOHM), ("2 MΩ", 2.0), ("1 MΩ", 1.0), ("0.5 MΩ", 0.5), ("0.25 MΩ", 0.25))
_UNTIL_MS = 2.4


@dataclass(frozen=True, slots=True)
class After:
    """Waveform with the setting it belongs to."""

    current_a: float
    condenser_uf: float
    shunt_mohm: float
    required_kv: float | None
    wave: waveform.Waveform


def compute(current_a: float, condenser_uf: float, fouling: float, plug: str, required_kv: float) -> After:
    """Both windings after the opening; a small condenser loses energy in the arc at the points."""
    kept = coil.KEPT_SHARE * coil.condenser_kept_share(condenser_uf) ** 2
    circuit = waveform.Circuit(condenser_uf=condenser_uf, shunt_mohm=fouling, kept_share=kept)
    required = required_kv if plug == FIRES else None
    return After(
        current_a, condenser_uf, fouling, required, waveform.solve(current_a, _UNTIL_MS, required, circuit=circuit)
    )


class Plug(Picture[After]):
    """Voltage at the plug."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = axes(
            figure,
            (0.145, 0.15, 0.815, 0.8),
            "Time after the points open (ms)",
            "Voltage at the plug (kV)",
            xticks=(0, 0.4, 0.8, 1.2, 1.6, 2.0, 2.4),
            yticks=range(-30, 41, 10),
        )
        ax.axhline(0, color=style.GREY, lw=0.8)
        (self._line,) = ax.plot([], [], color=style.INK, lw=1.6)
        (self._required,) = ax.plot([0, _UNTIL_MS], [0, 0], color=style.RED, lw=1.2, ls=style.DASHED)
        self._required_name = ax.text(
            2.36, 0, "the plug fires here", ha="right", va="bottom", **words(12, color=style.RED)
        )
        self._say = ax.text(2.36, 35.5, "", ha="right", **words(15, weight="bold"))
        return self._line, self._required, self._required_name, self._say

    def update(self, state: After) -> None:
        self._line.set_data(state.wave.time_ms, state.wave.plug_kv)
        required = state.required_kv
        self._required.set_ydata([99.0 if required is None else required] * 2)
        self._required_name.set_y(99.0 if required is None else required + 0.3)
        self._say.set_text(_outcome(state))


class Contacts(Picture[After]):
    """Voltage across points and condenser."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = axes(
            figure,
            (0.195, 0.15, 0.765, 0.8),
            "Time after the points open (ms)",
            "Voltage across the points (V)",
            xticks=(0, 0.4, 0.8, 1.2, 1.6, 2.0, 2.4),
            yticks=range(-400, 601, 200),
            ylim=(-450, 650),
        )
        ax.axhline(0, color=style.GREY, lw=0.8)
        (self._line,) = ax.plot([], [], color=style.BLUE, lw=1.6)
        return (self._line,)

    def update(self, state: After) -> None:
        self._line.set_data(state.wave.time_ms, state.wave.points_v)


def _outcome(state):
    if state.required_kv is None:
        return f"peak {state.wave.peak_kv:.1f} kV"
    if state.wave.breakdown_ms is None:
        return f"no spark: peak {state.wave.peak_kv:.1f} kV"
    return f"spark, {state.wave.spark_ms:.2f} ms long"


def plug_caption(state: After) -> str:
    """The plug's side in words."""
    soot = "a clean plug" if state.shunt_mohm == CLEAN_MOHM else f"a plug fouled to {state.shunt_mohm:g} MΩ"
    wants = "" if state.required_kv is None else f" It asks for {state.required_kv:.1f} kV."
    return (
        f"{state.current_a:.1f} A when the points open, condenser {state.condenser_uf:.2f} µF, {soot}.{wants} "
        f"Outcome: {_outcome(state)}."
    )


def contacts_caption(state: After) -> str:
    """The points' side in words."""
    return (
        f"Across the points the voltage reaches {max(state.wave.points_v):.0f} V. With the lead off it is several hundred: a painful jolt. "
        "Below about 0.15 µF the arc at the points eats the energy; much above 0.25 µF the rise is slow and low."
    )


def after_opening(compute: Callable[..., After] = compute) -> Panel[After]:
    """Voltage after the opening."""
    controls = {
        "current_a": slider(3.5, 0.5, 5.0, 0.1, "Current at opening (A)"),
        "condenser_uf": slider(0.22, 0.02, 1.0, 0.02, "Condenser (µF)", ".2f"),
        "required_kv": slider(12.0, 5.0, 30.0, 0.5, "Required at the plug (kV)"),
        "fouling": pick(_FOULING, CLEAN_MOHM, "Plug insulation"),
        "plug": pick((FIRES, OPEN), FIRES, "Plug"),
    }
    return Panel(
        "The voltage after the points open",
        controls,
        compute,
        ((Plug(440, 360), plug_caption), (Contacts(390, 360), contacts_caption)),
    )
