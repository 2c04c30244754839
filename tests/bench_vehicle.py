"""Times of the simulated vehicle beside their goals.

Run it by hand: python tests/bench_vehicle.py
It prints and asserts nothing: times depend on the machine. CPU time of one core.
"""

import statistics
import sys
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from grader.vehicle.car import CRANK, FREE, IDLE, ROAD, Running, cards
from grader.vehicle.standard import STANDARD, States
from grader.vehicle.state import solve, sound_car

ROUNDS = 15


def median_ms(call, rounds=ROUNDS):
    """Median CPU time of single calls; each call gets its number, so that nothing is found solved already."""
    times = []
    for number in range(rounds):
        start = time.process_time()
        call(number)
        times.append(1e3 * (time.process_time() - start))
    return statistics.median(times)


def main():
    """Print one line for each engine and condition: median, goal, and how many times faster than the goal."""
    for key in cards():
        start = time.process_time()
        car = sound_car(key)
        print(f"{key}: first sight of the engine, tables and idle {1e3 * (time.process_time() - start):.0f} ms")
        rated = car.card.rated_rpm
        cases = (
            ("idle", 15, Running(IDLE)),
            ("held speed", 15, Running(FREE, rpm=0.5 * rated)),
            ("road", 5, Running(ROAD, rpm=0.5 * rated, load=0.5)),
            ("cranking", 5, Running(CRANK)),
        )
        for name, goal, running in cases:
            took = median_ms(
                lambda number, car=car, running=running: solve(replace(car, body_deg=0.01 * number), running)
            )
            print(f"  {name:12} {took:6.1f} ms, goal {goal:3}: {goal / took:4.1f} times as fast")

        def all_states(number, car=car):
            states = States(replace(car, body_deg=0.013 * number))
            for name in STANDARD:
                states[name]

        took = median_ms(all_states, 9)
        print(f"  {'13 states':12} {took:6.1f} ms, goal  90: {90 / took:4.1f} times as fast")


if __name__ == "__main__":
    main()
