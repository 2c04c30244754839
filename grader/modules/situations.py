"""Situations that a rule builds and judges, so that no two trainees need have the same; and pages with one line wrong."""

from collections.abc import Callable, Mapping, Sequence
from itertools import product
from types import MappingProxyType
from typing import Any

from grader.exercise import listing
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.spread import Pick, Steps

MANY = Steps(0, 9999)  # from which `chosen` takes one of the situations that lead to an answer


def by_answer(
    facts: Mapping[str, tuple], rule: Callable[..., str | None]
) -> Mapping[str, tuple[Mapping[str, object], ...]]:
    """Every combination of facts that can be, under the answer to which the rule leads.

    Parameters
    ----------
    facts : mapping
        Name of a fact to the states it can be in.
    rule : function
        Takes the facts by name; gives the answer, or None where no workshop sees such a thing.

    Returns
    -------
    mapping
        Answer to its situations, each a mapping of the facts.
    """
    sorted_out: dict[str, list[Mapping[str, object]]] = {}
    for states in product(*facts.values()):
        situation = dict(zip(facts, states, strict=True))
        answer = rule(**situation)
        if answer is not None:
            sorted_out.setdefault(answer, []).append(MappingProxyType(situation))
    return MappingProxyType({answer: tuple(many) for answer, many in sorted_out.items()})


def chosen(situations: Sequence[Any], number: int) -> Any:
    """One of the situations, as evenly as a number out of `MANY` allows."""
    return situations[number * len(situations) // len(MANY.values)]


# A statement: what is right, two ways in which it gets printed wrong, why the right one is right.
Statement = tuple[str, str, str, str]


def page_with_an_error(
    *,
    key: str,
    version: int,
    text: str,
    marks: int,
    objectives: tuple[str, ...],
    topics: Mapping[str, Mapping[str, Statement]],
) -> Exercise:
    """An exercise: five printed lines, one for each topic, one of them wrong.

    Parameters
    ----------
    key, version, text, marks, objectives
        As of any exercise; `text` has {page} where the lines stand.
    topics : mapping
        Topic to its statements by name. Which statement a line makes is drawn, which of the
        lines is wrong, and in which of two ways.

    Returns
    -------
    Exercise
    """
    places = {topic: f"says_{topic}" for topic in topics}
    options = {topic: f"Line {number}" for number, topic in enumerate(topics, 1)}

    def drawn(v, topic: str) -> tuple[str, Statement]:
        many = tuple(topics[topic].items())
        return many[getattr(v, places[topic])]

    def page(v) -> dict[str, str]:
        rows = [drawn(v, topic)[1][1 + v.wording if topic == v.wrong else 0] for topic in topics]
        return {"page": listing.lines(f"({number}) {row}" for number, row in enumerate(rows, 1))}

    def slip(topic: str, name: str, why: str) -> Slip:
        return Slip(
            name,
            f"That line is right. {why}",
            lambda v: topic if v.wrong != topic and drawn(v, topic)[0] == name else None,
        )

    return Exercise(
        key=key,
        version=version,
        marking=1,
        title="Find the error in print",
        text=text,
        draw={
            "wrong": Pick(tuple(topics)),
            "wording": Steps(0, 1),
            **{places[topic]: Steps(0, len(many) - 1) for topic, many in topics.items()},
        },
        show=page,
        parts=(
            Choice(
                key="line",
                prompt="The wrong line",
                marks=marks,
                objectives=objectives,
                order="fixed",
                options=MappingProxyType(options),
                answer=lambda v: v.wrong,
                slips=tuple(slip(topic, name, row[3]) for topic, many in topics.items() for name, row in many.items()),
            ),
        ),
        route=lambda v: (
            f"Printed: {drawn(v, v.wrong)[1][1 + v.wording]}",
            f"It must read: {drawn(v, v.wrong)[1][0]}",
        ),
    )
