"""FIND_ERROR and OWNER in version 1: five wrong lines, one letter."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.kinds import Written
from grader.exercise.model import Choice, Exercise
from grader.exercise.spread import Pick, Steps
from grader.modules.heat_range.nose import celsius, fahrenheit
from grader.modules.heat_range.wear import miles
from grader.reference.spark import breakdown, plug
from grader.units import KM_PER_MILE, grouped
from grader.vehicle.spec import vehicle, vehicles

_ENGINES = Pick(tuple(vehicles()))


def _titled(parameters):
    spec = vehicle(parameters["vehicle"])
    return {"title": spec.title, "cylinders": spec.cylinders}


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
