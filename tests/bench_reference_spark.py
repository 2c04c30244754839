"""Median times of the spark, plug and lead functions, with their goals beside them.

Run from the root of a checkout: python tests/bench_reference_spark.py
"""

import statistics
import time

from grader.published_checks import routes_spark
from grader.reference.spark import breakdown, cables, plug, tester

NEW, USED = [102, 98, 100, 101, 99], [71, 75, 69, 73, 72]
CASES = (
    ("nose temperature, k(T) and core", 20.0, lambda: plug.nose_temperature_c(14, 250, 876.85, 166.85)),
    ("nose temperature, constant k", 2.0, lambda: plug.fin_tip_c(14, 250, 876.85, 166.85, 7, 5, 2.6, 60, plug.TIPS[1])),
    ("required voltage, uniform law", 2.0, lambda: breakdown.required_voltage_kv(0.9, 8.62, 566)),
    ("required voltage, engine correlation", 2.0, lambda: breakdown.engine_voltage_kv(0.9, 8.62, 566)),
    ("demand factor", 2.0, lambda: breakdown.demand_factor(True, 0.5, 1.1, 540)),
    ("firing pressure", 2.0, lambda: routes_spark.firing_psig(18, 0.035)),
    ("keep verdict", 2.0, lambda: tester.keep_verdict(NEW, USED)),
    ("sample size, Student", 2.0, lambda: tester.sample_size(5, 3)),
    ("Grubbs", 2.0, lambda: tester.outlier(USED)),
    ("coupling and induced voltage", 2.0, lambda: routes_spark.induced_kv(8, 300)),
    ("victim's voltage", 2.0, lambda: routes_spark.victim_kv(8, 10, 8.5, 0.9)),
    ("lead state", 2.0, lambda: cables.lead_state(12, 500)),
)


def median_ms(call, repeats=60):
    """Median time of one call [ms], the first call left out."""
    call()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        times.append(1000.0 * (time.perf_counter() - start))
    return statistics.median(times)


def main():
    """Print the table."""
    print(f"{'function':<38}{'median ms':>10}{'goal ms':>9}")
    for name, goal, call in CASES:
        took = median_ms(call)
        print(f"{name:<38}{took:>10.3f}{goal:>9.0f}{'' if took <= goal else '  over'}")


if __name__ == "__main__":
    main()
