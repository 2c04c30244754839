"""Earlier versions of module 4's exercises, frozen: work issued with them is marked by them.

REGAP in version 1 led to more pressure than a tester is given, HARSHER went on from it. LETTER called every
plug sound that fired, and let a misfire go home untested. BATCH in version 1 was marked by cost. The judgement
exercises had four to ten cases each. CHART led to readings that no tester shows.
"""

from grader.modules.old.plug_testing import firing, judged, letter
from grader.modules.plug_testing.causes import BATCH_BY_COST
from grader.modules.plug_testing.firing import CHART_HIGH, HARSHER_NARROW, REGAP_NARROW

EXERCISES = (
    firing.REGAP,
    firing.HARSHER,
    letter.LETTER,
    BATCH_BY_COST,
    judged.FIRST_TEST,
    judged.SERVICE,
    judged.CHANGES,
    judged.FIND_ERROR,
    CHART_HIGH,
    REGAP_NARROW,
    HARSHER_NARROW,
)
