"""Plug testing: a gauge off zero, and a batch from a tester that may itself be at fault."""

from dataclasses import replace
from functools import cache
from types import MappingProxyType, SimpleNamespace

import numpy as np

from grader import tables
from grader.errors import BadTable
from grader.exercise import listing
from grader.exercise.model import Absolute, Choice, Exercise, Line, Number, Slip
from grader.exercise.sorting import EITHER, KEEP, REJECT, Batch, by_cost
from grader.exercise.spread import Pick, Steps
from grader.modules.plug_testing.firing import POINTS, both, percent_low
from grader.reference.spark import tester

COLUMNS = ("batch", "step", "what", "plug", "reading_psig")
TURNS = (0.0, 12.0, 24.0)  # plugs tested before each reading of the new plug
READ_TO_PSI = 2.0  # what a gauge can be read and trusted to
ZERO_TRUSTED_PSI, STEADY_SHARE = 4.0, 0.06  # beyond these the tester, not the plug, is looked at
_SAID = MappingProxyType({
    "sound": "the tester is sound.",
    "drift": "it weakens in the run; take the new plug's reading at each plug's turn.",
    "zero": "the gauge is off zero; take that off every reading.",
    "weak": "it is weaker than yesterday but steady; judge by today's new plug.",
})  # fmt: skip


def _used_on_bad_gauge(parameters):
    true = (parameters["new_psig"] - parameters["zero_psi"]) * parameters["share"] / 100
    return {"used_psig": round(true + parameters["zero_psi"])}


ZERO = Exercise(
    key="m04.gauge_zero",
    version=1,
    marking=1,
    title="A gauge that does not come back to zero",
    text=(
        "With the chamber open to the air the tester's gauge stands at {zero} instead of zero. With it a new plug reads "
        "{new} and a used one {used}. By how many per cent does the used plug really fire below the new one, on a true "
        "gauge?"
    ),
    # A gauge 6 to 15 psi off zero; behind it a new plug of 75 to 120 psi and a used one of 55 to 85 per cent of it (practice).
    draw={"zero_psi": Steps(6, 15), "new_psig": Steps(92, 126), "share": Steps(56, 84)},
    fill=_used_on_bad_gauge,
    show=lambda v: {"zero": both(v.zero_psi), "new": both(v.new_psig), "used": both(v.used_psig)},
    parts=(
        Number(
            key="drop", prompt="Below the new plug, truly", unit="%", marks=2, step=0.1,
            answer=lambda v: percent_low(v.new_psig - v.zero_psi, v.used_psig - v.zero_psi),
            within=POINTS, possible=(0.0, 100.0), objectives=("P5", "P2"),
            slips=(
                Slip("left-in",
                     "You used the readings as they stand. The gauge adds the same amount to both: take it off both first.",
                     lambda v: percent_low(v.new_psig, v.used_psig)),
                Slip("added",
                     "You added the gauge's error. It already stands in the readings: take it off.",
                     lambda v: percent_low(v.new_psig + v.zero_psi, v.used_psig + v.zero_psi)),
                Slip("one-only",
                     "You corrected the used plug only. The same gauge read the new plug too.",
                     lambda v: percent_low(v.new_psig, v.used_psig - v.zero_psi)),
            ),
        ),
    ),
    route=lambda v: (
        f"True readings: {v.new_psig} − {v.zero_psi} = {v.new_psig - v.zero_psi} and {v.used_psig} − {v.zero_psi} "
        f"= {v.used_psig - v.zero_psi} psi.",
        f"Below: {v.new_psig - v.used_psig} ÷ {v.new_psig - v.zero_psi} = "
        f"{percent_low(v.new_psig - v.zero_psi, v.used_psig - v.zero_psi):.1f} per cent.",
    ),
)  # fmt: skip


def _batches():
    """The readings of datasets/plug_batches.csv by batch."""
    batches = {}
    for row in tables.rows("plug_batches.csv", COLUMNS):
        batch = batches.setdefault(row["batch"], {"plug": [], "reference": []})
        if row["what"] in ("plug", "reference"):
            batch[row["what"]].append(int(row["reading_psig"]))
        else:
            batch[row["what"]] = int(row["reading_psig"])
    return MappingProxyType(batches)


