"""A module that was issued, then corrected: version 1 took the radius, version 2 takes the diameter."""

from grader.exercise.model import Absolute, Exercise, Module, Number
from grader.exercise.spread import Steps

_FIELDS = {"prompt": "", "unit": "mm", "marks": 2, "step": 0.1, "possible": (0.0, 900.0), "objectives": (),
           "within": Absolute(0.1, "test")}  # fmt: skip


def _rim(version, answer, draw):
    part = Number(key="rim", answer=answer, **_FIELDS)
    return Exercise("m95.rim", version, 1, "Round the rim", "", draw, (part,), lambda v: ())


FIRST = _rim(1, lambda v: 3.141592653589793 * v.size_mm / 2, {"size_mm": Steps(100, 200)})
SECOND = _rim(2, lambda v: 3.141592653589793 * v.size_mm, {"size_mm": Steps(100, 220, 2)})
GONE = Exercise("m95.gone", 1, 1, "Dropped since", "", {"x": Steps(1, 9)}, (
    Number(key="x", answer=lambda v: float(v.x), **_FIELDS),), lambda v: ())  # fmt: skip

BEFORE = Module("m95_test", "Rims", 1, (FIRST, GONE))
NOW = Module("m95_test", "Rims", 1, (SECOND,), old=(FIRST, GONE))
