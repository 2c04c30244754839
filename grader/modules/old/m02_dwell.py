"""Earlier versions of module 2's exercises, frozen: work issued with them is marked by them.

GAP_WINDOW in version 1 printed its card to a thousandth and worked with finer gaps, so that honest
answers were marked wrong. GAP_DWELL and WEAR_TIMING let a gap widen that nobody had touched.
ENOUGH_VOLTAGE asked for more than any plug does, CURRENT for speeds that no lorry reaches.
FIND_ERROR had ten lines to be wrong, CRATER eight cases, NEXT_TEST five, FIT_ORDER one. ROUND let whoever
forgot every switch earn full marks with many a draw. SPRING knew springs that nobody leaves in.
"""

from grader.modules.old.dwell import bench, coil, gap, meter

EXERCISES = (
    gap.GAP_DWELL,
    gap.GAP_WINDOW,
    gap.WEAR_TIMING,
    gap.FIND_ERROR,
    coil.CURRENT,
    coil.ENOUGH_VOLTAGE,
    meter.ROUND,
    meter.ROUND_BY_COST,
    meter.SPRING,
    meter.NEXT_TEST,
    bench.FIT_ORDER,
    bench.CRATER,
)
