"""Exercises on the insulator nose: its temperature, what moves it, and which length suits the work."""

from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from types import MappingProxyType

import numpy as np

from grader.exercise.kinds import PlotReading
from grader.exercise.model import Absolute, Choice, Exercise, Line, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.situations import MANY, by_answer, chosen
from grader.ranges import FloatOrArray
from grader.reference.spark import plug
from grader.units import convert, unit
from grader.vehicle.spec import vehicle, vehicles

# The three noses of the lesson's chart; panel and exercise share them.
NOSES_MM = MappingProxyType({"A": 10.0, "B": 16.0, "C": 22.0})
NEITHER = "none"

_STATE_C = MappingProxyType(
    {
        "fouls": (340, 440),
        "hardly clean": (455, 495),
        "clean": (520, 830),
        "hot": (860, 940),
        "pre-ignites": (960, 1060),
    }
)


def celsius(fahrenheit: FloatOrArray) -> FloatOrArray:
    """Degrees Fahrenheit as degrees Celsius."""
    return convert(fahrenheit, unit("°F"), unit("°C"))


def fahrenheit(celsius: FloatOrArray) -> FloatOrArray:
    """Degrees Celsius as degrees Fahrenheit."""
    return convert(celsius, unit("°C"), unit("°F"))


def _tip_reading(parameters):
    low, high = _STATE_C[parameters["zone"]]
    return {"tip_f": round(fahrenheit(low + (high - low) * parameters["place"] / 40))}


TIP_STATE = Exercise(
    key="m03.tip_state",
    version=1,
    marking=1,
    title="What the thermocouple says",
    text=(
        "A test plug has a thermocouple in the tip of its insulator nose. On the road it shows {tip_f} °F. "
        "Where does this tip stand between fouling and pre-ignition?"
    ),
    # 340 to 1,060 degrees Celsius: from a plug that soots up in town to one that pre-ignites (published limits in plug.py).
    draw={"zone": Pick(tuple(_STATE_C)), "place": Steps(0, 40)},
    fill=_tip_reading,
    parts=(
        Choice(
            key="state", prompt="The tip", marks=1, objectives=("H3",), order="fixed",
            options=MappingProxyType({
                "fouls": "is below 450 °C: soot stays on it.",
                "hardly clean": "is between 450 and 500 °C: soot only just burns off.",
                "clean": "is between 500 and 850 °C: it keeps itself clean and lasts.",
                "hot": "is between 850 and 950 °C: too hot for long, electrodes suffer.",
                "pre-ignites": "is above 950 °C: it can light the charge before the spark.",
            }),
            signs=MappingProxyType(dict.fromkeys(
                _STATE_C, "Take 32 from the reading, divide by 1.8, and compare the result with every limit in the answers."
            )),
            answer=lambda v: plug.nose_state(celsius(v.tip_f)),
            slips=(
                Slip("fahrenheit",
                     "You compared degrees Fahrenheit with limits in Celsius. Take 32 away, then divide by 1.8.",
                     lambda v: plug.nose_state(v.tip_f)),
            ),
        ),
    ),
    route=lambda v: (
        f"({v.tip_f} − 32) ÷ 1.8 = {celsius(v.tip_f):.0f} °C.",
        f"Between the limits 450, 500, 850 and 950 °C that tip counts as “{plug.nose_state(celsius(v.tip_f))}”.",
    ),
)  # fmt: skip


@cache
def nose_tip_c(name: str, load: float) -> float:
    """Tip of one of the three plugs of the chart at a load, everything else in order."""
    return plug.nose_temperature_c(NOSES_MM[name], *plug.gas_side(load))


def _serves(name, loads):
    return all(plug.CLEAN_SURELY_C <= nose_tip_c(name, load) <= plug.HOT_FROM_C for load in loads)


def plug_for(loads: Iterable[float]) -> str:
    """The shortest nose that stays clean and cool enough at every load, or `NEITHER`."""
    return next((name for name in NOSES_MM if _serves(name, loads)), NEITHER)


# Where the two duties are drawn for each answer, in hundredths of full load.
_DUTIES = MappingProxyType(
    {"A": ((86, 94), (96, 100)), "B": ((35, 70), (74, 100)), "C": ((4, 18), (60, 82)), NEITHER: ((4, 18), (96, 100))}
)


