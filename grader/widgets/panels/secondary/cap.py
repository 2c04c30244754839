"""A cap in section: brush, rotor, terminals, and what moisture, a crack or a track do."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import inf
from types import MappingProxyType

from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from grader.modules.secondary import voltage
from grader.reference.spark import insulation
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch
from grader.widgets.panels.dwell.drawing import bare, pick, slider, words

SOUND, CRACK, TRACK = "in order", "hair crack", "carbon line"
DRY, DAMP = "dry", "wet"
# At which voltage it flashes over in the cap when dry [kV]; a crack holds while it is dry (teaching values).
_HOLDS_KV = MappingProxyType({SOUND: inf, CRACK: 24.0, TRACK: 14.0})
_DIRT_KV = 26.0  # wet dust on a sound cap


@dataclass(frozen=True, slots=True)
class Way:
    """Which way the voltage goes in the cap."""

    moisture: str
    inside: str
    rotor_mm: float
    brush_mm: float
    coil_kv: float
    asked_kv: float
    flash_kv: float
    series_kv: float

    @property
    def needed_kv(self) -> float:
        """Plug, rotor gap and brush gap together."""
        return self.asked_kv + self.series_kv

    @property
    def spare_kv(self) -> float:
        """What the coil gives, and the cap holds, over what is needed."""
        return min(self.coil_kv, self.flash_kv) - self.needed_kv

    @property
    def goes(self) -> str:
        """ "plug", "wrong" (along crack, line or wet dirt) or "none"."""
        if self.needed_kv <= min(self.coil_kv, self.flash_kv):
            return "plug"
        return "wrong" if self.flash_kv < self.coil_kv else "none"


def compute(moisture: str, inside: str, rotor_mm: float, brush_mm: float, coil_kv: float, asked_kv: float) -> Way:
    """The least of what the cap holds and the coil gives against what the spark's way asks for."""
    flash = float(insulation.flash_kv(_HOLDS_KV[inside], "cap", moisture == DAMP, _DIRT_KV))
    return Way(moisture, inside, rotor_mm, brush_mm, coil_kv, asked_kv, flash, voltage.series_kv(rotor_mm, brush_mm))


