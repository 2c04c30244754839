"""Earlier versions of module 2's exercises, frozen: work issued with them is marked by them.

GAP_WINDOW in version 1 printed its card to a thousandth and worked with finer gaps, so that honest
answers were marked wrong. GAP_DWELL and WEAR_TIMING let a gap widen that nobody had touched.
ENOUGH_VOLTAGE asked for more than any plug does, CURRENT for speeds that no lorry reaches.
FIND_ERROR had ten lines to be wrong.
"""

from grader.modules.old.dwell import coil, gap

EXERCISES = (gap.GAP_DWELL, gap.GAP_WINDOW, gap.WEAR_TIMING, gap.FIND_ERROR, coil.CURRENT, coil.ENOUGH_VOLTAGE)