def _two_loads(parameters):
    ends = [low + (high - low) * parameters["place"] // 20 for low, high in _DUTIES[parameters["wanted"]]]
    return {"light": ends[0] / 100, "heavy": ends[1] / 100}


TWO_DUTIES = Exercise(
    key="m03.two_duties",
    version=1,
    marking=1,
    title="One plug for two duties",
    text=(
        "Use the chart of the three plugs above, with timing, mixture and seat in order. First read plug {name} at load "
        "{read_load}. Then choose: an engine works sometimes at load {light} and sometimes at load {heavy} (0 is light, 1 is heavy). "
        "Its maker's list allows A, B and C. The tip must stay between 500 and 850 °C (932 and 1562 °F) at both. "
        "Where more than one plug does it, take the shorter nose: it stays farther from pre-ignition."
    ),
    # Loads from idling about to full throttle; the tips that belong to them lie between 270 and 900 degrees Celsius.
    draw={
        "name": Pick(tuple(NOSES_MM)),
        "read_load": Steps(6, 96, 2, scale=100),
        "wanted": Pick(tuple(_DUTIES)),
        "place": Steps(0, 20),
    },
    fill=_two_loads,
    parts=(
        PlotReading(
            key="reading", prompt="Tip of the first plug, read off the chart", unit="°C", also=("°F",), marks=1, step=5,
            minor=10.0, answer=lambda v: nose_tip_c(v.name, round(v.read_load, 4)), reads=MappingProxyType({"read_load": 0.01}),
            within=Absolute(6, "half a division of the chart"), possible=(0.0, 1200.0), objectives=("H2", "H4", "H7"),
            slips=(
                Slip("other-curve",
                     "You read another plug's curve. The longest nose is the uppermost line, the shortest the lowest.",
                     lambda v: nose_tip_c({"A": "B", "B": "C", "C": "B"}[v.name], round(v.read_load, 4))),
                Slip("fahrenheit",
                     "You read the Fahrenheit scale on the right. Choose °F as the unit, or read on the left.",
                     lambda v: fahrenheit(nose_tip_c(v.name, round(v.read_load, 4))), share=0.5),
            ),
        ),
        Choice(
            key="plug", prompt="Which plug serves both duties?", marks=2, objectives=("H2", "H6"), order="fixed",
            options=MappingProxyType({
                "A": "Plug A, the short nose.",
                "B": "Plug B, the middle nose.",
                "C": "Plug C, the long nose.",
                NEITHER: "None of the three stays inside at both.",
            }),
            signs=MappingProxyType({
                "A": "Read curve A at both loads, against 500 and 850 °C: it does not stay inside at both.",
                "B": "Read curve B at both loads, against 500 and 850 °C; where it stays inside, ask whether a shorter nose does, too.",
                "C": "Read curve C at both loads, against 500 and 850 °C; where it stays inside, ask whether a shorter nose does, too.",
                NEITHER: "Read all three curves at both loads: one of them stays between 500 and 850 °C.",
            }),
            answer=lambda v: plug_for((v.light, v.heavy)),
            slips=(
                Slip("light-only",
                     "Your plug stays clean at the light duty but goes above 850 °C at the heavy one. Check both ends.",
                     lambda v: plug_for((v.light,))),
                Slip("heavy-only",
                     "Your plug is cool enough at the heavy duty but falls below 500 °C at the light one. Check both ends.",
                     lambda v: None if plug_for((v.heavy,)) == plug_for((v.light,)) else plug_for((v.heavy,))),
            ),
        ),
    ),
    route=lambda v: (
        Line(f"Plug {v.name} at load {v.read_load}: {nose_tip_c(v.name, v.read_load):.0f} °C.", "reading"),
        *(
            Line(
                f"Plug {name}: {nose_tip_c(name, v.light):.0f} °C at load {v.light}, "
                f"{nose_tip_c(name, v.heavy):.0f} °C at load {v.heavy}.",
                *(("plug", "reading") if name == v.name else ("plug",)),  # the loads may lie close to the one read
            )
            for name in NOSES_MM
        ),
        Line(
            {NEITHER: "None stays between 500 and 850 °C at both."}.get(
                plug_for((v.light, v.heavy)), f"Plug {plug_for((v.light, v.heavy))} is the shortest that stays inside."
            ),
            "plug",
        ),
    ),
)  # fmt: skip


# What was found of timing, mixture and seat, and which way it moves the tip.
_FACTS = MappingProxyType(
    {
        "timing": {"early": 1, "late": -1, "right": 0},
        "mixture": {"rich": -1, "right": 0},
        "seat": {"loose": 1, "tight": 0, "unchecked": 0},
    }
)
_FACT_WORDS = MappingProxyType(
    {
        "timing": {
            "early": "The spark comes {over}° too early.",
            "late": "The spark comes {over}° too late.",
            "right": "Timing is right.",
        },
        "mixture": {"rich": "The mixture is rich.", "right": "Mixture is right."},
        "seat": {
            "loose": "The plug was only finger-tight.",
            "tight": "The plug sits tight on a clean seat.",
            "unchecked": "Nobody has looked at the seat.",
        },
    }
)


def _explained(moved, timing, mixture, seat):
    """What explains a tip that is hotter (1), cooler (-1) or as the chart says; None where nobody could tell."""
    states = {"timing": timing, "mixture": mixture, "seat": seat}
    ways = {name: _FACTS[name][state] for name, state in states.items() if _FACTS[name][state]}
    if len(ways) > 1 or (ways and seat == "unchecked"):
        return None
    if ways:
        ((name, way),) = ways.items()
        return name if way == moved else None
    if moved == 0:
        return "nothing" if seat == "tight" else None
    return "look" if seat == "unchecked" and moved > 0 else "nose"


_FINDINGS = by_answer({"moved": (1, -1, 0), **{name: tuple(states) for name, states in _FACTS.items()}}, _explained)


_LOADED = ("B", "C")  # noses that timing and mixture move by 38 °C and more
_SHORT = ("A", "B")  # noses that a loose seat moves by 30 °C and more
_OTHER = MappingProxyType(
    {("A", 1): "B", ("B", 1): "C", ("B", -1): "A", ("C", -1): "B"}
)  # fitted in place of, hotter or cooler


def _measured(parameters):
    """A finding at a load: its facts, and what the thermocouple in the plug shows by the teaching model."""
    spec = vehicle(parameters["vehicle"])
    facts, load, name = (
        dict(chosen(_FINDINGS[parameters["cause"]], parameters["which"])),
        parameters["load"],
        parameters["name"],
    )
    cause, over, air, loose = parameters["cause"], 0, 1.0, 0.0
    if cause in ("timing", "mixture"):
        name = name if name in _LOADED else "B"
    elif cause in ("seat", "look"):
        name, loose = (name if name in _SHORT else "B"), 1.0
    elif cause == "nose" and (name, facts["moved"]) not in _OTHER:
        name = "B"
    if cause == "timing":
        over = facts["moved"] * parameters["over"]
    elif cause == "mixture":
        air = 0.8
    fitted = _OTHER[name, facts["moved"]] if cause == "nose" else name
    shown = plug.nose_temperature_c(NOSES_MM[fitted], *plug.gas_side(load, over, air, loose))
    reach = round(nose_tip_c(name, parameters["at_load"]))
    return {**facts, "title": spec.title, "name": name, "shown_c": 5 * round(float(shown) / 5), "reach_c": reach}


_LOADS = tuple(step / 200 for step in range(201))


def _load_of(name, tip_c):
    """The load at which a plug's tip is so hot, or None where none is."""
    tips = [nose_tip_c(name, load) for load in _LOADS]
    return float(np.interp(tip_c, tips, _LOADS)) if tips[0] <= tip_c <= tips[-1] else None


TIP_MOVES = Exercise(
    key="m03.tip_moves",
    version=2,
    marking=1,
    title="What moved the tip?",
    text=(
        "Use the chart of the three plugs again; it holds for timing, mixture and seat in order. At which load does the "
        "tip of plug {name} reach {reach_c} °C ({reach_f} °F)? Then the {title}, whose list asks for {name}, is driven with a test plug from the shelf. It shows {shown_c} °C ({shown_f} °F) at "
        "load {load}. {facts} What explains that reading?"
    ),
    # A spark 10 to 14 degrees out, a mixture a fifth too rich, a plug finger-tight: what is found on neglected engines (practice).
    draw={
        "vehicle": Pick(tuple(vehicles())), "name": Pick(tuple(NOSES_MM)), "at_load": Steps(4, 98, 2, scale=100),
        "load": Steps(40, 90, 2, scale=100), "cause": Pick(tuple(_FINDINGS)), "which": MANY, "over": Steps(10, 14),
    },
    fill=_measured,
    show=lambda v: {
        "shown_f": f"{fahrenheit(v.shown_c):.0f}",
        "reach_f": f"{fahrenheit(v.reach_c):.0f}",
        "facts": " ".join(_FACT_WORDS[name][getattr(v, name)].format(over=v.over) for name in _FACTS),
    },
    parts=(
        PlotReading(
            key="load", prompt="Load at which the tip reaches that temperature", unit="", marks=1, step=0.01, minor=0.02,
            answer=lambda v: _load_of(v.name, v.reach_c), within=Absolute(0.035, "half a division of either scale of the chart"),
            possible=(0.0, 1.0), objectives=("H4", "H7"),
            slips=(
                Slip("other-curve",
                     "You read another plug's curve. The longest nose is the uppermost line, the shortest the lowest.",
                     lambda v: _load_of({"A": "B", "B": "C", "C": "B"}[v.name], v.reach_c)),
            ),
        ),
        Choice(
            key="cause", prompt="What explains the reading of the test plug", marks=2, objectives=("H1", "H4", "H7"),
            options=MappingProxyType({
                "timing": "The timing.",
                "mixture": "The mixture.",
                "seat": "The seat: there the way of the heat is poor.",
                "nose": "Another nose: it is longer or shorter than it should be.",
                "look": "Cannot tell yet: look at the seat first.",
                "nothing": "Nothing has to be explained: the tip is as the chart says.",
            }),
            signs=MappingProxyType({
                "timing": "Timing explains it where the spark is early and the tip too hot, or late and too cool.",
                "mixture": "Mixture explains it where it is rich and the tip too cool.",
                "seat": "A seat explains it where the plug is loose and the tip too hot.",
                "nose": "Another nose is left where timing, mixture and seat cannot explain a tip too hot or too cool.",
                "look": "The seat comes first where a tip is too hot, the rest is right and nobody has looked at the seat.",
            }),
            answer=lambda v: v.cause,
            slips=(
                Slip("chart-forgotten",
                     "Read the chart at that load first. The test plug shows clearly more or less.",
                     lambda v: "nothing" if v.moved else None),
                Slip("seat-cools",
                     "A poor seat keeps heat in, so it makes a tip hotter. This tip is too cool.",
                     lambda v: {"unchecked": "look"}.get(v.seat) if v.moved < 0 else None),
            ),
        ),
    ),
    route=lambda v: (
        Line(f"Plug {v.name} reaches {v.reach_c} °C at load {_load_of(v.name, v.reach_c):.2f}.", "load"),
        Line(f"At load {v.load} the chart shows {nose_tip_c(v.name, v.load):.0f} °C for it.", "cause"),
        Line(
            f"The test plug shows {v.shown_c} °C: "
            + {1: "too hot.", -1: "too cool.", 0: "as the chart says."}[v.moved],
            "cause",
        ),
        Line({
            "timing": "An early spark heats the tip, a late one cools it.",
            "mixture": "A rich mixture cools the tip.",
            "seat": "A loose plug cannot give its heat to the head.",
            "nose": "All that could explain it is right, so compare the nose with the list.",
            "look": "The seat may explain a tip that is too hot, and nobody has looked at it.",
            "nothing": "Nothing has to be explained.",
        }[v.cause], "cause"),
    ),
)  # fmt: skip

# Issued when one load was right for one trainee in ten.
TIP_MOVES_NARROW = replace(TIP_MOVES, version=1, draw={**TIP_MOVES.draw, "at_load": Steps(10, 94, 2, scale=100)})