class Section(Picture[Way]):
    """The cap cut through its middle."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = bare(figure, (0, 0, 1, 1), (0, 68), (0, 42))
        shell = [(10, 6), (10, 22), (15, 22), (15, 33), (21, 33), (21, 24), (30.5, 24), (30.5, 36), (37.5, 36), (37.5, 24), (47, 24),
                 (47, 33), (53, 33), (53, 22), (58, 22), (58, 6), (55, 6), (55, 17), (13, 17), (13, 6)]  # fmt: skip
        add_patch(ax, Polygon(shell, facecolor="#e7e0d6", edgecolor=style.INK, lw=1.6))
        for x, top in ((18, 33), (34, 36), (50, 33)):  # metal inserts, down to the terminals
            add_patch(
                ax,
                Rectangle(
                    (x - 1, 17 if x == 34 else 13),
                    2,
                    top - (17 if x == 34 else 13),
                    facecolor="#b9c2c8",
                    edgecolor=style.INK,
                    lw=0.9,
                ),
            )
        add_patch(ax, Rectangle((32.5, 1), 3, 7, facecolor="#d9d9d9", edgecolor=style.INK, lw=1.0))
        for x, y, text, side in (
            (34, 39.3, "from the coil", "center"), (18, 36.3, "to this plug", "center"), (50, 36.3, "to the next plug", "center"),
            (36.4, 4.4, "shaft", "left"),
        ):  # fmt: skip
            ax.text(x, y, text, ha=side, va="bottom", **words(12))
        self._brush = add_patch(ax, Rectangle((33, 10), 2, 7, facecolor="#555555", edgecolor=style.INK, lw=0.9))
        self._body = add_patch(ax, Rectangle((22, 8), 18, 2.2, facecolor="#efe6c9", edgecolor=style.INK, lw=1.1))
        self._blade = add_patch(ax, Rectangle((21, 10.2), 15, 0.9, facecolor="#b9c2c8", edgecolor=style.INK, lw=0.9))
        (self._drops,) = ax.plot([], [], "o", color=style.SKY, mec=style.BLUE, ms=6, ls="none")
        (self._crack,) = ax.plot([], [], color=style.INK, lw=1.4)
        (self._line,) = ax.plot([], [], color=style.INK, lw=3.4, ls=style.DOTTED)
        (self._spark,) = ax.plot([], [], color=style.BLUE, lw=2.4)
        (self._wrong,) = ax.plot([], [], color=style.RED, lw=2.4, ls=style.DASHED)
        self._say = ax.text(67, 1.5, "", ha="right", va="bottom", **words(13.5, weight="bold"))
        self._gap = ax.text(17, 9.6, "", ha="center", va="top", **words(12))
        return (
            self._brush, self._body, self._blade, self._drops, self._crack, self._line, self._spark, self._wrong, self._say, self._gap,
        )  # fmt: skip

    def update(self, state: Way) -> None:
        gap = 0.9 * state.rotor_mm
        lift = 0.9 * state.brush_mm
        tip = 19 + gap
        self._brush.set_bounds(33, 11.1 + lift, 2, 5.9 - lift)
        self._body.set_bounds(tip + 1.5, 8, 40 - tip - 1.5, 2.2)
        self._blade.set_bounds(tip, 10.2, 36 - tip, 0.9)
        wet = state.moisture == DAMP
        drops = [
            (12.2, 24),
            (14.2, 28),
            (22.5, 26),
            (28, 25.6),
            (40, 25.6),
            (46, 27),
            (54.5, 26),
            (24, 15.8),
            (29, 15.6),
            (39, 15.8),
            (44, 15.6),
        ]
        self._drops.set_data(*zip(*drops, strict=True)) if wet else self._drops.set_data([], [])
        cracked, tracked = state.inside == CRACK, state.inside == TRACK
        self._crack.set_data([47.5, 46, 48, 45.5, 47], [31, 27.5, 24.5, 21, 17.2]) if cracked else self._crack.set_data(
            [], []
        )
        self._line.set_data([19, 27, 33, 42, 49], [16.4, 16.7, 16.3, 16.7, 16.4]) if tracked else self._line.set_data(
            [], []
        )
        goes = state.goes
        jump = [(19, 13.8), (19.4 + 0.3 * gap, 12.6), (18.9 + 0.6 * gap, 12.0), (tip, 10.8)]
        self._spark.set_data(*zip(*jump, strict=True)) if goes == "plug" else self._spark.set_data([], [])
        leaks = [(35, 16.2), (39, 15.2), (43, 16.3), (46, 15.2), (49, 14.6)]
        self._wrong.set_data(*zip(*leaks, strict=True)) if goes == "wrong" else self._wrong.set_data([], [])
        self._say.set_text(
            {
                "plug": f"the right plug fires, {state.spare_kv:.1f} kV to spare",
                "wrong": "it goes the wrong way",
                "none": "no spark: too little",
            }[goes]
        )
        self._gap.set_text(f"gap {state.rotor_mm:g} mm")


def caption(state: Way) -> str:
    """The section in words."""
    holds = "more than the coil gives" if state.flash_kv > state.coil_kv else f"{state.flash_kv:.1f} kV"
    ends = {
        "plug": f"The spark jumps to the right plug, with {state.spare_kv:.1f} kV to spare.",
        "wrong": "The voltage finds the easier way inside the cap: to the next plug or to earth.",
        "none": "The coil gives too little for all these gaps, so no plug fires.",
    }[state.goes]
    brush = f", brush gap {state.brush_mm:g} mm" if state.brush_mm else ", brush touching"
    return (
        f"Cap {state.moisture}, inside {state.inside}; rotor gap {state.rotor_mm:g} mm{brush}. The plug asks for {state.asked_kv:g} kV, the gaps on the "
        f"way for {state.series_kv:.1f} kV. The cap holds {holds}. {ends} What the cap holds is a teaching value."
    )


def cap_panel(compute: Callable[..., Way] = compute) -> Panel[Way]:
    """Moisture, crack, track, burnt tip and lost brush."""
    controls = {
        "moisture": pick((DRY, DAMP), DRY, "The cap is"),
        "inside": pick((SOUND, CRACK, TRACK), SOUND, "Inside it is"),
        "rotor_mm": slider(0.75, 0.5, 4.0, 0.25, "Rotor gap (mm)", ".2f"),
        "brush_mm": slider(0.0, 0.0, 4.0, 0.5, "Gap at the brush (mm)"),
        "coil_kv": slider(25.0, 8.0, 30.0, 0.5, "The coil gives (kV)"),
        "asked_kv": slider(12.0, 4.0, 20.0, 0.5, "The plug asks for (kV)"),
    }
    return Panel("Inside the cap", controls, compute, ((Section(680, 420), caption),))
