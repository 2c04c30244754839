"""Panel: the spark end of a plug as it comes out, drawn from parameters and told in words."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from ipywidgets import IntSlider, RadioButtons
from matplotlib.artist import Artist
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch

WHOLE, CRACKED, BRIDGED = "none", "nose broken", "crumb in the gap"
MOST = 4  # of each slider
AMOUNT = ("no", "a trace of", "some", "much", "a thick coat of")
TAN, WHITE, BLACK = (np.array(to_rgb(name)) for name in ("#cdb99a", "#fbfaf5", "#26221f"))
STEEL, BLUED = np.array(to_rgb("#a3a9ae")), np.array(to_rgb("#6f7ea3"))
_SPECKS = 260


@dataclass(frozen=True, slots=True)
class Face:
    """What is seen; each amount 0 to `MOST`."""

    soot: int
    oil: int
    fuel: int
    heat: int
    wear: int
    harm: str

    def share(self, name: str) -> float:
        """An amount as 0 to 1."""
        return getattr(self, name) / MOST


def compute(soot: int, oil: int, fuel: int, heat: int, wear: int, harm: str) -> Face:
    """The face of a plug as a state."""
    return Face(soot, oil, fuel, heat, wear, harm)


class PlugFace(Picture[Face]):
    """The spark end from the side: rim of the shell, nose, centre electrode, side electrode."""

    _BAR = -5.6  # upper edge of the side electrode

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(-13.5, 13.5)
        axes.set_ylim(-9.5, 11.0)
        axes.set_aspect("equal")
        axes.set_axis_off()
        for step in range(5):  # the thread above the rim
            y = 3.6 + 1.7 * step
            axes.add_patch(
                Polygon([(-8.6, y), (-9.2, y + 0.85), (-8.6, y + 1.7), (8.6, y + 1.7), (9.2, y + 0.85), (8.6, y)],
                        closed=True, facecolor="#aeb4b9", edgecolor=style.INK, lw=0.8)
            )  # fmt: skip
        outline = {"edgecolor": style.INK, "lw": 1.1}
        self._rim = add_patch(axes, Rectangle((-8.6, 0.6), 17.2, 3.0, **outline))
        bar = [(8.0, 0.6), (8.0, -7.4), (-2.2, -7.4), (-2.2, self._BAR), (6.0, self._BAR), (6.0, 0.6)]
        self._side = add_patch(axes, Polygon(bar, closed=True, **outline))
        self._centre = add_patch(axes, Polygon([(0, 0), (1, 0), (0, 1)], closed=True, **outline))
        self._nose = add_patch(axes, Polygon([(0, 0), (1, 0), (0, 1)], closed=True, **outline))
        spread = np.random.default_rng(3)  # the same specks every time
        places = np.column_stack((spread.uniform(-8.4, 8.4, _SPECKS), spread.uniform(-3.3, 3.5, _SPECKS)))
        on_nose = np.abs(places[:, 0]) < 2.5
        places = places[on_nose | (places[:, 1] > 0.8)]
        self._specks = axes.scatter(*places.T, s=spread.uniform(3, 26, len(places)), color=BLACK, lw=0, zorder=4)
        blisters = np.column_stack((spread.uniform(-2.2, 2.2, 14), spread.uniform(-3.0, 0.2, 14)))
        self._blisters = axes.scatter(*blisters.T, s=34, facecolor=WHITE, edgecolor="#7d776c", lw=0.9, zorder=5)
        drops = np.array([(-7.2, 0.35), (-4.7, 0.4), (-2.0, -3.4), (4.6, 0.38), (7.0, -7.62), (1.0, -7.58)])
        self._drops = axes.scatter(*drops.T, s=[130, 90, 70, 120, 120, 90], color="#15120d", lw=0, zorder=6, marker="o")
        wet = np.array([(-6.0, 0.38), (-3.1, 0.45), (0.6, -3.5), (5.8, 0.36), (7.6, -3.0), (3.2, -7.6)])
        self._fuel = axes.scatter(*wet.T, s=[140, 90, 110, 130, 100, 140], facecolor="#e3eef4", edgecolor="#4a6a7c",
                                  lw=1.2, zorder=6, marker="o")  # fmt: skip
        self._shine = [
            axes.plot(xs, ys, color="white", lw=3.0, alpha=0.0, solid_capstyle="round", zorder=7)[0]
            for xs, ys in (([-1.7, -1.35], [0.2, -2.6]), ([-7.6, -3.6], [2.9, 2.9]), ([7.4, 7.4], [-0.6, -5.6]))
        ]
        self._crumb = add_patch(
            axes,
            Polygon(
                [(-0.7, 0), (0.9, 0.1), (0.6, 1), (-0.3, 1)],
                closed=True,
                facecolor="#5a4a3b",
                edgecolor=style.INK,
                zorder=6,
            ),
        )
        (self._measure,) = axes.plot([], [], color=style.RED, lw=1.6, marker="_", ms=11, zorder=8)
        self._gap = axes.text(-3.2, 0, "gap", ha="right", va="center", **style.words(16, color=style.RED))
        grey = {"color": style.GREY, "lw": 0.8}
        for text, x, y, to in (
            ("shell", -11.2, -0.6, (-8.5, 1.4)), ("nose", -6.6, -2.2, (-2.5, -1.4)),
            ("centre\nelectrode", -8.0, -4.6, (-1.1, -3.6)), ("side electrode", 10.3, -8.6, (8.0, -7.2)),
        ):  # fmt: skip
            axes.annotate(
                text, to, (x, y), ha="center", va="center", arrowprops={"arrowstyle": "-", **grey}, **style.words(15)
            )
        return (
            self._side,
            self._centre,
            self._nose,
            self._rim,
            self._specks,
            self._blisters,
            self._drops,
            self._fuel,
            *self._shine,
            self._crumb,
            self._measure,
            self._gap,
        )

    def update(self, state: Face) -> None:
        soot, oil, fuel, heat, wear = (state.share(name) for name in ("soot", "oil", "fuel", "heat", "wear"))
        dark = max(soot, oil) * 0.88
        ceramic = TAN + (WHITE - TAN) * heat
        metal = STEEL + (BLUED - STEEL) * heat
        self._nose.set_facecolor(_rgb(ceramic + (BLACK - ceramic) * dark))
        for part in (self._side, self._centre, self._rim):
            part.set_facecolor(_rgb(metal + (BLACK - metal) * dark * 0.9))
        self._nose.set_xy(_nose(state.harm == CRACKED))
        end = self._BAR + 0.75 + 1.15 * wear
        self._centre.set_xy(_rounded(1.25, 0.6, end, 0.06 + 0.9 * wear))
        self._specks.set_alpha(min(1.0, 1.3 * soot) if soot > oil else 0.0)
        self._blisters.set_alpha(max(0.0, 2 * heat - 1.0) * (1 - dark))
        self._drops.set_alpha(oil)
        self._fuel.set_alpha(fuel)
        for line in self._shine:
            line.set_alpha(0.75 * max(oil, fuel))
        bridged = state.harm == BRIDGED
        self._crumb.set_visible(bridged)
        self._crumb.set_xy([(-0.8, self._BAR), (0.9, self._BAR), (0.6, end), (-0.4, end)])
        self._measure.set_data([-1.9, -1.9], [self._BAR, end])
        self._gap.set_y((self._BAR + end) / 2 - 1.3)  # below the line that names the electrode


def _rgb(colour: np.ndarray) -> tuple[float, float, float]:
    red, green, blue = colour.tolist()
    return red, green, blue


def _nose(cracked):
    """Outline of the insulator nose; a broken one has lost a piece of its tip."""
    if cracked:
        return [(-3.6, 0.6), (-2.6, -3.2), (-0.4, -2.9), (0.2, -1.9), (1.2, -2.2), (1.5, -0.8), (2.9, -0.5), (3.6, 0.6)]
    return [(-3.6, 0.6), (-2.6, -3.2), (2.6, -3.2), (3.6, 0.6)]


def _rounded(half, top, end, radius):
    """A rod with rounded lower edges."""
    radius = min(radius, half)
    turn = np.linspace(0, np.pi / 2, 9)
    x, y = half - radius * (1 - np.cos(turn)), end + radius * (1 - np.sin(turn))
    return np.array([(half, top), *zip(x, y, strict=True), *zip(-x[::-1], y[::-1], strict=True), (-half, top)])


def first_thought(state: Face) -> str:
    """What a mechanic thinks first on seeing it, and what else it may be."""
    thoughts = []
    if state.harm == CRACKED:
        thoughts.append("A broken nose: detonation, a fall or careless gapping. Renew it and ask why")
    if state.harm == BRIDGED:
        thoughts.append("A crumb joins the electrodes: deposits broken loose. Clean it")
    if state.fuel >= 2 and state.fuel > state.oil:
        thoughts.append("Wet, and it smells of petrol: no spark at that plug, or flooded. Test the spark at its lead")
    if state.oil >= 2 and state.oil >= max(state.soot, state.fuel):
        thoughts.append("Wet oil: past rings or valve guides. No heat range cures that")
    elif state.soot >= 2:
        thoughts.append("Dry soot: rich mixture, idling, a weak spark or a plug too cold. The look cannot tell which")
    if state.heat >= 3 and max(state.soot, state.oil, state.fuel) < 2:
        thoughts.append("Overheated: spark too early, lean mixture, loose plug or too hot a type")
    if state.wear >= 3:
        thoughts.append("Rounded and wide: a long distance. It asks for more voltage")
    return ". ".join(thoughts or ["Right plug, right mixture"]) + "."


def face_caption(state: Face) -> str:
    """The picture in words, and the first thought."""
    colour = (
        "black"
        if max(state.soot, state.oil) >= 3
        else "darkened"
        if max(state.soot, state.oil) == 2
        else "chalk white with blisters"
        if state.heat >= 3
        else "pale"
        if state.heat == 2
        else "light tan"
    )
    electrodes = "blued electrodes" if state.heat >= 3 else "grey electrodes"
    edges = (
        "square edges, narrow gap",
        "nearly square edges",
        "worn edges",
        "rounded edges, wide gap",
        "quite round edges, very wide gap",
    )[state.wear]
    harm = {
        WHOLE: "The nose is whole.",
        CRACKED: "A piece of the nose is missing.",
        BRIDGED: "A crumb of deposit fills the gap.",
    }[state.harm]
    return (
        f"The spark end from the side. The nose is {colour}, with {AMOUNT[state.soot]} dry soot, "
        f"{AMOUNT[state.oil]} wet oil and {AMOUNT[state.fuel]} petrol; {electrodes} with {edges}. {harm} A mechanic may think first: “{first_thought(state)}”"
    )


def plug_face(compute: Callable[..., Face] = compute) -> Panel[Face]:
    """The panel of one plug's looks."""
    controls = {
        "soot": IntSlider(0, min=0, max=MOST, description=f"Dry soot (0 to {MOST})"),
        "oil": IntSlider(0, min=0, max=MOST, description=f"Wet oil (0 to {MOST})"),
        "fuel": IntSlider(0, min=0, max=MOST, description=f"Wet with petrol (0 to {MOST})"),
        "heat": IntSlider(0, min=0, max=MOST, description=f"Signs of heat (0 to {MOST})"),
        "wear": IntSlider(0, min=0, max=MOST, description=f"Wear of the edges (0 to {MOST})"),
        "harm": RadioButtons(options=[WHOLE, CRACKED, BRIDGED], value=WHOLE, description="Damage"),
    }
    for control in controls.values():
        control.style.description_width = "14rem"
        control.layout = style.wide()
    return Panel("What a plug looks like", controls, compute, ((PlugFace(510, 390), face_caption),))
