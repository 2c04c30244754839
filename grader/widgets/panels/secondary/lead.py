"""What a lead costs before the spark and during it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from grader.modules.secondary import voltage
from grader.reference.spark import cables, coil, misfire
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch
from grader.widgets.panels.dwell.drawing import axes, slider, words

SPARK_MA, SECONDARY_H = 35.0, 75.0
_ROTOR_MM = 0.75
_MOST_KV, _MOST_V = 30, 3500


@dataclass(frozen=True, slots=True)
class Cost:
    """Voltages before the spark [kV, resistance in V] and during it [V]; how long the spark lasts [ms]."""

    kohm: float
    break_mm: float
    plug_kv: float
    rotor_kv: float
    break_kv: float
    before_v: float
    during_v: float
    spark_v: float
    spark_ms: float
    usual_ms: float

    @property
    def asked_kv(self) -> float:
        """All that the coil must give."""
        return self.plug_kv + self.rotor_kv + self.break_kv + self.before_v / 1000


def compute(kohm: float, break_mm: float, plug_kv: float) -> Cost:
    """Shares of the voltage for a lead of so much resistance with such a break, and a plug that asks for so much."""
    before, during = cables.lead_cost_v(kohm, plug_kv, spark_ma=SPARK_MA)
    rotor = voltage.series_kv(_ROTOR_MM)
    times = (float(coil.spark_duration_ms(SPARK_MA, misfire.burning_kv(ohms), SECONDARY_H)) for ohms in (kohm, 0.0))
    return Cost(
        kohm, break_mm, plug_kv, rotor, voltage.series_kv(_ROTOR_MM, break_mm) - rotor, float(before), float(during),
        1000 * misfire.BURNING_KV, *times,
    )  # fmt: skip


class Bars(Picture[Cost]):
    """Two bars, one above the other: before the spark in kV, during it in V."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        top = axes(figure, (0.06, 0.66, 0.9, 0.22), "", "", xticks=range(0, _MOST_KV + 1, 5), yticks=(), ylim=(0, 1))
        low = axes(figure, (0.06, 0.17, 0.9, 0.22), "", "", xticks=range(0, _MOST_V + 1, 500), yticks=(), ylim=(0, 1))
        for ax in (top, low):
            ax.spines["left"].set_visible(False)
        figure.text(0.06, 0.92, "Before the spark: kV that the coil must raise", **words(14, weight="bold"))
        figure.text(0.06, 0.43, "During the spark: V that keep it burning", **words(14, weight="bold"))
        looks = (
            ("#dfe8ee", style.INK, ""),
            ("#a9d4ee", style.INK, ""),
            ("#f2c9ac", style.RED, "//"),
            (style.RED, style.INK, ""),
        )
        self._before = [
            add_patch(top, Rectangle((0, 0.15), 1, 0.6, facecolor=c, edgecolor=e, hatch=h, lw=0.9)) for c, e, h in looks
        ]
        self._during = [
            add_patch(low, Rectangle((0, 0.15), 1, 0.6, facecolor=c, edgecolor=e, hatch=h, lw=0.9))
            for c, e, h in (looks[0], looks[3])
        ]
        self._words = [top.text(0, 0.45, "", ha="center", va="center", **words(13)) for _ in range(3)]
        self._end = top.text(0, 0.45, "", ha="left", va="center", **words(13, weight="bold"))
        self._low = [low.text(0, 0.45, "", ha=side, va="center", **words(13)) for side in ("center", "left")]
        return *self._before, *self._during, *self._words, self._end, *self._low

    def update(self, state: Cost) -> None:
        left = 0.0
        parts = (state.plug_kv, state.rotor_kv, state.break_kv, state.before_v / 1000)
        for place, (patch, kv) in enumerate(zip(self._before, parts, strict=True)):
            patch.set_bounds(left, 0.15, max(kv, 1e-6), 0.6)
            patch.set_alpha(None if kv > 0 else 0)
            if place < 3:
                name = ("plug", "rotor", "break")[place]
                room = kv > 1.6
                self._words[place].set(x=left + kv / 2, text=f"{name} {kv:.1f}" if kv > 3.4 else name if room else "")
            left += kv
        self._end.set(x=left + 0.3, text=f"{state.asked_kv:.1f} kV")
        self._during[0].set_bounds(0, 0.15, state.spark_v, 0.6)
        self._during[1].set_bounds(state.spark_v, 0.15, max(1.0, state.during_v), 0.6)
        self._low[0].set(x=state.spark_v / 2, text=f"spark {state.spark_v:.0f} V")
        self._low[1].set(
            x=state.spark_v + state.during_v + 30, text=f"lead {state.during_v:.0f} V: burns {state.spark_ms:.2f} ms"
        )


def caption(state: Cost) -> str:
    """Both bars in words."""
    broken = f" The break of {state.break_mm:g} mm takes {state.break_kv:.1f} kV." if state.break_mm else ""
    return (
        f"Lead of {state.kohm:g} kΩ, plug asks for {state.plug_kv:g} kV. Before the spark the resistance takes {state.before_v:.0f} V, next to "
        f"nothing; the coil must raise {state.asked_kv:.1f} kV in all.{broken} During the spark it takes {state.during_v:.0f} V beside the "
        f"spark's {state.spark_v:.0f} V, so the spark lasts {state.spark_ms:.2f} ms; with a metal core it would last {state.usual_ms:.2f} ms."
    )


def lead_panel(compute: Callable[..., Cost] = compute) -> Panel[Cost]:
    """Resistance and a break, before the spark and during it."""
    controls = {
        "kohm": slider(10, 0, 30, 1, "Resistance of the lead (kΩ)"),
        "break_mm": slider(0.0, 0.0, 5.0, 0.5, "Break in its core (mm)"),
        "plug_kv": slider(12.0, 5.0, 18.0, 0.5, "The plug asks for (kV)"),
    }
    return Panel("What a lead costs", controls, compute, ((Bars(680, 320), caption),))
