"""Help while practising: what is still possible with its share, and the next test with its reason."""

from dataclasses import dataclass

from grader.bench import plan as planning
from grader.bench.debrief import causes, test_title
from grader.bench.session import Bench

SHORTLIST = 8


@dataclass(frozen=True, slots=True)
class Hint:
    """The next step of the best road: test or "stop", in words, minutes of the whole road, and why."""

    key: str
    title: str
    minutes: float
    why: str


def shortlist(bench: Bench, most: int = SHORTLIST) -> tuple[tuple[str, float], ...]:
    """The likeliest causes with their shares, and what is left as "something else"."""
    weights = planning.belief(bench)
    rows = causes(bench.case, range(len(weights)), weights)[:most]
    rest = max(0.0, 1.0 - sum(share for _, share in rows))
    return (*rows, ("Something else", rest))


def hint(bench: Bench) -> Hint:
    """What to do next, and why."""
    plan = planning.plan_of(bench)
    best = plan.best()
    if best.key == "stop":
        named = " and ".join(sorted(plan.best_named))
        why = f"One answer is so likely that only its proof is wanting: {named}."
        return Hint("stop", "Name it and prove it", best.cost, why)
    parts = len(plan.outcomes(best.key))
    why = f"It parts what is still possible {parts} ways for {plan.minutes[best.key]:.0f} minutes; the whole road needs about {best.cost:.0f}."
    return Hint(best.key, test_title(best.key), best.cost, why)
