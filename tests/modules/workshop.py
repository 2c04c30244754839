"""Draws as a workshop sees them: what belongs together is held together over many trainees."""

from collections.abc import Callable, Iterable
from types import SimpleNamespace

from grader.exercise.model import Module
from grader.marking import proof

MANY = 10_000


def issued(module: Module, *keys: str, count: int = MANY) -> Iterable[dict[str, SimpleNamespace]]:
    """The parameters of some exercises for many trainees; the others take no part, and do not move a draw."""
    some = Module(module.key, module.title, module.minutes, tuple(e for e in module.exercises if e.key in keys))
    assert len(some.exercises) == len(keys)
    for numbers in proof.draws(some, count):
        yield {key: SimpleNamespace(**parameters) for key, parameters in numbers.items()}


def cases(module: Module, key: str, facts: Callable[[SimpleNamespace], object], count: int = 600) -> set:
    """The materially different cases of an exercise that so many trainees meet."""
    return {facts(given[key]) for given in issued(module, key, count=count)}


def resting_on_one(module: Module) -> set[str]:
    """Objectives for which fewer than two exercises give evidence."""
    evidence: dict[str, set[str]] = {}
    for exercise, part, _ in module.parts():
        for code in part.objectives:
            evidence.setdefault(code, set()).add(exercise.key)
    return {code for code, keys in evidence.items() if len(keys) < 2}
