"""Exercises in words: a printed page with an error in it, and an answer to a customer."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.kinds import Written
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.old.timing import sheet
from grader.reference.timing import advance
from grader.vehicle.spec import vehicles

# Line by line what is right, and two ways in which it gets printed wrong.
_PRINTED = MappingProxyType(
    {
        "port": (
            "A ported line gives no vacuum at idle; putting it on leaves the mark where it is.",
            "A ported line gives most vacuum at idle; putting it on moves the mark up.",
            "A ported line gives no vacuum at idle; putting it on moves the mark back.",
        ),
        "throttle": (
            "At full throttle the vacuum unit adds nothing.",
            "At full throttle the vacuum unit adds most.",
            "The vacuum unit adds the same at any throttle.",
        ),
        "idle": (
            "Timed at too fast an idle, the engine is late at every speed.",
            "Timed at too fast an idle, the engine is early at every speed.",
            "Timed at too fast an idle, the engine is late at idle only.",
        ),
        "gap": (
            "A smaller points gap makes the spark later.",
            "A smaller points gap makes the spark earlier.",
            "The points gap has no part in the timing.",
        ),
        "units": (
            "Ten distributor degrees are twenty crank degrees.",
            "Ten distributor degrees are five crank degrees.",
            "Ten distributor degrees are ten crank degrees.",
        ),
    }
)
_WHY_RIGHT = MappingProxyType(
    {
        "port": "That line is right. The closed plate covers the port, so nothing arrives at idle.",
        "throttle": "That line is right. With the throttle wide open there is hardly any vacuum.",
        "idle": "That line is right. The weights helped the mark to its place, and that help is missing everywhere.",
        "gap": "That line is right. The points open later when the gap is smaller.",
        "units": "That line is right. The crankshaft turns twice while the distributor turns once.",
    }
)


def _page(v):
    rows = [words[1 + v.wording if key == v.wrong else 0] for key, words in _PRINTED.items()]
    return {"page": listing.lines(f"({number}) {row}" for number, row in enumerate(rows, 1))}


FIND_ERROR = Exercise(
    key="m01.find_error",
    version=1,
    marking=1,
    title="Find the error in print",
    text="Even printed pages err. One of these five lines is wrong. Which?{page}",
    draw={"wrong": Pick(tuple(_PRINTED)), "wording": Steps(0, 1)},
    show=_page,
    parts=(
        Choice(
            key="line",
            prompt="The wrong line",
            marks=1,
            objectives=("T4", "T5"),
            order="fixed",
            options=MappingProxyType({key: f"Line {number}" for number, key in enumerate(_PRINTED, 1)}),
            answer=lambda v: v.wrong,
            slips=tuple(
                Slip(key, says, lambda v, key=key: None if v.wrong == key else key) for key, says in _WHY_RIGHT.items()
            ),
        ),
    ),
    route=lambda v: (
        f"Printed: {_PRINTED[v.wrong][1 + v.wording]}",
        f"It must read: {_PRINTED[v.wrong][0]}",
    ),
)


def _letter(v):
    true = advance.true_initial_deg(v.initial_deg, v.fast_rpm, v.centrifugal)
    return (
        f"The {v.initial_deg:g}° on your old bill was read while the engine idled at {v.fast_rpm} rev/min. The manual wants "
        f"{v.idle_rpm} or less. At that speed two weights already push the spark forward, so the light showed their part, "
        f"too. At the proper idle the spark came only {abs(true):.1f}° {'after' if true < 0 else 'before'} the top, and late at "
        "every other speed as well. "
        "That is why your engine pulled badly and used more fuel. We brought the idle down, set the timing again and "
        "checked it at idle and at higher speeds. Both figures and the speed now stand on your bill."
    )


LETTER = Exercise(
    key="m01.letter",
    version=1,
    marking=1,
    title="Why is it not the same?",
    text=(
        "The owner of the {title} writes: “{months} months ago another shop set my timing to {initial_deg:g}°, it is on the "
        "bill. Now you charge me for setting it to {initial_deg:g}° again. Why?” You found that the old setting was made at "
        "{fast_rpm} rev/min; the manual says {idle_rpm} or less. The engine pulled badly. "
        "Weights (distributor rev/min → distributor degrees): {centrifugal_table}. Answer in four to six sentences that a "
        "layman understands, and do not run the other shop down."
    ),
    draw={"vehicle": Pick(tuple(vehicles())), "over_rpm": Steps(500, 900, 50), "months": Steps(2, 9)},
    fill=lambda parameters: {
        **sheet.tables(parameters),
        "fast_rpm": sheet.tables(parameters)["idle_rpm"] + parameters["over_rpm"],
    },
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
