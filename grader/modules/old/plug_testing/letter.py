"""LETTER in version 1: its model called a plug sound that had only fired, and sent a misfire home untested."""

from grader.exercise.kinds import Written
from grader.exercise.model import Exercise
from grader.exercise.spread import Pick, Steps


def _letter(v):
    return (
        f"{v.count - v.bad} of your {v.count} plugs fire within 30 per cent of a new one on our tester. They are sound and "
        f"go back. {v.bad} fell short although we cleaned, filed and gapped them, so we renewed those at {v.price:.2f} each, "
        f"{v.bad * v.price:.2f} in all; a full set would have cost {v.count * v.price:.2f}. "
        "The tester is harsher than your engine: its electrodes are cold and its air is dry. "
        "If the misfire comes back, the cause lies elsewhere, and fresh plugs would only hide it for a while. "
        "Please come by then and we measure coil, points and leads."
    )


LETTER = Exercise(
    key="m04.letter",
    version=1,
    marking=1,
    title="A few words to the owner",
    text=(
        "An owner asked for a full set of new plugs because the engine misfires under load. You serviced and tested "
        "the {count} plugs: {bad} stayed more than 30 per cent below a new one, the others did not. A new plug costs "
        "{price:.2f}. Write to the owner in 60 to 120 words, without trade words: what you kept, what you renewed, "
        "why, what it costs, and what to do if the misfire comes back."
    ),
    draw={"count": Pick((4, 6, 8)), "bad": Steps(1, 2), "price": Steps(320, 640, 5, scale=100)},
    parts=(
        Written(
            key="text", prompt="Your message", marks=3, objectives=("P2", "P7"), answer=_letter,
            rubric=(
                ("says which plugs were kept and renewed, by a measurement beside a new plug, and the cost", 1),
                ("says in plain words why a plug that passes is sound: the tester asks more than the engine", 1),
                ("promises no cure, since new plugs can hide another fault, and says what to do if the misfire comes back", 1),
            ),
        ),
    ),
    route=lambda v: (_letter(v),),
)  # fmt: skip
