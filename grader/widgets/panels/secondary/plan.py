"""A plan of the engine on which the leads are laid, with what each lifts its neighbours to.

A lead is picked at its plug and laid into one of four holders of its bank: with the mouse, a
finger, or the keyboard, on the plan or with the buttons above it. From the cap it runs up to its
holder's line and along it to its plug; two leads of one bank run side by side as far as both go.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from ipywidgets import Button, GridBox, Layout, ToggleButtons, VBox
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle
from traitlets import Tuple

from grader import units
from grader.reference import angles
from grader.reference.spark import breakdown, cables
from grader.vehicle.car import card
from grader.vehicle.spec import vehicle, vehicles
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch, keep_readable
from grader.widgets.panels.dwell.drawing import bare, words

HOLDERS = tuple("abcd")
MOST_CYLINDERS = 8
FIRING_KV, ADVANCE_DEG = 14.0, 10.0  # under load, at low speed
TOUCHING_MM, HOLDER_MM, HEIGHT_MM, WIRE_MM = 8.0, 30.0, 50.0, 0.6
INSULATION = 3.0  # permittivity between leads that touch
PLUG_FACTOR = 0.75  # edges, mixture and heat, of the uniform law
RISK = 0.6  # of what the later plug asks for: the margin of the lesson
_WIDTH, _HEIGHT = 720, 440
_ACROSS, _UP = 72, 44
_MM_PER_UNIT = 7.0
BUNDLED, SPREAD = (0,) * MOST_CYLINDERS, (0, 1, 2, 3, 0, 1, 2, 3)


@dataclass(frozen=True, slots=True)
class Crossing:
    """One lead beside another: which rises, which is lifted, over which length, to how much, and whether it may spark."""

    first: int
    second: int
    run_mm: float
    kv: float
    risky: bool


@dataclass(frozen=True, slots=True)
class Laid:
    """An engine with its leads laid."""

    engine: str
    holders: tuple[int, ...]
    picked: int
    need_kv: float
    crossings: tuple[Crossing, ...]

    @property
    def at_risk(self) -> tuple[Crossing, ...]:
        """Pairs that fire one after the other, stand side by side, and lie too near for too long."""
        return tuple(crossing for crossing in self.crossings if crossing.risky)


@dataclass(frozen=True, slots=True)
class Place:
    """Where things stand on the plan, in units of the picture."""

    cap: tuple[float, float]
    plugs: tuple[tuple[float, float], ...]  # by cylinder number, place 0 is number 1
    lines: tuple[tuple[float, ...], ...]  # heights of the holders' lines, bank by bank
    bank_of: tuple[int, ...]
    blocks: tuple[tuple[float, float, float, float], ...]


def place(engine: str) -> Place:
    """The plan of a teaching engine, its cap at the front: beside one row, or between two banks."""
    spec = vehicle(engine)
    banks = spec.banks
    one_row = len(banks) == 1
    pitch = 13.0 if len(banks[0]) <= 4 else 8.6
    plugs: dict[int, tuple[float, float]] = {}
    bank_of: dict[int, int] = {}
    lines, blocks = [], []
    for bank, numbers in enumerate(banks):
        height = 34.0 if one_row else (37.5, 6.5)[bank]
        towards = -1 if bank == 0 else 1  # where the cap lies
        for row, number in enumerate(numbers):
            plugs[number] = (20.0 + pitch * row, height)
            bank_of[number] = bank
        blocks.append((15.0, height - 3.5, pitch * (len(numbers) - 1) + 10.0, 7.0))
        first, step = (6.0, 3.4) if one_row else (5.0, 2.3)
        lines.append(tuple(height + towards * (first + step * k) for k in range(len(HOLDERS))))
    order = range(1, spec.cylinders + 1)
    return Place(
        (10.0, 8.0) if one_row else (9.5, 22.0),
        tuple(plugs[n] for n in order),
        tuple(lines),
        tuple(bank_of[n] for n in order),
        tuple(blocks),
    )


def run_mm(where: Place, holders: tuple[int, ...], one: int, other: int) -> float:
    """How far two leads of one bank go side by side [mm]: along their lines, and up from the cap if both lie in one holder."""
    start = where.cap[0]
    along = min(where.plugs[number - 1][0] - start for number in (one, other))
    up = 0.0
    if holders[one - 1] == holders[other - 1]:
        up = abs(where.lines[where.bank_of[one - 1]][holders[one - 1]] - where.cap[1])
    return _MM_PER_UNIT * (along + up)


def lifted_kv(run: float, apart: int) -> float:
    """To how much a lead lifts another that runs beside it so many holders away."""
    spacing, filling = (TOUCHING_MM, INSULATION) if apart == 0 else (HOLDER_MM * apart, 1.0)
    between, ground = cables.capacitances_pf_per_m(HEIGHT_MM, spacing, WIRE_MM, permittivity=filling)
    return float(cables.induced_capacitive_kv(FIRING_KV, run, between, ground))


def compute(engine: str, laid: tuple[int, ...]) -> Laid:
    """Every lead beside every other of its bank; `laid` is the holder of each cylinder, and the picked cylinder last."""
    spec, engine_card = vehicle(engine), card(vehicle(engine))
    where = place(engine)
    *holders, picked = laid
    density = cables.victim_density(spec.cylinders, ADVANCE_DEG, engine_card.compression_ratio)
    need = PLUG_FACTOR * float(breakdown.uniform_voltage_kv(units.MM_PER_IN * engine_card.plug_gap_in, density))
    pairs = angles.cross_fire_pairs(spec.firing_order, spec.banks)
    crossings = []
    for first in range(1, spec.cylinders + 1):
        for second in range(1, spec.cylinders + 1):
            if first == second or where.bank_of[first - 1] != where.bank_of[second - 1]:
                continue
            run = run_mm(where, tuple(holders), first, second)
            kv = lifted_kv(run, abs(holders[first - 1] - holders[second - 1]))
            crossings.append(Crossing(first, second, run, kv, (first, second) in pairs and kv >= RISK * need))
    return Laid(engine, tuple(holders[: spec.cylinders]), min(picked, spec.cylinders), need, tuple(crossings))


class Holders(VBox):
    """Buttons that pick a lead and lay it; `value` holds the holder of each cylinder and, last, the picked cylinder."""

    value = Tuple(default_value=(*BUNDLED, 1)).tag(sync=False)

    def __init__(self, engine: Any):
        self._engine = engine
        self._lead = ToggleButtons(description="Lead of cylinder")
        self._holder = ToggleButtons(
            options=[(name, at) for at, name in enumerate(HOLDERS)], description="lies in holder"
        )
        super().__init__([self._lead, self._holder])
        for row in self.children:
            row.style.description_width, row.style.button_width = "9rem", "3.8rem"
        engine.observe(self._begin, "value")
        self._begin()
        self._lead.observe(lambda change: self.pick(change.new), "value")
        self._holder.observe(lambda change: self.lay(change.new), "value")

    @property
    def options(self) -> tuple[tuple[int, ...], ...]:
        """Layings to begin with: all in one holder, and spread over all four."""
        return (*BUNDLED, 1), (*SPREAD, 2)

    @property
    def _options_full(self):
        return tuple(("laid", option) for option in self.options)

    def pick(self, cylinder: int) -> None:
        """Take a lead into the hand."""
        if cylinder is None or cylinder not in self._lead.options:
            return
        self.value = (*self.value[:-1], cylinder)
        self._lead.value, self._holder.value = cylinder, self.value[cylinder - 1]

    def lay(self, holder: int) -> None:
        """Lay the picked lead into a holder."""
        if holder is None:
            return
        cylinder = self.value[-1]
        holders = list(self.value)
        holders[cylinder - 1] = holder
        self.value = tuple(holders)
        self._holder.value = holder

    def _begin(self, _=None):
        count = vehicle(self._engine.value).cylinders
        self._lead.options = tuple(range(1, count + 1))
        self.value = (*BUNDLED, 1)
        self._lead.value, self._holder.value = 1, 0


class Plan(Picture[Laid]):
    """The engine from above with its leads."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = bare(figure, (0, 0, 1, 1), (0, _ACROSS), (0, _UP))
        ax.text(0.9, 22.0, "front", rotation=90, va="center", ha="center", **words(12))
        self._blocks = [
            add_patch(ax, Rectangle((0, 0), 1, 1, facecolor="#eceff1", edgecolor=style.INK, lw=1.3)) for _ in range(2)
        ]
        self._lines = [ax.plot([], [], color="#c4c4c4", lw=1.0, ls=style.DOTTED)[0] for _ in range(8)]
        self._names = [ax.text(0, 0, "", ha="center", va="center", **words(12, color="#555555")) for _ in range(8)]
        self._leads = [ax.plot([], [], color=style.INK, lw=1.8)[0] for _ in range(MOST_CYLINDERS)]
        self._risks = [ax.plot([], [], color=style.RED, lw=4.5, ls=style.DASHED)[0] for _ in range(4)]
        self._cap = add_patch(ax, Circle((0, 0), 4.2, facecolor="#e7e0d6", edgecolor=style.INK, lw=1.4, zorder=5))
        self._cap_name = ax.text(0, 0, "cap", ha="center", va="center", zorder=6, **words(12))
        self._plugs = [
            add_patch(ax, Circle((0, 0), 1.9, facecolor=style.PAPER, edgecolor=style.INK, lw=1.3, zorder=5))
            for _ in range(MOST_CYLINDERS)
        ]
        self._numbers = [
            ax.text(0, 0, "", ha="center", va="center", zorder=6, **words(14, weight="bold"))
            for _ in range(MOST_CYLINDERS)
        ]
        self._kilovolts = [
            ax.text(0, 0, "", ha="center", va="center", zorder=6, **words(12)) for _ in range(MOST_CYLINDERS)
        ]
        return (
            *self._blocks, *self._lines, *self._names, *self._leads, *self._risks, self._cap, self._cap_name, *self._plugs,
            *self._numbers, *self._kilovolts,
        )  # fmt: skip

    def update(self, state: Laid) -> None:
        where = place(state.engine)
        for patch, box in zip(self._blocks, (*where.blocks, None), strict=False):
            patch.set_alpha(None if box else 0)
            if box:
                patch.set_bounds(*box)
        lines = [(bank, at, y) for bank, ys in enumerate(where.lines) for at, y in enumerate(ys)]
        for k, (line, name) in enumerate(zip(self._lines, self._names, strict=True)):
            if k < len(lines):
                _, at, y = lines[k]
                line.set_data([18.0, 66.0], [y, y])
                name.set(x=68.6, y=y, text=HOLDERS[at])
            else:
                line.set_data([], [])
                name.set_text("")
        self._cap.set_center(where.cap)
        self._cap_name.set_position(where.cap)
        worst = {crossing.second: crossing for crossing in sorted(state.crossings, key=lambda one: one.kv)}
        risks = state.at_risk
        for risk, line in zip((*risks, None, None, None, None), self._risks, strict=False):
            line.set_data(*_shared(where, state.holders, risk) if risk else ([], []))
        suffering = {risk.second for risk in risks}
        for number in range(1, MOST_CYLINDERS + 1):
            at = number - 1
            lead, plug, name, kv = self._leads[at], self._plugs[at], self._numbers[at], self._kilovolts[at]
            met = number <= len(state.holders)
            plug.set_alpha(None if met else 0)
            if not met:
                lead.set_data([], [])
                name.set_text("")
                kv.set_text("")
                continue
            x, y = where.plugs[at]
            lead.set_data(*_way(where, state.holders, number))
            mine = number == state.picked
            lead.set(color=style.BLUE if mine else style.INK, linewidth=3.2 if mine else 1.8)
            plug.set_center((x, y))
            plug.set(edgecolor=style.BLUE if mine else style.INK, linewidth=3.0 if mine else 1.3)
            plug.set_facecolor("#f2c9ac" if number in suffering else style.PAPER)
            name.set(x=x, y=y, text=str(number))
            outside = 1 if where.bank_of[at] == 0 else -1
            lifted = worst.get(number)
            bad = number in suffering
            kv.set(
                x=x, y=y + 4.2 * outside, color=style.RED if bad else style.INK, weight="bold" if bad else "normal",
                text=f"{lifted.kv:.1f} kV{' !' if bad else ''}" if lifted else "",
            )  # fmt: skip


