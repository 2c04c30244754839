"""Module 3: heat range, plug reading, gap growth and reserve."""

from grader.exercise.model import Module
from grader.modules.heat_range import advice, nose, reading, wear
from grader.modules.old import m03_heat_range as old

MODULE = Module(
    key="m03_heat_range",
    title="Heat range and plug reading",
    minutes=90,
    exercises=(
        nose.TIP_STATE,
        nose.TWO_DUTIES,
        nose.TIP_MOVES,
        reading.LOOK,
        reading.FIRST_MOVE,
        reading.WET,
        reading.SOOTY_ORDER,
        advice.KEEP_RANGE,
        wear.GAP_GROWTH,
        wear.RESERVE,
        wear.INTERVAL,
        reading.SORT_LOT,
        advice.FIND_ERROR,
        advice.OWNER,
    ),
    old=old.EXERCISES,
)
