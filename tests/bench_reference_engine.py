"""Median times of the engine and coil functions beside their goals.

Run it by hand: python tests/bench_reference_engine.py
It prints and asserts nothing: times depend on the machine.
"""

import statistics
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from grader.reference.spark import coil, waveform
from grader.reference.timing import cycle, induction

SPEEDS = np.linspace(500.0, 5000.0, 46)
CASES = (
    ("one cycle", 10, lambda: cycle.solve(-20.0)),
    ("46 cycles at once", 460, lambda: cycle.solve(-20.0, SPEEDS)),
    ("best timing", 50, lambda: cycle.best_burn_start_deg()),
    ("torque loss against error", 50, lambda: cycle.torque_loss_percent(8.0)),
    ("waveform, dark plug", 10, lambda: waveform.solve(4.25)),
    ("waveform, firing plug", 10, lambda: waveform.solve(4.25, breakdown_kv=12.0)),
    ("manifold, one point", 1, lambda: induction.manifold_pressure_kpa(40.0, 600.0)),
    ("manifold, 10 000 points", 10, lambda: induction.manifold_pressure_kpa(np.linspace(10, 900, 10000), 2000.0)),
    ("available voltage, 46 speeds", 1,
     lambda: coil.available_voltage_kv(coil.current_at_opening_a(30.0, SPEEDS), SPEEDS)),
)  # fmt: skip


def median_ms(call, least_s=0.4):
    """Median of single calls, after one warm-up."""
    call()
    times = []
    until = time.perf_counter() + least_s
    while len(times) < 5 or time.perf_counter() < until:
        start = time.perf_counter()
        call()
        times.append(1e3 * (time.perf_counter() - start))
    return statistics.median(times)


if __name__ == "__main__":
    print(f"{'what':32}{'median ms':>12}{'goal ms':>10}")
    for name, goal, call in CASES:
        print(f"{name:32}{median_ms(call):12.3f}{goal:10}")
