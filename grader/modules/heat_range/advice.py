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
_TOW = "tows {load} kg ({load_lb} lb) over mountain passes all summer"
# The light and the heavy work of each teaching vehicle: a tractor ploughs and a boat meets a current, not the other way round.
_WORK = MappingProxyType(
    {
        "anstow-v8": (_TOWN, _TOW),
        "brackwater-four": (_TOWN, "is driven on fast roads all day, fully loaded"),
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


# Line 5 of the note: what is right, and how it gets written wrong.
_SAYINGS = (
    ("The hotter type keeps its own tip hotter. The engine makes as much heat as before.",
     "The hotter type puts more heat into the head. So the engine gives more power."),
    ("All plugs are sooty, and nobody measured the coil. So measure it before any other plug is fitted.",
     "All plugs are sooty, and nobody measured the coil. So fit the hotter type, and the soot is gone for good."),
    ("One plug is wet with oil. The hotter type will not stop the oil.",
     "One plug is wet with oil. The hotter type in that cylinder stops the oil."),
    ("One plug is wet and smells of petrol. So look for its spark first.",
     "One plug is wet and smells of petrol. So the piston rings of that cylinder are worn."),
    ("The gap is wide, the electrodes are not worn away. File, set and test the plug.",
     "The gap is wide, the electrodes are not worn away. Throw the plug away."),
)  # fmt: skip
_SAID_WHY = (
    "heat range moves the temperature of the nose. It makes neither heat nor power.",
    "a weak coil leaves soot as a cold plug does. Measure it first.",
    "oil comes past rings or valve guides. No plug cures it.",
    "petrol on a plug tells of a missing spark or of flooding, not of oil.",
    "a wide gap is no reason to throw a plug away. File, set, test.",
)
_WRONG = MappingProxyType({
    "1": ("forgot-32", "32-last"),
    "2": ("turned",),
    "3": ("per-km", "growth-only"),
    "4": ("added", "forgotten", "twice"),
    "5": ("said",),
})  # fmt: skip


def _line_1(v, form):
    if v.scale == "F":
        wrong = {"forgot-32": v.tip_f / 1.8, "32-last": v.tip_f / 1.8 - 32}
        return f"The tip reads {v.tip_f} °F. That is {wrong.get(form, celsius(v.tip_f)):.0f} °C."
    tip_c = round(celsius(v.tip_f))
    wrong = {"forgot-32": tip_c * 1.8, "32-last": (tip_c + 32) * 1.8}
    return f"The tip reads {tip_c} °C. That is {wrong.get(form, fahrenheit(tip_c)):.0f} °F."


def _line_2(v, form):
    hotter = (v.nose == "longer") != (form == "turned")
    return f"The nose is {v.nose_mm} mm {v.nose} than on the other type. So it is the {'hotter' if hotter else 'colder'} plug."


def _line_3(v, form):
    gap = plug.worn_gap_mm(v.new_mm, v.distance_km)
    wrong = {"per-km": plug.worn_gap_mm(v.new_mm, v.distance_km * KM_PER_MILE), "growth-only": gap - v.new_mm}
    km, mi = f"{grouped(v.distance_km)} km", f"{miles(v.distance_km)} miles"
    driven = f"{km} ({mi})" if v.road == "km" else f"{mi} ({km})"
    return f"New gap {v.new_mm:.2f} mm. After {driven} the gap is about {wrong.get(form, gap):.2f} mm."


def _line_4(v, form):
    rotor = {"added": -1, "forgotten": 0, "twice": 2}.get(form, 1) * breakdown.ROTOR_GAP_KV
    left = v.available_kv - v.required_kv - rotor
    return f"Available {v.available_kv} kV, required {v.required_kv} kV, rotor gap 2 kV: reserve {left:.1f} kV."


def _line_5(v, form):
    return _SAYINGS[v.saying][form == "said"]


_NOTE = (_line_1, _line_2, _line_3, _line_4, _line_5)


def _note(v):
    """Five lines of a colleague's note; the line named by `wrong` holds the mistake `form`, the others are right."""
    return tuple(line(v, v.form if v.wrong == str(number) else "") for number, line in enumerate(_NOTE, 1))


FIND_ERROR = Exercise(
    key="m03.find_error",
    version=2,
    marking=1,
    title="Find the error",
    text="A colleague's note on a plug job has one wrong line. Which one?{note}",
    draw={
        "wrong": Pick(tuple(_WRONG)),
        "which": MANY,
        "scale": Pick(("F", "C")),
        "tip_f": Steps(900, 1500, 10),
        "nose": Pick(("longer", "shorter")),
        "nose_mm": Steps(3, 7),
        "road": Pick(("km", "miles")),
        "new_mm": Steps(60, 80, 1, scale=100),
        "distance_km": Steps(14000, 25000, 500),
        "available_kv": Steps(20, 26),
        "required_kv": Steps(11, 15),
        "saying": Steps(0, len(_SAYINGS) - 1),
    },
    fill=lambda parameters: {"form": chosen(_WRONG[parameters["wrong"]], parameters["which"])},
    show=lambda v: {"note": listing.lines(f"({i}) {line}" for i, line in enumerate(_note(v), 1))},
    parts=(
        Choice(
            key="line", prompt="The wrong line", marks=2, objectives=("H1", "H2", "H3", "H6", "H8"), order="fixed",
            options=MappingProxyType({str(i): f"Line {i}" for i in range(1, 6)}),
            signs=MappingProxyType({
                "1": "That line is right: from °F the 32 comes off first and then you divide by 1.8; from °C you multiply first.",
                "2": "That line is right: along the longer nose the heat has the longer way, so the tip runs hotter.",
                "3": "That line is right: the gap grows by 0.001 inch in 1000 miles, 0.0158 mm in 1000 km.",
                "4": "That line is right: the required voltage and the rotor gap both come off the available voltage.",
                "5": "That line is right: read it once more, and ask what the plug can do and what it cannot.",
            }),
            answer=lambda v: v.wrong,
        ),
    ),
    route=lambda v: (
        {
            "1": f"Line 1: from °F take 32 away, then divide by 1.8; from °C multiply by 1.8, then add 32. It must read: {_line_1(v, '')}",
            "2": f"Line 2: the longer nose is the hotter plug. It must read: {_line_2(v, '')}",
            "3": f"Line 3: 0.001 inch in 1000 miles comes on top of the new gap. It must read: {_line_3(v, '')}",
            "4": f"Line 4: the rotor gap comes off once. It must read: {_line_4(v, '')}",
            "5": f"Line 5: {_SAID_WHY[v.saying]}",
        }[v.wrong],
    ),
)  # fmt: skip

# What an owner wishes: in the task, in the answer's first sentence, and which way it goes.
_WISHES = MappingProxyType({
    "power": ("has read that hotter plugs give more power", "“Hot” is a word about the plug, not about power.", HOTTER),
    "start": ("hopes that hotter plugs start better on cold mornings", "A cold start asks for voltage, not for a hotter plug.", HOTTER),
    "clean": ("has read that hotter plugs stay clean for ever", "Where something makes soot, a hotter plug only hides it.", HOTTER),
    "racing": ("has heard that colder plugs, as in racing, give more power", "Racing engines have colder plugs because they run at full load all day; power comes from elsewhere.", COLDER),
    "cool": ("wants colder plugs so that the engine stays cooler", "A colder plug keeps only its own tip cooler.", COLDER),
})  # fmt: skip
# What was found: in the task, in the answer, and what is offered.
_FOUND = MappingProxyType({
    "right": (
        "{cylinders} light tan plugs came out; a test plug showed {tip_c} °C ({tip_f} °F) at full load.",
        "Your plugs came out light tan, and a test plug showed {tip_c} °C at full load; it keeps clean from about 500 °C and "
        "is safe up to about 850 °C, so your type suits the engine.",
        "If you miss something, we can measure timing, mixture and voltage, and tell you what we find before we change anything.",
    ),
    "coil": (
        "All plugs are dry and sooty; the coil gives {weak} kV where {sound} kV is right.",
        "Your plugs are sooty because the spark is weak: the coil, which makes the high voltage, gives {weak} kV in place of {sound} kV.",
        "We would like to renew the coil, clean your plugs and read them again after a week; may we?",
    ),
    "choke": (
        "All plugs are dry and sooty; the choke does not open when the engine is warm.",
        "Your plugs are sooty because the choke, the flap that gives extra fuel to the cold engine, stays shut.",
        "We would like to free the choke, clean your plugs and read them again after a week; may we?",
    ),
    "early": (
        "All noses are chalk white; the timing light shows the spark {early}° too early.",
        "Your plugs are white because the spark comes {early}° too early, and that makes every nose too hot.",
        "We would like to set the timing as the manual asks and read the plugs again after a week; may we?",
    ),
    "loose": (
        "One nose is blistered; that plug was only finger-tight, the others are light tan.",
        "One plug was only finger-tight, so its heat could not flow into the head, and its tip has blistered; the others are right.",
        "We would like to renew that one plug, of your type, and tighten all as the manual asks; may we?",
    ),
    "oil": (
        "One plug is wet with oil, the others are light tan; that cylinder's compression is {low} % below the others.",
        "One plug is wet with oil, and that cylinder presses its charge {low} % less than the others: oil comes in there, and no plug stops it.",
        "We would like to look at that cylinder first and tell you what it costs before we begin; may we?",
    ),
})  # fmt: skip
_DANGER = MappingProxyType({
    HOTTER: "At full load a hotter nose could glow, light the mixture too early and burn a hole into a piston.",
    COLDER: "In light work a colder nose would not burn itself clean; it would soot up, and the engine would misfire.",
})  # fmt: skip


def _figures(v):
    return {
        "cylinders": v.cylinders, "tip_c": v.tip_c, "tip_f": f"{fahrenheit(v.tip_c):.0f}", "weak": v.weak_kv,
        "sound": v.sound_kv, "early": v.early_deg, "low": v.low_percent,
    }  # fmt: skip


def _owner_letter(v):
    _, opening, way = _WISHES[v.wish]
    _, found, offer = _FOUND[v.found]
    return (
        f"Thank you for asking before buying. {opening} The heat range of a plug says how hot its tip "
        f"runs; with any range the engine makes as much heat and power as before. {found.format(**_figures(v))} {_DANGER[way]} {offer}"
    )


OWNER = Exercise(
    key="m03.owner",
    version=2,
    marking=1,
    title="The owner wants other plugs",
    text=(
        "The owner of the {title} {wish}. {found} Write to the owner in four to eight sentences, politely and "
        "without trade words that you do not explain. Say what heat range does, what you found, what could happen with "
        "the plugs that the owner wants, and what you offer instead."
    ),
    draw={
        "vehicle": _ENGINES, "wish": Pick(tuple(_WISHES)), "found": Pick(tuple(_FOUND)), "tip_c": Steps(640, 780, 5),
        "weak_kv": Steps(9, 13), "sound_kv": Steps(20, 24), "early_deg": Steps(8, 14), "low_percent": Steps(25, 40, 5),
    },
    fill=_titled,
    show=lambda v: {"wish": _WISHES[v.wish][0], "found": _FOUND[v.found][0].format(**_figures(v))},
    parts=(
        Written(
            key="letter", prompt="Your letter", marks=4, objectives=("H2", "H6"),
            rubric=(
                ("says that heat range moves the temperature of the plug's nose and gives the engine neither heat nor power", 1),
                ("says what was found, with its figure where there is one, and what it means", 1),
                ("names the danger of what the owner wants: a hotter nose can hole a piston at full load, a colder one soots up", 1),
                ("offers what cures the cause that was found, or a measurement where all is right, and stays polite and plain", 1),
            ),
            answer=_owner_letter,
        ),
    ),
    route=lambda v: (
        "Power comes from mixture, timing and filling. Heat range only moves the nose temperature.",
        _FOUND[v.found][1].format(**_figures(v)),
        _DANGER[_WISHES[v.wish][2]],
        _FOUND[v.found][2],
    ),
)  # fmt: skip
