"""Exercises on judgement: when to change the heat range, a note with an error, a letter to an owner."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.kinds import Written
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.heat_range.nose import celsius, fahrenheit
from grader.modules.heat_range.wear import miles
from grader.modules.situations import MANY, by_answer, chosen
from grader.reference.spark import breakdown, plug
from grader.units import KM_PER_MILE, grouped
from grader.vehicle.spec import vehicle, vehicles

_ENGINES = Pick(tuple(vehicles()))
KEEP, COLDER, HOTTER, MEASURE = "keep", "colder", "hotter", "measure"

_TOWN = "is driven {trip} km ({trip_mi} miles) at a time in town"
_TOW = "tows {load} kg ({load_lb} lb) over passes all summer"
# The light and the heavy work of each teaching vehicle: a tractor ploughs and a boat meets a current, not the other way round.
_WORK = MappingProxyType(
    {
        "anstow-v8": (_TOWN, _TOW),
        "brackwater-four": (_TOWN, "runs fast roads all day, fully loaded"),
        "tolmere-six": (_TOWN, _TOW),
        "pennock-marine-six": (
            "idles about the harbour for hours every day",
            "runs at full load for hours against the current",
        ),
        "quillby-tractor-four": ("idles in the yard for hours every day", "pulls the plough at full throttle for days"),
        "sarnhollow-v8": (_TOWN, _TOW),
        "varde-van-four": ("stops and starts from door to door all day", "climbs passes all summer, fully loaded"),
    }
)
_ROWS = MappingProxyType(
    {
        "sooty": ("All plugs are dry and sooty", "The owner asks for hotter plugs."),
        "white": ("All noses are chalk white", "The owner asks for colder plugs."),
        "oil": ("The plug of cylinder {one} is wet with oil, the others are tan", "The owner asks for a hotter plug there."),
        "fuel": ("The plug of cylinder {one} is wet with fuel, the others are tan", "The owner asks for a hotter plug there."),
        "blister": ("The nose of cylinder {one} is blistered, the others are tan", "The owner asks for a colder set."),
    }
)  # fmt: skip
_MEASURED = MappingProxyType(
    {
        "nothing": "Nobody has measured anything.",
        "half": "Mixture and choke were checked and are right; nobody has measured timing, points or coil.",
        "right": "Choke, mixture, points, available voltage, timing, cooling and seats were all measured and are right.",
        "weak": "Choke and mixture are right; the coil gives {weak} kV where {sound} kV is right.",
        "choke": "Points, coil and timing were measured and are right; the choke does not open.",
        "drop": "Choke and mixture are right; across the closed points {drop} V are lost.",
        "early": "Mixture and seats are right; the timing light shows the spark {early}° too early.",
        "air": "Timing and seats are right; the manifold draws air past its gasket.",
        "compression": "That cylinder's compression is {low} % below the others.",
        "lead": "The lead of that cylinder gives no spark; the others do.",
        "loose": "That plug was only finger-tight.",
    }
)
_FAULTS = MappingProxyType(
    {"sooty": ("weak", "choke", "drop"), "white": ("early", "air"), "oil": ("compression",), "fuel": ("lead",), "blister": ("loose",)}
)  # fmt: skip


def _decision(row, work, measured):
    """Where a report leads; None where it would not be written so."""
    if measured in _FAULTS[row]:
        return KEEP
    if measured in ("nothing", "half"):
        return MEASURE if row in ("sooty", "white") else None
    if measured == "right":
        return {("sooty", "light"): HOTTER, ("white", "heavy"): COLDER}.get((row, work))
    return None


_REPORTS = by_answer({"row": tuple(_ROWS), "work": ("light", "heavy"), "measured": tuple(_MEASURED)}, _decision)


def _titled(parameters):
    spec = vehicle(parameters["vehicle"])
    return {"title": spec.title, "cylinders": spec.cylinders}


def _reported(parameters):
    titled = _titled(parameters)
    return {
        **titled,
        **chosen(_REPORTS[parameters["decision"]], parameters["which"]),
        "one": 1 + parameters["spot"] % titled["cylinders"],
    }


def _report(v):
    figures = {
        **vars(v), "sound": v.weak + 11, "trip_mi": f"{v.trip / KM_PER_MILE:.0f}", "load_lb": f"{v.load * 2.2046:.0f}",
    }  # fmt: skip
    work = _WORK[v.vehicle][v.work == "heavy"]
    seen, asks = _ROWS[v.row]
    return {"seen": f"It {work}. {seen}. {_MEASURED[v.measured]} {asks}".format(**figures)}


KEEP_RANGE = Exercise(
    key="m03.keep_range",
    version=2,
    marking=1,
    title="Another heat range?",
    text=(
        "The {title} has the plugs of its maker's list, {cylinders} of them. {seen} "
        "The list allows one step hotter and one step colder. What do you decide?"
    ),
    draw={
        "vehicle": _ENGINES,
        "decision": Pick((KEEP, COLDER, HOTTER, MEASURE)),
        "which": MANY,
        "spot": Steps(0, 23),
        # Compression, advance, voltage, drop, trips and loads of ordinary faults and ordinary work (practice).
        "low": Steps(25, 45), "early": Steps(6, 12), "weak": Steps(9, 13), "drop": Steps(5, 9, scale=10),
        "trip": Steps(2, 6), "load": Steps(600, 1400, 50),
    },
    fill=_reported,
    show=_report,
    parts=(
        Choice(
            key="decision", prompt="Your decision", marks=2, objectives=("H5", "H6"), order="fixed",
            options=MappingProxyType({
                KEEP: "Keep the heat range; cure the cause that was found.",
                COLDER: "One step colder (shorter nose), inside the maker's list.",
                HOTTER: "One step hotter (longer nose), inside the maker's list.",
                MEASURE: "Cannot tell yet: measure ignition, timing and what else is unknown first.",
            }),
            signs=MappingProxyType({
                KEEP: "The range is kept where a cause was found that is not the plug.",
                COLDER: "A shorter nose is for overheating in heavy work, with everything else measured and right.",
                HOTTER: "A longer nose is for soot in light work, with everything else measured and right.",
                MEASURE: "Measuring comes first where something that could be the cause has not been measured yet.",
            }),
            answer=lambda v: v.decision,
            slips=(
                Slip("no-cure",
                     "A hotter plug may hide oil or fuel for a while and never cures it. Cure what that cylinder lacks.",
                     lambda v: HOTTER if v.row in ("oil", "fuel") else None),
                Slip("fault-found",
                     "The cause was found, and it is not the heat range. What would another plug do about that cause?",
                     lambda v: {"sooty": HOTTER, "white": COLDER, "blister": COLDER}.get(v.row) if v.decision == KEEP else None),
                Slip("guess",
                     "Not everything was measured. The look alone cannot tell a wrong plug from a weak spark, timing or mixture.",
                     lambda v: {"sooty": HOTTER, "white": COLDER}[v.row] if v.decision == MEASURE else None),
                Slip("wrong-way",
                     "That is the wrong way. Soot wants a longer nose, overheating a shorter one.",
                     lambda v: {HOTTER: COLDER, COLDER: HOTTER}.get(v.decision)),
                Slip("all-measured",
                     "Everything else was measured and is right. What is left is a plug that does not suit the work.",
                     lambda v: MEASURE if v.decision in (HOTTER, COLDER) else None),
            ),
        ),
    ),
    route=lambda v: (
        "Change the heat range only when everything else was measured and is right.",
        {
            KEEP: "Here a cause was found that is not the plug: cure it and keep the range.",
            COLDER: "All is right and the work is heavy: a shorter nose, inside the list.",
            HOTTER: "All is right and the work is light: a longer nose, inside the list.",
            MEASURE: "Something was not measured here: that comes first.",
        }[v.decision],
    ),
)  # fmt: skip


def _note(v):
    """Five lines of a colleague's note; the line named by `wrong` holds a mistake, the others are right."""
    tip = celsius(v.tip_f)
    gap = plug.worn_gap_mm(v.new_mm, v.distance_km)
    left = breakdown.reserve_kv(v.available_kv, v.required_kv)
    right = (
        f"The tip reads {v.tip_f} °F. That is {tip:.0f} °C.",
        f"The nose is {v.nose_mm} mm longer than on the other type. So it is the hotter plug.",
        f"New gap {v.new_mm:.2f} mm. After {grouped(v.distance_km)} km ({miles(v.distance_km)} miles) about {gap:.2f} mm.",
        f"Available {v.available_kv} kV, required {v.required_kv} kV, rotor gap 2 kV: reserve {left:.1f} kV.",
        "The hotter type keeps its own tip hotter. The engine makes as much heat as before.",
    )
    slipped = (
        f"The tip reads {v.tip_f} °F. That is {v.tip_f / 1.8:.0f} °C.",
        f"The nose is {v.nose_mm} mm longer than on the other type. So it is the colder plug.",
        f"New gap {v.new_mm:.2f} mm. After {grouped(v.distance_km)} km ({miles(v.distance_km)} miles) about "
        f"{plug.worn_gap_mm(v.new_mm, v.distance_km * KM_PER_MILE):.2f} mm.",
        f"Available {v.available_kv} kV, required {v.required_kv} kV, rotor gap 2 kV: reserve "
        f"{v.available_kv - v.required_kv + breakdown.ROTOR_GAP_KV:.1f} kV.",
        "The hotter type puts more heat into the head. So the engine gives more power.",
    )
    return tuple(slipped[i] if i + 1 == v.wrong else line for i, line in enumerate(right))


