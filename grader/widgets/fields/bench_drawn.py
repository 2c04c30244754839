"""What the page of the bench shows: the vehicle as a plan, readings as a mechanic sees them, the look back, the chart.

All is drawn here as SVG, in the inks of the panels. Nothing is told by a picture alone: the
words beside it say the same, so screen readers pass over them.
"""

from collections.abc import Mapping, Sequence
from html import escape
from math import cos, pi, sin
from types import MappingProxyType
from typing import Any

from grader.bench.chart import Chart, Node
from grader.bench.debrief import Debrief, Told
from grader.bench.instruments import Figure, instrument, phrase
from grader.bench.session import Step
from grader.bench.signs import signs
from grader.vehicle.spec import Vehicle
from grader.widgets import style

# Where on the plan a word stands and what can be reached there; the keys are those of the bench's places.
WORDS_ON_PLAN = MappingProxyType(
    {
        "seat": "wheel, owner", "battery": "battery", "coil": "coil", "points": "points", "timing": "mark, vacuum",
        "leads": "cap, leads", "plugs": "plugs", "engine": "air, bonnet", "shelf": "parts", "say": "job card",
    }
)  # fmt: skip
_WIDTH, _HEIGHT = 640, 330
_SPARKY = MappingProxyType(
    {"lead": "a lead", "cap": "the cap", "coil": "the coil", "cross": "two leads", "many": "everywhere"}
)


def _tag(name: str, text: str = "", **attributes: Any) -> str:
    told = "".join(f' {key.rstrip("_").replace("_", "-")}="{value}"' for key, value in attributes.items())
    return f"<{name}{told}>{text}</{name}>" if text else f"<{name}{told}/>"


def _line(x1: float, y1: float, x2: float, y2: float, **more: Any) -> str:
    return _tag("line", x1=f"{x1:.1f}", y1=f"{y1:.1f}", x2=f"{x2:.1f}", y2=f"{y2:.1f}", stroke=style.INK, **more)


