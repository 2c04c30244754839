"""A module of twenty plain number exercises, to measure the speed of marking."""

from grader.exercise.model import Exercise, Module, Number, Percent, Slip
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.spread import Steps
from grader.reference import angles

_WITHIN = Percent(2, "three-figure arithmetic")


def _exercise(number):
    part = Number(
        key="time", prompt="Time to top dead centre", unit="ms", also=("s",), marks=1, step=0.01,
        answer=lambda v: angles.time_of_angle_ms(v.angle_deg, v.speed_rpm), within=_WITHIN, possible=(0.0, 200.0),
        objectives=("T1",),
        slips=(
            Slip("distributor-speed", "Take the crankshaft's speed.",
                 lambda v: angles.time_of_angle_ms(v.angle_deg, v.speed_rpm / 2)),
            Slip("minutes", "Divide the speed by 60 first.",
                 lambda v: angles.time_of_angle_ms(v.angle_deg, 60 * v.speed_rpm)),
        ),
    )  # fmt: skip
    draw = {"speed_rpm": Steps(500, 4500, 50), "angle_deg": Steps(6, 40)}
    return Exercise(f"m94.e{number:02d}", 1, 1, "Degrees as time", "", draw, (part,), lambda v: ())


TWENTY = Module("m94_twenty", "Twenty", 60, tuple(_exercise(n) for n in range(1, 21)))


def sheet(numbers, trainee):
    """What an able and a less able trainee would type in turn: right, right, a slip, wrong."""
    answers = {}
    for place, (key, given) in enumerate(numbers.items()):
        right = 1000 * given["angle_deg"] / (6 * given["speed_rpm"])
        value = (right, right, 2 * right, 1.3 * right)[(place + trainee) % 4]
        answers[f"{key}.time"] = Answer(f"{value:.2f}", "ms")
    return Sheet("bench", TWENTY.key, f"t{trainee}", 1, answers)