def _line_y(where, holders, number):
    """Height of a lead on its holder's line; leads of one holder lie a little beside each other, so that all are seen."""
    bank, at = where.bank_of[number - 1], holders[number - 1]
    beside = [n for n in range(1, len(holders) + 1) if where.bank_of[n - 1] == bank and holders[n - 1] == at]
    return where.lines[bank][at] + 0.5 * (beside.index(number) - (len(beside) - 1) / 2)


def _way(where, holders, number):
    """From the cap along the holder's line to the plug."""
    (cx, cy), (px, py), y = where.cap, where.plugs[number - 1], _line_y(where, holders, number)
    return [cx, cx, px, px], [cy, y, y, py]


def _shared(where, holders, risk):
    """The stretch that both leads of a pair go together."""
    far = min(where.plugs[number - 1][0] for number in (risk.first, risk.second))
    return [where.cap[0], far], [np.mean([_line_y(where, holders, number) for number in (risk.first, risk.second)])] * 2


def caption(state: Laid) -> str:
    """The plan in words: the order, what each picked lead does, and the pairs at risk."""
    spec = vehicle(state.engine)
    order = "-".join(map(str, spec.firing_order))
    mine = sorted((one for one in state.crossings if one.first == state.picked), key=lambda one: -one.kv)
    does = ", ".join(f"that of {one.second} to {one.kv:.2f} kV" for one in mine) or "no other"
    if state.at_risk:
        said = "; ".join(
            f"{one.first} fires, then {one.second}: lifted to {one.kv:.1f} kV over {one.run_mm:.0f} mm"
            for one in state.at_risk
        )
        risk = f"At risk: {said}."
    else:
        pairs = angles.cross_fire_pairs(spec.firing_order, spec.banks)
        risk = "No pair is at risk." if pairs else "This engine has no pair that cross-fires, however its leads lie."
    return (
        f"{spec.title}, firing order {order}. The lead of cylinder {state.picked} lies in holder {HOLDERS[state.holders[state.picked - 1]]}; "
        f"at {FIRING_KV:g} kV it lifts {does}. A later plug asks for about {state.need_kv:.1f} kV then; from 60 per cent of that on, "
        f"a pair counts as at risk. {risk}"
    )


