"""One part of each kind, made for tests: answers are plain, so that a verdict can be foreseen."""

import sys
from dataclasses import is_dataclass
from types import MappingProxyType, SimpleNamespace

from grader.bench.atoms import Atom
from grader.bench.cases import Case
from grader.bench.part import Bench
from grader.exercise.kinds import Choices, PlotReading, Range, Written
from grader.exercise.model import Absolute, Choice, Exercise, Module, Number, Slip
from grader.exercise.part import Critical, Part
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.sorting import EITHER, KEEP, REJECT, Batch, BatchByCost, FiringOrder, Order
from grader.exercise.spread import Steps
from grader.marking.mark import mark_sheet

ROUND = {4: (1, 3, 4, 2), 6: (1, 5, 3, 6, 2, 4), 8: (1, 8, 4, 3, 6, 5, 7, 2)}
LIMIT_KV = 10.0

NUMBER = Number(
    key="gap", prompt="", unit="mm", also=("in",), marks=2, step=0.01, answer=lambda v: v.gap_mm,
    within=Absolute(0.01, "test"), possible=(0.0, 5.0), objectives=("X1",),
)  # fmt: skip
SECOND_NUMBER = Number(
    key="wide", prompt="", unit="mm", also=("in",), marks=2, step=0.01, answer=lambda v: 2 * v.gap_mm,
    within=Absolute(0.01, "test"), possible=(0.0, 5.0), objectives=("X1",),
)  # fmt: skip
RANGE = Range(
    key="dwell", prompt="", unit="° dist", marks=2, step=1, answer=lambda v: (v.dwell - 3.0, v.dwell + 3.0),
    within=Absolute(0.5, "test"), possible=(0.0, 90.0), objectives=("X1",),
    slips=(Slip("complement", "You gave the open angle.", lambda v: (90 - v.dwell - 3.0, 90 - v.dwell + 3.0)),),
)  # fmt: skip
PLOT = PlotReading(
    key="plot", prompt="", unit="kV", marks=1, step=0.1, answer=lambda v: 2.0 * v.load, within=Absolute(0, "test"),
    possible=(0.0, 40.0), objectives=("X2",), minor=1.0, pixel=0.1, reads=MappingProxyType({"load": 0.25}),
)  # fmt: skip
CHOICE = Choice(
    key="one", prompt="", marks=1, options=MappingProxyType({"a": "first", "b": "second"}), answer=lambda v: "a",
    objectives=("X2",),
)  # fmt: skip
CHOICES = Choices(
    key="several", prompt="", marks=3, answer=lambda v: ("a", "c", "d"), objectives=("X2",),
    options=MappingProxyType({"a": "plug wet", "b": "plug white", "c": "lead damp", "d": "cap cracked", "e": "none"}),
    slips=(Slip("wet-only", "A wet plug is one sign of three.", lambda v: ("a",), share=0.25),),
    because=lambda v: {"b": "A white plug burns lean.", "c": "Damp leads leak."},
)  # fmt: skip
ORDER = Order(
    key="steps", prompt="", marks=4, objectives=("X3",), answer=lambda v: ("dwell", "idle", "plug", "read", "turn"),
    items=MappingProxyType({"dwell": "set the dwell", "idle": "bring the idle down", "plug": "plug the line",
                            "read": "read the mark", "turn": "turn the distributor"}),
    critical=(Critical("timing-first", "dwell", "turn", "Dwell first: moving the points moves the timing."),
              Critical("not-plugged", "plug", "read", "Plug the line first, or the vacuum is counted in.")),
    because=lambda v: {("idle", "plug"): "The idle is set with the line on.", "read": "Without it nobody knows."},
)  # fmt: skip
FIRING = FiringOrder(key="firing", prompt="", marks=2, objectives=("X3",), answer=lambda v: ROUND[v.cylinders])
SORTED = {
    "prompt": "", "marks": 4, "objectives": ("X4",),
    "items": lambda v: tuple(f"A{i}" for i in range(1, len(v.fires_kv) + 1)),
    "answer": lambda v: tuple(
        EITHER if abs(kv - LIMIT_KV) <= 0.2 else KEEP if kv < LIMIT_KV else REJECT for kv in v.fires_kv
    ),
    "because": lambda v: {f"A{i}": f"It fires at {kv:g} kV, and {LIMIT_KV:g} are allowed."
                          for i, kv in enumerate(v.fires_kv, start=1) if i != 6},
}  # fmt: skip
BATCH, BY_COST = Batch(key="batch", **SORTED), BatchByCost(key="by_cost", **SORTED)
WRITTEN = Written(
    key="why", prompt="", marks=3, rubric=(("names the idle speed", 1), ("names the weights", 2)),
    answer=lambda v: "At that idle speed the weights already stand out.", objectives=("X5",),
)  # fmt: skip
BENCH = Bench(key="car", prompt="", marks=10, objectives=("X1",))
CAR = Case("brackwater-four", 2, Atom(("lead_leaky",)), 2, 8.0, ("misfire_load", "sluggish"), "00112233445566aa")
PARTS = (NUMBER, SECOND_NUMBER, RANGE, PLOT, CHOICE, CHOICES, ORDER, FIRING, BATCH, BY_COST, WRITTEN, BENCH)
DRAW = {"gap_mm": Steps(40, 90, 1, 100), "dwell": Steps(50, 60), "load": Steps(2, 9), "cylinders": Steps(4, 8, 2)}


def _fill(parameters):
    return {"fires_kv": [7.0, 9.9, 12.0, 8.5, 13.0, 9.0], **CAR.plain}


EXERCISE = Exercise("m98.all", 1, 1, "One of each", "", DRAW, PARTS, lambda v: (), fill=_fill)
MODULE = Module("m98_kinds", "Kinds", 10, (EXERCISE,))
GIVEN = {"gap_mm": 0.64, "dwell": 54, "load": 5, "cylinders": 4, **_fill({}),
         "order_one": ["b", "a"], "order_several": list("badce"),
         "order_steps": ["turn", "read", "plug", "idle", "dwell"]}  # fmt: skip
SPACE = SimpleNamespace(**GIVEN)


def kinds(of=Part):
    """Every kind of answer that the product has."""
    for kind in of.__subclasses__():
        yield from kinds(kind)
        home = sys.modules[kind.__module__]
        # A dataclass with slots is made twice, and the first one may still be about.
        if kind.__module__.startswith("grader.") and is_dataclass(kind) and getattr(home, kind.__name__) is kind:
            yield kind


def issued(**changes):
    return {"m98.all": {"version": 1, "parameters": {**GIVEN, **changes}}}


def marks(given=None, **answers):
    """Verdicts by the part's key; an answer is text, or (text, unit)."""
    entries = {}
    for key, typed in answers.items():
        raw, unit = typed if isinstance(typed, tuple) else (typed, "")
        entries[f"m98.all.{key}"] = Answer(raw, unit)
    return mark_sheet(MODULE, issued(**(given or {})), Sheet("t", MODULE.key, "t01", 1, entries))


def one(key, raw, unit="", **given):
    """The verdict on a single part."""
    return next(part for part in marks(given, **{key: (raw, unit)}).parts if part.path == f"m98.all.{key}")
