"""Module 3: heat range, plug reading, gap growth and reserve."""

from grader.exercise.model import Module
from grader.modules.heat_range import advice, nose, reading, wear

MODULE = Module(
    key="m03_heat_range",
    title="Heat range and plug reading",
    minutes=80,
    exercises=(
        nose.TIP_STATE,
        nose.NOSE_FIN,
        nose.TIP_CHANGES,
        nose.TWO_DUTIES,
        reading.LOOK,
        reading.FIRST_MOVE,
        reading.SOOTY_ORDER,
        advice.KEEP_RANGE,
        wear.GAP_GROWTH,
        wear.RESERVE,
        wear.INTERVAL,
        reading.SORT_LOT,
        advice.FIND_ERROR,
        advice.OWNER,
    ),
    old=(reading.SORT_LOT_BY_COST,),
)
