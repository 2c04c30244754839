"""How long a session at the bench takes to mark, a class of 40, and the next hint: python -m tests.bench_sessions

Nothing is kept from the work itself: every log is marked as it comes in from another machine.
"""

import sys
import time
from random import Random

from grader.bench import cases, coach, debrief, marks, session, trainees

CLASS, CARS, ENGINES = 40, 4, ("anstow-v8", "brackwater-four", "tolmere-six", "varde-van-four")
WAYS = ("best", "listed", "random", "parts")


def main(seed: int = 1) -> None:
    """Print the seconds of processor time: worst and mean session, the class, worst and mean hint, the debrief."""
    random, worked = Random(seed), []
    for number in range(CLASS):
        for car in range(CARS):
            case = cases.drawn(ENGINES[number % len(ENGINES)], 1 + car, seed * 1000 + number)
            worked.append((case, trainees.STRATEGIES[WAYS[number % len(WAYS)]].road(case, random)))
    _forget()
    took = [_seconds(lambda case=case, log=log: marks.mark(case, log)) for case, log in worked]
    print(f"marking: worst {max(took):.2f} s, mean {sum(took) / len(took):.2f} s; class of {CLASS}: {sum(took):.1f} s")
    told = [_seconds(lambda case=case, log=log: debrief.debrief(case, log)) for case, log in worked[:CLASS]]
    print(f"debrief after it: worst {max(told):.2f} s, mean {sum(told) / len(told):.2f} s")
    hints = []
    for case, log in worked:
        bench = session.begin(case)
        for act in session.acts(log)[:3]:
            hints.append(_seconds(lambda bench=bench: coach.hint(bench)))
            bench = session.after(bench, act)
    print(f"hint: worst {max(hints):.2f} s, mean {sum(hints) / len(hints):.2f} s of {len(hints)}")


def _forget() -> None:
    session._KEPT.clear()
    session.examined.cache_clear()
    marks.mark.cache_clear()
    trainees.best_road.cache_clear()


def _seconds(work) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