FIND_ERROR = Exercise(
    key="m03.find_error",
    version=1,
    marking=1,
    title="Find the error",
    text="A colleague's note on a plug job has one wrong line. Which one?{note}",
    draw={
        "wrong": Pick((1, 2, 3, 4, 5)),
        "tip_f": Steps(900, 1500, 10),
        "nose_mm": Steps(3, 7),
        "new_mm": Steps(60, 85, 1, scale=100),
        "distance_km": Steps(14000, 30000, 500),
        "available_kv": Steps(20, 26),
        "required_kv": Steps(11, 17),
    },
    show=lambda v: {"note": listing.lines(f"({i}) {line}" for i, line in enumerate(_note(v), 1))},
    parts=(
        Choice(
            key="line", prompt="The wrong line", marks=2, objectives=("H1", "H2", "H3", "H6", "H8"), order="fixed",
            options=MappingProxyType({str(i): f"Line {i}" for i in range(1, 6)}),
            signs=MappingProxyType({
                "1": "That line is right: 32 comes off first, then the rest is divided by 1.8.",
                "2": "That line is right: along the longer nose the heat has the longer way, so the tip runs hotter.",
                "3": "That line is right: the gap grows by 0.001 inch in 1000 miles, 0.0158 mm in 1000 km.",
                "4": "That line is right: the required voltage and the rotor gap both come off the available voltage.",
                "5": "That line is right: heat range moves the temperature of the nose, not the heat that the engine makes.",
            }),
            answer=lambda v: str(v.wrong),
        ),
    ),
    route=lambda v: (
        (
            f"Line 1: take 32 away first. {v.tip_f} °F is {celsius(v.tip_f):.0f} °C.",
            "Line 2: a longer nose has the longer way for its heat, so it is the hotter plug.",
            f"Line 3: 0.001 inch belongs to 1000 miles. The gap is {plug.worn_gap_mm(v.new_mm, v.distance_km):.2f} mm.",
            f"Line 4: the rotor gap comes off. Reserve {breakdown.reserve_kv(v.available_kv, v.required_kv):.1f} kV.",
            "Line 5: heat range moves the temperature of the nose. It makes neither heat nor power.",
        )[v.wrong - 1],
    ),
)  # fmt: skip

