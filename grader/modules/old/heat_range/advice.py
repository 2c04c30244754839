"""KEEP_RANGE in version 1: ten cases, a tractor against the current among them."""

from types import MappingProxyType

from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.spread import Pick, Steps
from grader.units import KM_PER_MILE
from grader.vehicle.spec import vehicle, vehicles

_ENGINES = Pick(tuple(vehicles()))
KEEP, COLDER, HOTTER, MEASURE = "keep", "colder", "hotter", "measure"

_CASES = MappingProxyType(
    {
        "oil": (KEEP, "One plug is wet with oil; that cylinder's compression is {low} % below the others. Its owner asks "
                      "for a hotter plug there."),
        "early": (KEEP, "All noses are white. The timing light shows the spark {early}° too early; mixture and seats are "
                        "in order. The owner asks for colder plugs."),
        "weak": (KEEP, "All plugs are sooty. Choke and mixture are in order; the coil gives {weak} kV where {sound} kV is "
                       "right. The owner asks for hotter plugs."),
        "loose": (KEEP, "One nose is blistered. That plug was only finger-tight; the others are tan. The owner asks for a "
                        "colder set."),
        "town": (HOTTER, "Driven {trip} km ({trip_mi} miles) at a time in town. All plugs are sooty again within a month. "
                         "Choke, mixture, points, coil and timing were all measured and are right."),
        "standby": (HOTTER, "The engine idles for hours every day. All plugs are dry and black. Mixture, filter, points, "
                            "available voltage and timing were all measured and are right."),
        "tow": (COLDER, "It tows {load} kg ({load_lb} lb) over passes all summer. All noses are white. Timing, mixture, "
                        "cooling and seats were all measured and are right."),
        "boat": (COLDER, "It runs at full load for hours against the current. All noses begin to blister. Timing, "
                         "mixture, cooling and seats were all measured and are right."),
        "sooty": (MEASURE, "All plugs are sooty after {weeks} weeks. Nobody has measured anything. The owner asks for "
                           "hotter plugs."),
        "white": (MEASURE, "All noses are chalk white after {weeks} weeks. Nobody has measured anything. The owner asks "
                           "for colder plugs."),
    }
)  # fmt: skip


def _titled(parameters):
    spec = vehicle(parameters["vehicle"])
    return {"title": spec.title, "cylinders": spec.cylinders}


KEEP_RANGE = Exercise(
    key="m03.keep_range",
    version=1,
    marking=1,
    title="Another heat range?",
    text=(
        "The {title} has the plugs of its maker's list, {cylinders} of them. {seen} "
        "The list allows one step hotter and one step colder. What do you decide?"
    ),
    draw={
        "vehicle": _ENGINES,
        "decision": Pick((KEEP, COLDER, HOTTER, MEASURE)),
        "which": Steps(0, 11),
        "low": Steps(25, 45), "early": Steps(6, 12), "weak": Steps(9, 13), "trip": Steps(2, 6), "weeks": Steps(3, 9),
        "load": Steps(600, 1400, 50),
    },
    fill=lambda p: {**_titled(p), "case": _of(p["decision"], p["which"])},
    show=lambda v: {
        "seen": _CASES[v.case][1].format(
            **{**vars(v), "sound": v.weak + 11, "trip_mi": f"{v.trip / KM_PER_MILE:.0f}",
               "load_lb": f"{v.load * 2.2046:.0f}"}
        )
    },
    parts=(
        Choice(
            key="decision", prompt="Your decision", marks=2, objectives=("H5", "H6"), order="fixed",
            options=MappingProxyType({
                KEEP: "Keep the heat range; cure the cause that was found.",
                COLDER: "One step colder (shorter nose), inside the maker's list.",
                HOTTER: "One step hotter (longer nose), inside the maker's list.",
                MEASURE: "Cannot tell yet: measure ignition, timing and mixture first.",
            }),
            signs=MappingProxyType({
                KEEP: "The range is kept where a cause was found that is not the plug.",
                COLDER: "A shorter nose is for overheating in heavy work, with everything else measured and right.",
                HOTTER: "A longer nose is for soot in light work, with everything else measured and right.",
                MEASURE: "Measuring comes first where nobody has measured anything yet.",
            }),
            answer=lambda v: _CASES[v.case][0],
            slips=(
                Slip("oil",
                     "A hotter plug may hide oil for a while and never cures it. Find out where the oil comes from.",
                     lambda v: HOTTER if v.case == "oil" else None),
                Slip("fault-found",
                     "The cause was found, and it is not the heat range. What would another plug do about that cause?",
                     lambda v: {"early": COLDER, "weak": HOTTER, "loose": COLDER}.get(v.case)),
                Slip("guess",
                     "Nothing was measured. The look alone cannot tell a wrong plug from a weak spark, timing or mixture.",
                     lambda v: {"sooty": HOTTER, "white": COLDER}.get(v.case)),
                Slip("wrong-way",
                     "That is the wrong way. Soot wants a longer nose, overheating a shorter one.",
                     lambda v: {"town": COLDER, "standby": COLDER, "tow": HOTTER, "boat": HOTTER}.get(v.case)),
                Slip("all-measured",
                     "Everything else was measured and is right. What is left is a plug that does not suit the work.",
                     lambda v: MEASURE if v.case in ("town", "standby", "tow", "boat") else None),
            ),
        ),
    ),
    route=lambda v: (
        "Change the heat range only when everything else was measured and is right.",
        {
            KEEP: "Here a cause was found that is not the plug: cure it and keep the range.",
            COLDER: "All is right and the work is heavy: a shorter nose, inside the list.",
            HOTTER: "All is right and the work is light: a longer nose, inside the list.",
            MEASURE: "Nothing was measured here: ignition, timing and mixture come first.",
        }[_CASES[v.case][0]],
    ),
)  # fmt: skip


def _of(decision, which):
    cases = [name for name, (said, _) in _CASES.items() if said == decision]
    return cases[which % len(cases)]