BATCHES = _batches()


def _own_readings(parameters):
    """The batch as a tester of somewhat more or less voltage would have read it."""
    batch, share = BATCHES[parameters["batch"]], parameters["percent"] / 100
    zero = batch["open"]

    def read(psig):
        return round(tester.gauge_psig(tester.absolute_psia(psig - zero) * share)) + zero

    return {
        "zero_psi": zero,
        "log_psig": read(batch["log"]),
        "references": [read(psig) for psig in batch["reference"]],
        "readings": [read(psig) for psig in batch["plug"]],
    }


def _true_references(v):
    """What the new plug would have read, on a true gauge, at the turn of each plug."""
    return _interpolated(tuple(v.references), v.zero_psi, len(v.readings))


@cache
def _interpolated(references, zero_psi, plugs):
    turns = [k + 0.5 for k in range(plugs)]
    return np.interp(turns, TURNS, [psig - zero_psi for psig in references])


def pattern(v: SimpleNamespace) -> str:
    """What a batch says about its tester before any plug is judged."""
    first, last = v.references[0], v.references[-1]
    if v.zero_psi >= ZERO_TRUSTED_PSI:
        return "zero"
    if tester.pressure_drop(first, min(last, first)) > STEADY_SHARE:
        return "drift"
    return "weak" if tester.pressure_drop(v.log_psig, min(first, v.log_psig)) > STEADY_SHARE else "sound"


def odd_place(v: SimpleNamespace) -> int | None:
    """Place, from 0, of the reading that does not belong: Grubbs's test on used over new."""
    return _odd(tuple(v.readings), tuple(v.references), v.zero_psi)


@cache
def _odd(readings, references, zero_psi):
    shares = (np.array(readings) - zero_psi) / _interpolated(references, zero_psi, len(readings))
    place, distance, critical = tester.outlier(shares)
    return place if distance > critical else None


def _odd_number(v) -> int:
    """Number of the plug at that place, from 1; a batch without one cannot be asked about."""
    place = odd_place(v)
    if place is None:
        raise BadTable("datasets/plug_batches.csv: a batch has no reading that stands out from the others.")
    return place + 1


def decisions(v: SimpleNamespace) -> tuple[str, ...]:
    """Keep, reject or either way for each plug, against the new plug at its turn."""
    limits = (tester.KEEP_SHARE * _true_references(v) + v.zero_psi).tolist()
    odd = odd_place(v)
    return tuple(
        EITHER if place == odd or abs(psig - limit) <= READ_TO_PSI else KEEP if psig > limit else REJECT
        for place, (psig, limit) in enumerate(zip(v.readings, limits, strict=True))
    )


def _judged_by(v, new_psig):
    """Each plug against one figure for the new plug, readings as they stand; None if that spoils nothing."""
    led = tuple(KEEP if psig >= tester.KEEP_SHARE * new_psig else REJECT for psig in v.readings)
    spoilt = any(right not in (EITHER, own) for right, own in zip(decisions(v), led, strict=True))
    return led if spoilt else None


def _labels(v):
    return tuple(f"P{number:02} {psig} psi" for number, psig in enumerate(v.readings, start=1))