def _circle(x: float, y: float, r: float, fill: str = style.PAPER, **more: Any) -> str:
    return _tag("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=f"{r:.1f}", fill=fill, stroke=style.INK, **more)


def _box(x: float, y: float, width: float, height: float, fill: str = style.PAPER, **more: Any) -> str:
    return _tag("rect", x=f"{x:.1f}", y=f"{y:.1f}", width=f"{width:.1f}", height=f"{height:.1f}", fill=fill,
                stroke=style.INK, **more)  # fmt: skip


def _text(x: float, y: float, words: str, size: float = 18, anchor: str = "middle") -> str:
    return _tag("text", escape(words), x=f"{x:.1f}", y=f"{y:.1f}", text_anchor=anchor, font_size=size, fill=style.INK)


def _svg(width: float, height: float, parts: Sequence[str], kind: str) -> str:
    return (
        f'<svg class="{kind}" viewBox="0 0 {width:g} {height:g}" aria-hidden="true" focusable="false" '
        f'style="max-width:{width:g}px">{"".join(parts)}</svg>'
    )


def plan(spec: Vehicle, here: str) -> str:
    """The vehicle from above as SVG: what can be reached, and where one stands now.

    Parameters
    ----------
    spec : Vehicle
    here : str
        Place that is framed.
    """
    cylinders = _cylinders(spec)
    shapes = {
        "seat": (_circle(62, 66, 34) + _circle(62, 66, 8, style.GREY) + _line(30, 66, 94, 66) + _line(62, 66, 62, 99), 76, 126),
        "battery": (_box(22, 196, 92, 58) + _circle(42, 190, 6, style.RED) + _circle(94, 190, 6, style.INK), 68, 282),
        "coil": (_box(152, 40, 40, 78, rx=8) + _box(164, 24, 16, 16, style.GREY), 172, 142),
        "engine": (_circle(476, 66, 38) + _circle(476, 66, 14, style.GREY), 476, 126),
        "leads": (_distributor_cap(cylinders["ends"]), 300, 20),
        "plugs": ("".join(cylinders["rounds"]), 390, 318),
        "points": (_circle(300, 74, 17, style.SKY) + _line(293, 80, 307, 68), 232, 104),
        "timing": (_pulley(), 196, 318),
        "shelf": (_line(536, 96, 630, 96) + _box(546, 66, 22, 30) + _circle(588, 84, 12) + _box(608, 72, 14, 24), 583, 120),
        "say": (_box(544, 168, 78, 100) + "".join(_line(556, 190 + 18 * row, 610, 190 + 18 * row) for row in range(4)), 583, 292),
    }  # fmt: skip
    parts = [_box(146, 158, 372, 142, "#f2f2f2", rx=10)]
    for key, (shape, x, y) in shapes.items():
        chosen = key == here or (here == "over" and key == "say")
        label = _text(x, y, WORDS_ON_PLAN[key])
        parts.append(
            f'<g data-bench-place="{key}" class="{"tm-here" if chosen else ""}" stroke-width="{4 if chosen else 1.6}">'
            f'{shape}<g stroke="none">{label}</g></g>'
        )
    return _svg(_WIDTH, _HEIGHT, parts, "tm-bench-plan")


def _cylinders(spec: Vehicle) -> dict[str, list]:
    """Circles with their numbers, in one row or two, and where each plug's lead ends."""
    rows = spec.banks if len(spec.banks) > 1 else (tuple(range(1, spec.cylinders + 1)),)
    rounds, ends = [], []
    for line, bank in enumerate(rows):
        y = 228 if len(rows) == 1 else 196 + 62 * line
        step = 222 / max(len(bank) - 1, 1)
        for place, number in enumerate(bank):
            x = 268 + place * step
            rounds.append(_circle(x, y, 20))
            rounds.append(f'<g stroke="none">{_text(x, y + 6, str(number), 17)}</g>')
            ends.append((x, y - 20))
    return {"rounds": rounds, "ends": ends}


def _distributor_cap(ends: Sequence[tuple[float, float]]) -> str:
    count = len(ends)
    parts = []
    for place, (x, y) in enumerate(sorted(ends)):
        angle = pi - (place + 0.5) * pi / count
        from_x, from_y = 300 + 34 * cos(angle), 74 + 34 * sin(angle)
        parts.append(
            f'<path d="M{from_x:.1f} {from_y:.1f}Q{from_x:.1f} {(from_y + y) / 2 + 12:.1f} {x:.1f} {y:.1f}" '
            f'fill="none" stroke="{style.INK}"/>'
        )
    coil_lead = f'<path d="M172 24Q236 -4 300 42" fill="none" stroke="{style.INK}"/>'
    return "".join(parts) + coil_lead + _circle(300, 74, 34, "none")


def _pulley() -> str:
    ticks = "".join(
        _line(190 + 40 * cos(a), 228 + 40 * sin(a), 190 + 46 * cos(a), 228 + 46 * sin(a))
        for a in (-2.0, -1.8, -1.6, -1.4)
    )
    unit = (
        _circle(360, 74, 15)
        + _line(334, 74, 345, 74)
        + f'<path d="M375 74L438 66" fill="none" stroke="{style.INK}" stroke-dasharray="6 3"/>'
    )
    return _circle(190, 228, 35) + _circle(190, 228, 8, style.GREY) + _line(190, 228, 185, 194) + ticks + unit


# Readings.

# Ends of the scale on which a sign is read; more where the reading lies beyond.
_SCALES: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "crank_v": (0, 14), "feed": (0, 16), "feed_crank": (0, 14), "drop": (0, 1), "open_v": (0, 16), "condenser": (0, 1),
        "dwell": (0, 90), "dwell_top": (-15, 15), "mark": (-20, 40), "rise_mid": (0, 40), "rise_top": (0, 40),
        "line_on": (-10, 30), "idle_rpm": (0, 1600), "pump": (0, 15), "tdc": (-20, 20), "coil_kv": (0, 40),
        "vacuum": (0, 30), "vac_hold": (0, 30), "lead_crank": (0, 40), "lead_kv": (0, 40), "lead_ohm": (0, 30),
        "tester": (0, 160), "cutout": (0, 120), "compression": (0, 200), "plugs": (0, 2),
    }
)  # fmt: skip
_ANGLES = ("mark", "rise_mid", "rise_top", "line_on", "tdc")
_NO_SCALE = ("swing",)  # how far a needle swings is no place on its scale


