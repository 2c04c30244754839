"""What a session is told afterwards: for each step why it was good or poor then, and a best road beside the road taken.

Data first, then words. Nothing here is shown while a session can still go on: it names what was wrong.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from grader.bench import actions as acting
from grader.bench import instruments as reading
from grader.bench import marks as marking
from grader.bench import plan as planning
from grader.bench import session, trainees
from grader.bench.cases import Case
from grader.bench.likelihood import table
from grader.bench.session import Step
from grader.bench.signs import UNREADABLE, examined_sound_word, signs
from grader.exercise.part import Listed
from grader.vehicle.faults import fault

SHOWN = 5  # causes that are named with their share
LEAST_LOSS = 2.0  # minutes below which a step is as good as the best
_NOTHING_NEW = 0.02  # by which no share moved: the reading excluded nothing


@dataclass(frozen=True, slots=True)
class Told:
    """One step in the debrief.

    step; did: in words. possible: the likeliest causes before it with their shares. outcomes: what each
    result of the test would have left, the likeliest first, as causes. cost: minutes of the whole road with it, best: the best test's name
    and best_cost its road; nothing for steps that are no test. excluded: False if it told nothing
    new. proved: it showed what proves the fault. missed: a look that did not see what was there. says: the judgement.
    """

    step: Step
    did: str
    possible: tuple[tuple[str, float], ...]
    outcomes: tuple[tuple[str, ...], ...]
    cost: float
    best: str
    best_cost: float
    regret: float
    excluded: bool
    proved: bool
    missed: bool
    says: str


@dataclass(frozen=True, slots=True)
class Debrief:
    """The debrief of a session: its marks, every step, and one best road as (what, minutes) with its sum."""

    truth: tuple[str, ...]
    marks: marking.Marks
    steps: tuple[Told, ...]
    minutes: float
    best_road: tuple[tuple[str, float], ...]
    best_minutes: float


def test_title(key: str) -> str:
    """A test as plans name it, in words."""
    tool, _, part = key.partition(":")
    return f"{acting.action(part).title}, for a trial" if part else reading.instrument(tool).title


def act_title(step: Step) -> str:
    """An act in words."""
    act = step.act
    if step.kind == session.TEST:
        return (
            test_title(planning.test_key(step)) if act["with"] != reading.SWAP or act.get("part") else "Trial of a part"
        )
    if step.kind == session.ACTION:
        at = act.get("at", 0)
        return acting.action(act["what"]).title + (f" ({at if isinstance(at, str) else f'number {at}'})" if at else "")
    if step.kind == session.UNSAFE:
        return reading.unsafe_acts()[act["what"]]["title"]
    if step.kind == session.RUN:
        return session.RUN_WORDS[act["to"]]
    named = act.get("groups", act.get("found", []))
    told = " and ".join(session.group_words(group, act.get("at", 0)) for group in named)
    return f"{'Suspected' if step.kind == session.NAME else 'Handed over'}: {told}"


def causes(case: Case, places: Sequence[int], weights: NDArray[np.float64]) -> list[tuple[str, float]]:
    """Causes among some atoms with their shares, the likeliest first; severities of one cause together."""
    shares: dict[str, float] = {}
    atoms = table(case.engine).atoms
    for place in places:
        shares[atoms[place].title] = shares.get(atoms[place].title, 0.0) + float(weights[place])
    return sorted(shares.items(), key=lambda row: (-row[1], row[0]))


@lru_cache(maxsize=64)
def debrief(case: Case, log: str) -> Debrief:
    """The whole debrief of a log.

    Parameters
    ----------
    case : Case
    log : str

    Raises
    ------
    Unreadable
        The log is damaged.
    """
    bench, marked = session.replay(case, log), marking.mark(case, log)
    beliefs = planning.beliefs(bench)
    told = tuple(_told(case, *step) for step in zip(marked.steps, beliefs, beliefs[1:], strict=False))
    best = session.replay(case, trainees.best_road(case))
    return Debrief(
        truth=session.truth_of(case),
        marks=marked,
        steps=told,
        minutes=bench.minutes + bench.parts,
        best_road=tuple((act_title(step), step.minutes + step.parts) for step in best.steps),
        best_minutes=best.minutes + best.parts,
    )


def _told(case: Case, judged: marking.Judged, before: NDArray[np.float64], after: NDArray[np.float64]) -> Told:
    step = judged.step
    possible = causes(case, range(len(before)), before)[:SHOWN]
    best, best_cost = (judged.best.key, judged.best.cost) if judged.best else ("", 0.0)
    outcomes = tuple(tuple(title for title, _ in causes(case, places, before)) for places in judged.outcomes)
    excluded = bool(np.abs(after - before).max() > _NOTHING_NEW) if step.outcome == session.READ else True
    missed = step.outcome == session.READ and _missed(case, step)
    proved = step.outcome == session.READ and _proves(case, step)
    draft = Told(
        step=step,
        did=act_title(step),
        possible=tuple(possible),
        outcomes=outcomes,
        cost=judged.cost,
        best=best,
        best_cost=best_cost,
        regret=judged.regret,
        excluded=excluded,
        proved=proved,
        missed=missed,
        says="",
    )
    return replace(draft, says=" ".join(sentence for sentence in _sentences(draft, judged, case) if sentence))


def _missed(case: Case, step: Step) -> bool:
    """True if a look on the car as it was brought showed nothing where something was to be seen."""
    if step.car:
        return False
    x = session.examined(case.car)
    for name, word in step.results.items():
        sign = signs().get(name)
        if sign is not None and sign.is_look and word == sign.results[0] != x.word(name) != UNREADABLE:
            return True
    return False


def _proves(case: Case, step: Step) -> bool:
    """True if a reading on the car as it was brought shows something out that belongs to the proof of the fault."""
    tools = {tool for key in case.atom.faults for way in fault(key).proof_by.split("|") for tool in way.split("&")}
    if step.car or step.instrument not in tools:
        return False
    if step.instrument == reading.SWAP:
        return "cured" in step.results.values()
    x = session.examined(case.car)
    return any(
        word == x.word(name) != examined_sound_word(case.engine, name)
        for name, word in step.results.items()
        if name in signs()
    )


def _sentences(told: Told, judged: marking.Judged, case: Case) -> list[str]:
    step, lost = told.step, f"{judged.regret:.0f} minutes"
    if step.outcome == session.STOPPED:
        return [f"Stopped: {marking.UNSAFE:.0f} marks off. {step.sentences[0].partition('. ')[2]}"]
    if step.outcome == session.REFUSED:
        return ["It could not be done as the car stood, and cost nothing."]
    also = [
        "The look missed what was there." if told.missed else "",
        "It showed what proves the fault." if told.proved else "",
    ]
    if step.kind == session.TEST:
        return [_test_sentence(told, judged), *also]
    if judged.why == marking.FITTED:
        share = 1.0 - judged.regret / max(judged.regret, step.minutes + step.parts + planning.TRIAL_MINUTES)
        return [f"Nothing spoke for it yet but a guess ({share:.0%}); on the average it lost {lost}."]
    if judged.why == marking.MENDED:
        if judged.regret < LEAST_LOSS:
            return ["What was read before spoke for this repair."]
        return [f"It was done before the evidence was there; what could still have been wrong weighs {lost}."]
    if judged.why == marking.FOLLOWS:
        return ["It belongs to the repair: what was disturbed is set again."]
    if judged.why == marking.WAITED and judged.regret:
        return [f"The wait served no test: {lost}."]
    if judged.why == marking.NAMED_ACT:
        if step.came_back:
            return ["The owner came back: what was wrong was still there."]
        return ["" if judged.regret < LEAST_LOSS else f"The name was not yet borne out; that weighs {lost}."]
    return []


def _test_sentence(told: Told, judged: marking.Judged) -> str:
    words = {
        marking.PROOF_READING: "The reading that proves what was likely already; it costs nothing.",
        marking.VERIFICATION: "It verifies, and costs nothing.",
        marking.AGAIN_AT_LIMIT: "The reading before lay near its limit; to take it again once was right.",
        marking.MET: "To meet the complaint yourself once is always right.",
        marking.FREE: "To ask the owner once more is always right.",
    }
    if judged.why in words:
        return words[judged.why]
    if not told.best:
        return f"Asked before; {judged.regret:.0f} minutes."
    minutes = f"{told.step.minutes:.0f} minutes"
    nothing = "" if told.excluded else " As it came out, it excluded nothing."
    parts = len(told.outcomes)
    if told.regret < LEAST_LOSS:
        return f"A good step then: it parts what was left {parts} ways for {minutes}; the whole road needs about {told.cost:.0f}.{nothing}"
    worth = f"it parts what was left {parts} ways" if parts > 1 else "it could exclude none of what was left"
    if told.best == "stop":
        better = "the answer could have been named and proved at once"
    else:
        better = f"with “{test_title(told.best)}” the whole road needs about {told.best_cost:.0f}"
    return f"{worth[0].upper()}{worth[1:]}, for {minutes}, and the whole road then needs about {told.cost:.0f}; {better}.{nothing}"


_MISSING = {
    "proof": ("What proves the fault was not read before the repair.", "A repair that was not proved may be luck."),
    "verified": ("The repair was not verified.", "The owner must not be the one who finds out."),
    "handed_over": ("The car was not handed over, or came back.", "Only a car that stays away is finished."),
    "reread": (
        "The sign that was out was not read again after the last change.",
        "Only then is it known to be in limits.",
    ),
    "then": ("What the repair disturbs was not set or checked again.", "Dwell moves timing, a cap off moves leads."),
    "condition": ("The complaint was not tried under its own condition.", "What fails uphill may be well in the bay."),
    "found": ("The hand-over does not name just what was wrong.", "The next who works on it needs to know."),
    "proved": ("The hand-over does not name a reading that proved it.", "Say what was read, not what was thought."),
    "compared": (
        "No reading stands before and after the repair.",
        "Two figures of one instrument show what the repair did.",
    ),
    "left": ("Nothing is said of what was left.", "Say what you saw and left, or that there was nothing."),
}


def summary(case: Case, log: str) -> str:
    """The marks in one sentence."""
    marked = marking.mark(case, log)
    lines = (
        ("road", marked.road, marking.ROAD),
        ("named", marked.named, marking.NAMED),
        ("proof", marked.proof, marking.PROOF),
        ("verified", marked.verified, marking.VERIFIED),
        ("hand-over", marked.handed_over, marking.HAND_OVER),
    )
    told = ", ".join(f"{what} {earned:.0f} of {most:.0f}" for what, earned, most in lines)
    off = (
        (marked.swapped, marking.SWAPPED, "fitted unproved", "part"),
        (marked.unsafe, marking.UNSAFE, "stopped", "unsafe act"),
    )
    for count, each, why, what in off:
        if count:
            told += f"; {count * each:.0f} off for {count} {what}{'s' * (count > 1)} {why}"
    return f"{marked.total:.0f} of 100: {told}."


def losses(case: Case, log: str) -> list[tuple[str, str]]:
    """What cost something, as (what, why): steps in order, then what was left out."""
    told = debrief(case, log)
    items = [
        (f"Step {each.step.number}, “{each.did}”: about {each.regret:.0f} minutes lost.", each.says)
        for each in told.steps
        if each.regret >= LEAST_LOSS
    ]
    items += [
        (f"Step {each.step.number}, “{each.did}”.", each.says)
        for each in told.steps
        if each.step.outcome == session.STOPPED
    ]
    return [*items, *(_MISSING[key] for key in dict.fromkeys(told.marks.missing))]


def roads(case: Case, log: str) -> list[Listed]:
    """The road taken with what each step was worth then, what was left out, and one best road, as tables."""
    told = debrief(case, log)
    rows = [
        (
            str(each.step.number),
            each.did,
            f"{each.step.minutes + each.step.parts:.0f}",
            f"{each.regret:.0f}" if each.regret >= LEAST_LOSS else "",
            each.says,
        )
        for each in told.steps
    ]
    rows += [("–", what, "", "", why) for what, why in (_MISSING[key] for key in dict.fromkeys(told.marks.missing))]
    best = [(str(number), what, f"{minutes:.0f}") for number, (what, minutes) in enumerate(told.best_road, 1)]
    return [
        Listed(
            f"Your road: {told.minutes:.0f} minutes, parts counted",
            ("step", "what you did", "minutes", "lost", "what it was worth then"),
            rows,
        ),
        Listed(f"One best road: {told.best_minutes:.0f} minutes", ("step", "what is done", "minutes"), best),
    ]


def left_out(key: str) -> tuple[str, str]:
    """What a session did not do, and why it matters, by its key in `marks.Marks.missing`."""
    return _MISSING[key]