def _lines(at: float, half: float, cells: int, whole: float) -> tuple[int, int]:
    """Grid lines round a place of the picture."""
    first = int(round((at - half) * cells / whole))
    return max(0, first) + 1, min(cells, int(round((at + half) * cells / whole))) + 1


def _area(x: float, y: float) -> str:
    """Where a button lies on the grid. As one: ipywidgets takes rows and columns away again where no area is given."""
    (left, right), (top, bottom) = _lines(x, 2.0, _ACROSS, _ACROSS), _lines(_UP - y, 1.2, 2 * _UP, _UP)
    return f"{top} / {left} / {bottom} / {right}"


def _pegs(engine: str, laid: Holders) -> list[Button]:
    """Buttons over the plan: one on each plug, one at the beginning of each holder's line."""
    where = place(engine)
    made = []

    def peg(x, y, says, act):
        button = Button(
            tooltip=says,
            layout=Layout(grid_area=_area(x, y), width="auto", height="auto"),
        )
        button.on_click(lambda _: act())
        made.append(button.add_class("tm-peg"))

    for number, (x, y) in enumerate(where.plugs, 1):
        peg(x, y, f"Pick the lead of cylinder {number}", lambda number=number: laid.pick(number))
    for bank, lines in enumerate(where.lines):
        side = "" if len(where.lines) == 1 else (" above", " below")[bank]
        for at, y in enumerate(lines):
            peg(68.6, y, f"Lay the picked lead into holder {HOLDERS[at]}{side}", lambda at=at: laid.lay(at))
    return made


def plan_panel(compute: Callable[..., Laid] = compute) -> Panel[Laid]:
    """A plan with leads to lay, for every teaching engine."""
    engine = style.Dropdown(
        options=[(spec.title, key) for key, spec in vehicles().items()], value="brackwater-four", description="Engine"
    )
    engine.style.description_width = "9rem"
    laid = Holders(engine)
    panel = Panel("Lay the leads", {"engine": engine, "laid": laid}, compute, ((Plan(_WIDTH, _HEIGHT), caption),))
    pegs = GridBox(
        _pegs(engine.value, laid),
        layout=Layout(grid_template_columns=f"repeat({_ACROSS}, 1fr)", grid_template_rows=f"repeat({2 * _UP}, 1fr)"),
    ).add_class("tm-pegs")
    panel.stacks[0].children = (*panel.stacks[0].children, pegs)

    def other_engine(_):
        former = pegs.children
        pegs.children = _pegs(engine.value, laid)
        for button in former:
            button.close()

    engine.observe(other_engine, "value")
    return keep_readable(panel, 0, 560)
