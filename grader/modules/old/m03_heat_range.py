"""Earlier versions of module 3's exercises, frozen: work issued with them is marked by them.

SORT_LOT in versions 1 and 2 scrapped plugs for a wide gap, LOOK and FIRST_MOVE in version 1 took every
wet plug for an oily one. RESERVE let almost half of the plugs misfire, KEEP_RANGE sent a tractor against
the current, SOOTY_ORDER was the same for all. FIND_ERROR had one wrong way a line, OWNER one wish and one finding.
INTERVAL had sets of 30,000 km.
NOSE_FIN and TIP_CHANGES are dropped: cosh for mechanics carried five of thirty marks.
"""

from grader.modules.heat_range.nose import TIP_MOVES_NARROW
from grader.modules.heat_range.wear import INTERVAL_FAR, RESERVE_NARROW
from grader.modules.old.heat_range import advice, nose, reading, wear, words

EXERCISES = (
    nose.NOSE_FIN,
    nose.TIP_CHANGES,
    reading.LOOK,
    reading.FIRST_MOVE,
    reading.SOOTY_ORDER,
    reading.SORT_LOT,
    reading.SORT_LOT_BY_COST,
    advice.KEEP_RANGE,
    wear.GAP_GROWTH,
    wear.RESERVE,
    words.FIND_ERROR,
    words.OWNER,
    INTERVAL_FAR,
    RESERVE_NARROW,
    TIP_MOVES_NARROW,
)