def readings(figures: Sequence[Figure], results: Mapping[str, str], places: Mapping[str, Sequence[int]]) -> str:
    """What was read as pictures, one below the other: marks on a scale, needles, bars, plugs, sparks."""
    by_sign: dict[str, list[Figure]] = {}
    for figure in figures:
        by_sign.setdefault(figure.sign, []).append(figure)
    drawn = []
    for sign, mine in by_sign.items():
        if sign == "plugs":
            continue
        if len(mine) > 3:
            drawn += [_bars(sign, of_what, run) for of_what, run in _runs(mine).items()]
        else:
            drawn += [_scale(sign, figure) for figure in mine if figure.label not in _NO_SCALE]
    if "plugs" in results:
        drawn.append(_plugs(results["plugs"], by_sign.get("plugs", []), places.get("plugs", ())))
    if results.get("dark") in _SPARKY:
        drawn.append(_spark(_SPARKY[results["dark"]]))
    return "".join(drawn)


def told(step: Step) -> str:
    """HTML: what an act came to, in words; figures of many cylinders stand in one run after their sign."""
    title = f"<strong>{escape(instrument(step.instrument).title)}.</strong> " if step.instrument else ""
    if not step.instrument or not step.figures or set(step.results) - set(signs()):
        return title + escape(" ".join(step.sentences))
    lines = []
    for place, sign in enumerate(step.results):
        mine = [figure for figure in step.figures if figure.sign == sign]
        if not mine:
            lines.append(escape(step.sentences[place]))
            continue
        where = step.places.get(sign, ())
        at = f" (number {' and '.join(map(str, where))})" if where else ""
        name, words = escape(signs()[sign].title), f"<strong>{escape(phrase(sign, step.results[sign]))}{at}</strong>"
        if len(mine) <= 3:
            figures = ", ".join(f"{figure.label} {in_words(figure)}".strip() for figure in mine)
            lines.append(f"{name} {escape(figures)}: {words}.")
            continue
        runs = "; ".join(
            f"{f'{of_what} ' if of_what else ''}{', '.join(_number(figure.value) for figure in run)} {run[0].unit}".strip()
            for of_what, run in _runs(mine).items()
        )
        lines.append(f"{name}: {words}. From number 1 on: {escape(runs)}.")
    return title + " ".join(lines)


def in_words(figure: Figure) -> str:
    """A figure as a mechanic says it: a mark before or after top dead centre, degrees with their sign, microfarads."""
    if figure.sign == "mark":
        side = "before" if figure.value > 0 else "after"
        return f"{_number(abs(figure.value))}° {side} top dead centre" if figure.value else "at top dead centre"
    if figure.unit.endswith("°"):
        return f"{_number(figure.value)}°"
    return f"{_number(figure.value)} {_unit(figure.unit)}".strip()


def _unit(unit: str) -> str:
    return {"uF": "µF", "crank °": "degrees", "distributor °": "degrees"}.get(unit, unit)


def _number(value: float) -> str:
    return f"{value:g}".replace("-", "−")


def _runs(figures: Sequence[Figure]) -> dict[str, list[Figure]]:
    """Figures of many cylinders by what is said of each besides its number: idle and top, dry and oiled."""
    runs: dict[str, list[Figure]] = {}
    for figure in figures:
        numbered = figure.label.startswith("number ")
        runs.setdefault(" ".join(figure.label.split()[2:]) if numbered else figure.label, []).append(figure)
    return runs


def _ends(sign: str, values: Sequence[float]) -> tuple[float, float]:
    low, high = _SCALES.get(sign, (0.0, 1.0))
    while max(values) > high:  # another range of the instrument, whose scale divides as well
        high *= 2
    while min(values) < low:
        low = 2 * low if low < 0 else -high
    return low, high


