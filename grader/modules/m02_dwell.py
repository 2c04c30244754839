"""Module 2: point gap, dwell, and what both do to timing and spark."""

from grader.exercise.model import Module
from grader.modules.dwell import bench, coil, gap, meter
from grader.modules.old import m02_dwell as old

MODULE = Module(
    key="m02_dwell",
    title="Points and dwell",
    minutes=90,
    exercises=(
        gap.GAP_DWELL,
        gap.GAP_WINDOW,
        gap.WEAR_TIMING,
        gap.FIND_ERROR,
        meter.METER,
        bench.FEELER,
        bench.FIT_ORDER,
        meter.ROUND,
        coil.CURRENT,
        coil.ENOUGH_VOLTAGE,
        meter.SPRING,
        meter.HIGH_MISS,
        bench.CRATER,
        bench.CONTACTS,
        meter.NEXT_TEST,
        bench.TELL,
        bench.LETTER,
    ),
    old=old.EXERCISES,
)