BATCH = Exercise(
    key="m04.batch",
    version=2,
    marking=1,
    title="Twenty-four plugs from one tester",
    text=(
        "Twenty-four used plugs of one type were cleaned, filed and gapped. They were tested on the gauge in the order of "
        "their numbers; each figure is the mean of five tries and is sure to 2 psi (14 kPa). A new plug, same gap, "
        "read {first} before P01, {middle} after P12 and {last} after P24. Yesterday's log has {log} for the same "
        "new plug. With the chamber open the gauge stands at {zero}. The readings:{list}"
        "Look at the tester first, then at the plugs. A plug that lies within 2 psi of the limit is tested again."
    ),
    draw={"batch": Pick(tuple(BATCHES)), "percent": Steps(94, 108)},
    fill=_own_readings,
    show=lambda v: {
        "first": both(v.references[0]), "middle": both(v.references[1]), "last": both(v.references[2]),
        "log": both(v.log_psig), "zero": both(v.zero_psi), "list": listing.lines(_labels(v)),
    },
    parts=(
        Choice(
            key="pattern", prompt="What the new plug and the gauge say about the tester", marks=1, objectives=("P5",),
            options=MappingProxyType({
                "sound": "The tester is steady and gives what it gave yesterday.",
                "drift": "The tester loses voltage during the run.",
                "zero": "The gauge does not come back to zero; the tester itself is steady.",
                "weak": "The tester is steady today but weaker than yesterday.",
            }),
            signs=MappingProxyType({
                "sound": "A sound tester shows the new plug alike three times, and as it was yesterday.",
                "drift": "A tester that loses voltage shows the new plug clearly lower each time.",
                "zero": "A gauge off zero stands well away from 0 psi with the chamber open.",
                "weak": "A weaker tester shows the new plug alike three times, and by far more than 2 psi lower than yesterday.",
            }),
            answer=pattern,
            slips=(
                Slip("steady-or-not",
                     "Compare the three readings of the new plug with each other first, and only then with yesterday's.",
                     lambda v: {"drift": "weak", "weak": "drift"}.get(pattern(v))),
                Slip("zero-overlooked",
                     "Look at the gauge with the chamber open. A needle off zero shifts every reading alike.",
                     lambda v: {"zero": "sound"}.get(pattern(v))),
            ),
        ),
        Number(
            key="odd", prompt="Number of the plug whose reading cannot be believed", unit="", marks=1, step=0.5,
            answer=lambda v: float(_odd_number(v)), within=Absolute(0.4, "a plug has a whole number"),
            possible=(1.0, 24.0), objectives=("P5",),
            slips=(
                Slip("lowest",
                     "A low reading is an ordinary bad plug. Which plug fires far higher than even a new one can?",
                     lambda v: float(int(np.argmin((np.array(v.readings) - v.zero_psi) / _true_references(v))) + 1)),
            ),
        ),
        Batch(
            key="sort", prompt="Sort the plugs", marks=3, items=_labels, answer=decisions, objectives=("P3", "P5"),
            slips=(
                Slip("first-only",
                     "You judged every plug by the new plug's first reading. The tester weakened: take the new plug's "
                     "reading near each plug's turn.",
                     lambda v: _judged_by(v, v.references[0]) if pattern(v) == "drift" else None),
                Slip("zero-left-in",
                     "You left the gauge's error in. Take it off the plug and off the new plug before comparing.",
                     lambda v: _judged_by(v, v.references[0]) if pattern(v) == "zero" else None),
                Slip("yesterday",
                     "You judged today's plugs by yesterday's figure. The tester is weaker today, so you threw good "
                     "plugs away. Take today's new plug.",
                     lambda v: _judged_by(v, v.log_psig) if pattern(v) == "weak" else None),
            ),
        ),
    ),
    route=lambda v: (
        Line(
            f"Gauge open: {v.zero_psi} psi. New plug today {v.references[0]}, {v.references[1]}, {v.references[2]} psi; "
            f"yesterday {v.log_psig}. So: {_SAID[pattern(v)]}",
            "pattern",
        ),
        Line(
            f"P{_odd_number(v):02} reads {v.readings[_odd_number(v) - 1]} psi, far above a new plug: gap shut, or misread.",
            "odd",
        ),
        Line(f"Check the gap of P{_odd_number(v):02} and test it again.", "odd", "sort"),
        Line(  # what is taken off, and a limit that falls, name the tester's fault
            f"Limit at P01: 0.70 × {_true_references(v)[0]:.1f} + {v.zero_psi} = "
            f"{tester.KEEP_SHARE * _true_references(v)[0] + v.zero_psi:.0f} psi on this gauge; "
            f"at P24: {tester.KEEP_SHARE * _true_references(v)[-1] + v.zero_psi:.0f} psi.",
            "pattern", "sort",
        ),
        Line(
            f"Kept {decisions(v).count(KEEP)}, rejected {decisions(v).count(REJECT)}, to test again "
            f"{decisions(v).count(EITHER)}.",
            "sort",
        ),
    ),
)  # fmt: skip

# Issued before each plug had its share of the marks.
BATCH_BY_COST = replace(BATCH, version=1, parts=(*BATCH.parts[:2], by_cost(BATCH.parts[2])))
