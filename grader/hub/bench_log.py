"""The bench on the instructor's side: one act at a time is answered, and the log is kept where no trainee comes.

The trainee's machine is told what a reading says, never the car behind it.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from dataclasses import asdict
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from grader import catalogue, files
from grader.bench import cases, session
from grader.bench.cases import Case
from grader.bench.part import Bench
from grader.bench.session import Step
from grader.errors import BadFile, Refused, Unknown, Unreadable
from grader.exercise import issued
from grader.hub import classwork
from grader.records.term.term import Term

FOLDER = "bench"
_LARGEST = 2_000_000
_ONE_AT_A_TIME: defaultdict[tuple[str, str], threading.Lock] = defaultdict(threading.Lock)


def standing(term: Term, trainee: str, module: str, attempt: int, path: str) -> dict[str, Any]:
    """How a trainee's session with a car stands: every step so far, in the words of the bay.

    Parameters
    ----------
    term : Term
    trainee : str
        Our id, as the hub names him.
    module, attempt, path
        The work, and the part of it, such as m06.sedan.car.

    Returns
    -------
    dict
        card, steps, closed, minutes, parts.

    Raises
    ------
    Unknown, Refused, BadFile
        No such work of his, no bench there, or its log cannot be read.
    """
    case = _case(term, trainee, module, attempt, path)
    return _shown(case, _log(_place(term, trainee, module, attempt, path)))


def do(term: Term, trainee: str, module: str, attempt: int, path: str, act: object) -> dict[str, Any]:
    """Do one act, keep it in the log, and say what came of it.

    Raises
    ------
    Unknown, Refused, BadFile
        As `standing`; the act is none, or the session is at its end. Nothing was done.
    CannotWrite
        The disk refuses; nothing was done.
    """
    case = _case(term, trainee, module, attempt, path)
    place = _place(term, trainee, module, attempt, path)
    if not isinstance(act, dict):
        raise BadFile("An act is an object. Nothing was done.")
    with _ONE_AT_A_TIME[trainee, path]:
        log = _log(place)
        before = session.replay(case, log)
        if before.closed:
            raise Refused("The car is back with its owner; nothing more can be done to it.")
        try:
            log = session.append(log, act)
            shown = _shown(case, log)
        except (Unreadable, Unknown, ValueError) as problem:
            raise BadFile(f"{problem} Nothing was done.") from None
        files.write_text(place, log, mode=files.PRIVATE)
    return shown


def _case(term: Term, trainee: str, module: str, attempt: int, path: str) -> Case:
    record = issued.parse(classwork.issue_of(term, trainee, module, attempt).encode())
    part = next((part for _, part, found in catalogue.module(module).parts() if found == path), None)
    exercise = path.rpartition(".")[0]
    if not isinstance(part, Bench) or exercise not in record.exercises:
        raise Unknown(f"{path[:80]} is no bench of {module}.")
    return part.answer(SimpleNamespace(**record.numbers[exercise]))


def _place(term: Term, trainee: str, module: str, attempt: int, path: str) -> Path:
    return term.folder / FOLDER / trainee / f"{module}-{attempt}-{path}.json"


def _log(place: Path) -> str:
    if not place.exists():
        return session.EMPTY
    return files.read_bytes(place, most=_LARGEST, what="The log of the bench").decode()


def _shown(case: Case, log: str) -> dict[str, Any]:
    """What may leave the instructor's side: the card of the job and the steps, nothing of the case."""
    bench = session.replay(case, log)
    return {
        "card": asdict(cases.job_card(case)),
        "steps": [_step(step) for step in bench.steps],
        "closed": bench.closed,
        "minutes": bench.minutes,
        "parts": bench.parts,
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "number": step.number,
        "act": dict(step.act),
        "outcome": step.outcome,
        "sentences": list(step.sentences),
        "minutes": step.minutes,
        "figures": [figure.text for figure in step.figures],
    }