def _caption(sign: str, of_what: str, unit: str) -> str:
    return ", ".join(filter(None, (signs()[sign].title, of_what, _unit(unit))))


def _scale(sign: str, figure: Figure) -> str:
    """A scale with its needle; an angle as a mark that stands against its scale."""
    low, high = _ends(sign, [figure.value])
    at = 20 + 280 * (figure.value - low) / (high - low)
    ticks = []
    for step in range(11):
        x, long = 20 + 28 * step, step % 5 == 0
        ticks.append(_line(x, 60, x, 48 if long else 53))
        if long:
            ticks.append(_text(x, 78, _number(round(low + (high - low) * step / 10, 2)), 13))
    if sign in _ANGLES:
        mark = f'<path d="M{at:.1f} 60L{at - 7:.1f} 32L{at + 7:.1f} 32Z" fill="{style.BLUE}"/>'
    else:
        mark = _line(at, 60, at, 28, stroke_width=4)
    name = _text(20, 18, _caption(sign, figure.label, figure.unit), 13, "start")
    return _svg(420, 84, [name, _line(20, 60, 300, 60), *ticks, mark], "tm-bench-scale")


def _bars(sign: str, of_what: str, figures: Sequence[Figure]) -> str:
    low, high = _ends(sign, [figure.value for figure in figures])
    width = max(30, min(44, 600 // len(figures)))
    parts = [
        _text(8, 16, _caption(sign, of_what, figures[0].unit), 13, "start"),
        _line(8, 118, 12 + width * len(figures), 118),
    ]
    for place, figure in enumerate(figures):
        tall = 74 * (figure.value - min(low, 0)) / (high - min(low, 0))
        x = 12 + width * place
        parts.append(_box(x + 3, 118 - tall, width - 8, max(tall, 1), "#cfe3f1"))
        parts.append(_text(x + width / 2, 112 - tall, _number(figure.value), 12))
        parts.append(_text(x + width / 2, 134, _short(figure.label), 12))
    return _svg(max(380, 20 + width * len(figures)), 140, parts, "tm-bench-bars")


def _short(label: str) -> str:
    """A label under a bar: "number 3 idle" as 3, the coil lead and the new plug by a letter."""
    words = label.split()
    return words[1] if words[:1] == ["number"] else words[0][:4] if words else ""


_NOSES = MappingProxyType(
    {"tan": "#cdb99a", "soot": "#26221f", "oil": "#26221f", "wet": "#5a6b78", "white": "#fbfaf5", "worn": "#cdb99a",
     "narrow": "#cdb99a", "bridged": "#cdb99a"}
)  # fmt: skip


def _plugs(word: str, gaps: Sequence[Figure], places: Sequence[int]) -> str:
    """A row of plugs as they come out: nose, electrode and gap; the odd ones where the word is of one or two."""
    kind = word.split("_")[0]
    parts = []
    for number, gap in enumerate(gaps, 1):
        odd = not places or number in places
        parts.append(_plug(34 + 66 * (number - 1), kind if odd else "tan", gap.value))
        parts.append(_text(34 + 66 * (number - 1), 114, str(number), 14))
    return _svg(20 + 66 * len(gaps), 120, parts, "tm-bench-bars") if gaps else ""


def _plug(x: float, kind: str, gap_mm: float) -> str:
    """One plug, nose down: hexagon, thread, nose with its colour, centre electrode, gap and side electrode."""
    steel, wide = "#a3a9ae", 4 + 10 * min(gap_mm, 1.8)
    threads = "".join(_line(x - 13, y, x + 13, y + 2, stroke_width=1) for y in (23, 28, 33, 38))
    nose = f'<path d="M{x - 9} 42L{x - 5} 62H{x + 5}L{x + 9} 42Z" fill="{_NOSES.get(kind, "#cdb99a")}" stroke="{style.INK}"/>'
    worn = kind == "worn"
    centre = _line(x, 62, x, 67, stroke_width=5, **({"stroke_linecap": "round"} if worn else {}))
    side = (
        f'<path d="M{x + 13} 42V{69 + wide:.1f}H{x - 6}" fill="none" stroke="{style.INK}" stroke-width="{3 if worn else 4}" '
        'stroke-linejoin="round"/>'
    )
    signs_of = ""
    if kind in ("oil", "wet"):
        signs_of = f'<path d="M{x - 3} 48l4 10h-8z" fill="{style.SKY}" stroke="{style.INK}" stroke-width="0.8"/>'
    if kind == "bridged":
        signs_of = _box(x - 3, 66, 6, wide + 2, style.INK)
    if kind == "white":
        signs_of = "".join(_circle(x + dx, y, 1.6, style.GREY) for dx, y in ((-4, 47), (3, 50), (-1, 56)))
    return _box(x - 17, 6, 34, 13, steel) + _box(x - 13, 19, 26, 23, steel) + threads + nose + centre + side + signs_of


def _spark(where: str) -> str:
    flash = f'<path d="M40 8L28 34H40L30 60L58 26H44L52 8Z" fill="{style.SKY}" stroke="{style.PAPER}"/>'
    return _svg(220, 68, [_box(0, 0, 220, 68, style.INK), flash, _tag("text", escape(where), x=76, y=42, font_size=18, fill="#ffffff")],
                "tm-bench-scale")  # fmt: skip


def shares(rows: Sequence[tuple[str, float]]) -> str:
    """A shortlist as a list with bars: (words, share 0 to 1)."""
    lines = "".join(
        f'<li><span class="tm-bench-share" style="--share:{100 * share:.0f}%" aria-hidden="true"></span>'
        f"{escape(words)}: {100 * share:.0f} of 100</li>"
        for words, share in rows
    )
    return f'<ul class="tm-bench-shares">{lines}</ul>'


def looked_back(after: Debrief) -> str:
    """HTML: the road that was taken, step by step with its reason then, and one best road beside it."""
    steps = "".join(_step_looked_at(step) for step in after.steps)
    best = "".join(f"<tr><td>{escape(what)}</td><td>{minutes:.0f}</td></tr>" for what, minutes in after.best_road)
    return (
        f'<div class="tm-bench-back"><details><summary>Look back: your road step by step, and one best road</summary>'
        f"<p>Wrong was: {escape(' and '.join(after.truth))}. Your road took {after.minutes:.0f} minutes with its parts, "
        f"one best road {after.best_minutes:.0f}.</p><ol>{steps}</ol>"
        f"<table><caption>One best road</caption><thead><tr><th>What</th><th>Minutes</th></tr></thead><tbody>{best}</tbody></table>"
        f"</details></div>"
    )


def _step_looked_at(step: Told) -> str:
    left = "; ".join(f"{title} {100 * share:.0f}" for title, share in step.possible if share >= 0.005)
    possible = f" <em>Possible before it, of 100: {escape(left)}.</em>" if step.best and left else ""
    return f"<li><strong>{escape(step.did)}.</strong> {escape(step.says)}{possible}</li>"


def troubleshooting(plan: Chart) -> str:
    """HTML: the chart of a complaint as lists in lists: the next test with its minutes, and by its result what comes then."""
    held = f"It covers {100 * plan.held:.0f} of 100 such cars; one needs {plan.minutes:.0f} minutes on the average."
    return f"<p><strong>“{escape(plan.words)}”</strong> {held}</p>{_node(plan.root)}"


def _node(node: Node) -> str:
    if not node.test:
        causes = "; ".join(f"{title} ({100 * share:.0f} of 100)" for title, share in node.causes[:3] if share >= 0.005)
        return f"<ul><li>Prove: {escape(causes)}</li></ul>"
    branches = "".join(
        f"<li>{escape(branch.result)} ({100 * branch.share:.0f} of 100){_node(branch.then)}</li>"
        for branch in node.branches
    )
    return f"<ul><li><strong>{escape(node.title)}</strong> ({node.minutes:.0f} minutes)<ul>{branches}</ul></li></ul>"