OWNER = Exercise(
    key="m03.owner",
    version=1,
    marking=1,
    title="“Hotter plugs for more power”",
    text=(
        "The owner of the {title} has read that hotter plugs give more power. {cylinders} tan plugs came out; a test plug "
        "showed {tip_c} °C ({tip_f} °F) at full load. Write to the owner in four to eight sentences, politely and "
        "without trade words that you do not explain. Say what heat range does, what you found, what could happen with "
        "hotter plugs, and what you offer instead."
    ),
    draw={"vehicle": _ENGINES, "tip_c": Steps(640, 780, 5)},
    fill=_titled,
    show=lambda v: {"tip_f": f"{fahrenheit(v.tip_c):.0f}"},
    parts=(
        Written(
            key="letter", prompt="Your letter", marks=4, objectives=("H2", "H6"),
            rubric=(
                ("says that heat range moves the temperature of the plug's nose and adds neither heat nor power", 1),
                ("says what was found: tan plugs and a tip inside 500 to 850 °C, so the type suits the engine", 1),
                ("names the danger: at full load a hotter nose can light the charge too early and hole a piston", 1),
                ("offers something better (timing, mixture, gap or reserve measured), and stays polite and plain", 1),
            ),
            answer=lambda v: (
                f"Thank you for asking before buying. Your plugs came out light tan, and a test plug showed {v.tip_c} °C "
                "at full load. A plug cleans itself from about 500 °C and is in danger from about 850 °C, so yours suit "
                "the engine. “Hot” only says that the plug's own tip keeps more of its heat; the engine makes no more "
                "heat and no more power. A hotter type could glow at full load, light the mixture too early and burn a "
                "hole into a piston. If you miss power, we can measure timing, mixture and the voltage in reserve, and "
                "tell you what we find before we change anything."
            ),
        ),
    ),
    route=lambda v: (
        "Power comes from mixture, timing and filling. Heat range only moves the nose temperature.",
        f"{v.tip_c} °C at full load lies inside 500 to 850 °C: the type is right.",
        "Offer a measurement in place of parts.",
    ),
)  # fmt: skip
