"""Exercises in words: a printed page with an error in it, and an answer to a customer."""

from types import MappingProxyType

from grader.exercise.kinds import Written
from grader.exercise.model import Exercise
from grader.exercise.spread import Pick, Steps
from grader.modules.situations import page_with_an_error
from grader.modules.timing import sheet
from grader.reference.timing import advance
from grader.vehicle.spec import vehicles

_PRINTED = MappingProxyType(
    {
        "line": {
            "port": (
                "A ported line gives no vacuum at idle; putting it on leaves the mark where it is.",
                "A ported line gives most vacuum at idle; putting it on moves the mark up.",
                "A ported line gives no vacuum at idle; putting it on moves the mark back.",
                "The closed plate covers the port, so nothing arrives at idle.",
            ),
            "throttle": (
                "At full throttle the vacuum unit adds nothing.",
                "At full throttle the vacuum unit adds most.",
                "The vacuum unit adds the same at any throttle.",
                "With the throttle wide open there is hardly any vacuum.",
            ),
            "manifold": (
                "A line that the manual joins to the manifold moves the mark at idle, and that is no fault.",
                "A line that the manual joins to the manifold must not move the mark at idle.",
                "A line that the manual joins to the manifold gives most vacuum at full throttle.",
                "Below the plate there is vacuum at idle, and the unit feels it.",
            ),
        },
        "idle": {
            "late": (
                "Timed at too fast an idle, the engine is late at every speed.",
                "Timed at too fast an idle, the engine is early at every speed.",
                "Timed at too fast an idle, the engine is late at idle only.",
                "The weights helped the mark to its place, and that help is missing everywhere.",
            ),
            "early": (
                "If the engine idles too fast, the mark moves early.",
                "If the engine idles too fast, the mark moves late.",
                "If the engine idles too fast, the mark stays where it is.",
                "Weights that move add advance, and so does an uncovered port.",
            ),
            "races": (
                "If idle is set too fast, the engine races when you let the throttle go.",
                "If idle is set too fast, the engine stalls when you let the throttle go.",
                "If the engine races when you let the throttle go, the timing must be too late.",
                "Speed adds advance, and advance adds speed, so the engine comes down slowly.",
            ),
        },
        "plate": {
            "gap": (
                "A smaller points gap makes the spark later.",
                "A smaller points gap makes the spark earlier.",
                "The points gap has no part in the timing.",
                "The points open later when the gap is smaller.",
            ),
            "against": (
                "The vacuum unit turns the plate against the cam's rotation, so that the points open sooner.",
                "The vacuum unit turns the plate with the cam's rotation, so that the points open sooner.",
                "The vacuum unit turns the plate against the cam's rotation, so that the points open later.",
                "A plate that comes to meet the cam brings the block to its lobe sooner.",
            ),
            "units": (
                "Ten distributor degrees are twenty crank degrees.",
                "Ten distributor degrees are five crank degrees.",
                "Ten distributor degrees are ten crank degrees.",
                "The crankshaft turns twice while the distributor turns once.",
            ),
        },
        "order": {
            "points-first": (
                "Set the points first and the timing after them.",
                "Set the timing first and the points after it.",
                "Points and timing can be set in any order.",
                "Every change of gap moves the timing.",
            ),
            "plugged": (
                "Take the vacuum line off and plug its end before you set the timing.",
                "Take the vacuum line off and leave its end open while you set the timing.",
                "Put the vacuum line back on before you go through the speeds of the test sheet.",
                "An open line lets air in and changes the idle, and a line that is on can move the mark.",
            ),
            "clamped": (
                "After you have clamped the distributor, look at the mark once more.",
                "After you have clamped the distributor, you need not look at the mark again.",
                "Clamp the distributor first and turn it afterwards.",
                "Clamping can move the distributor.",
            ),
        },
        "care": {
            "tug": (
                "Take a vacuum line off by its end, and never pull or lever at the unit: force can shift its setting.",
                "Pull the unit's arm out by its line to see whether the plate is free.",
                "A hard pull at the vacuum line does the unit no harm.",
                "Force on the line can shift the setting of the unit.",
            ),
            "bench": (
                "A mark that rises with speed does not replace a test of the distributor on the bench.",
                "A mark that rises with speed replaces a test of the distributor on the bench.",
                "If the mark rises with speed, the whole curve is right.",
                "The timing light shows that the weights move, and not whether every point of the curve is met.",
            ),
            "fuel": (
                "The figure for the timing holds for the fuel that the manual names.",
                "The figure for the timing holds for any fuel.",
                "With a fuel that knocks more easily, set the timing earlier than the manual says.",
                "Each fuel stands only so much advance before it knocks.",
            ),
            "pump": (
                "Test a vacuum unit with a hand pump.",
                "Test a vacuum unit by sucking at its line.",
                "A vacuum unit that holds vacuum is sound, whether its plate moves or not.",
                "A hand pump shows both: whether the unit holds, and whether its plate moves.",
            ),
        },
    }
)

FIND_ERROR = page_with_an_error(
    key="m01.find_error",
    version=2,
    text="Even printed pages have errors. One of these five lines is wrong. Which one?{page}",
    marks=1,
    objectives=("T3", "T4", "T5"),
    topics=_PRINTED,
)


def _true(v):
    return advance.true_initial_deg(v.initial_deg, v.fast_rpm, v.centrifugal)


def _letter(v):
    true = _true(v)
    where = "at the top" if abs(true) < 0.05 else f"{abs(true):.1f}° {'after' if true < 0 else 'before'} the top"
    return (
        f"The {v.initial_deg:g}° on your old bill was read while the engine idled at {v.fast_rpm} rev/min. The manual wants "
        f"{v.idle_rpm} or less. At that speed two weights in the distributor already push the spark forward, so the timing "
        f"light showed their part, too. At the proper idle the spark really came {where}: {v.initial_deg - true:.1f}° late, and "
        "just as late at every other speed. A late spark costs some power. We brought the idle down, set the timing again and "
        "checked it at idle and at higher speeds. Both figures and the speed now stand on your bill."
    )


LETTER = Exercise(
    key="m01.letter",
    version=2,
    marking=1,
    title="Why is it not the same?",
    text=(
        "The owner of the {title} writes: “{months} months ago another shop set my timing to {initial_deg:g}°, it is on the "
        "bill. Now you charge me for setting it to {initial_deg:g}° again. Why?” You found that the old setting was made at "
        "{fast_rpm} rev/min; the manual says {idle_rpm} or less. "
        "Weights (distributor rev/min → distributor degrees): {centrifugal_table}. Answer in four to eight sentences that "
        "somebody outside the trade understands, and do not blame the other shop."
    ),
    # An idle a third to a half too fast (practice).
    draw={"vehicle": Pick(tuple(vehicles())), "times_percent": Steps(135, 155), "months": Steps(2, 9)},
    fill=sheet.tables_and_fast_idle,
    show=sheet.show_tables,
    parts=(
        Written(
            key="text",
            prompt="Your answer",
            marks=2,
            objectives=("T5",),
            rubric=(
                (
                    "says in plain words that at the faster idle the weights helped the mark, so the spark was late at every speed",
                    1,
                ),
                (
                    "says what was measured and done now, idle speed included, and stays polite and fair to the other shop",
                    1,
                ),
            ),
            answer=_letter,
        ),
    ),
    route=lambda v: (
        "The instructor reads this one against two points: the cause in plain words; what was measured and done.",
    ),
)
