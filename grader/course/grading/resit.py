"""Resits: fresh numbers for what was not met; what was met stays as it was answered.

The rule. A resit is a whole new attempt of the module. Exercises that examine an
objective not shown, and those linked with them, come with fresh numbers. Not shown is an
objective that is not met, and one with too few items to say so in which as much was lost;
or the instructor names some, of which one with too few items may also be one that went
well. Of every other
exercise the issue keeps the numbers and the answers of the attempt that counts now:
they are marked with the new ones, earn what they earned before and cannot be changed.
So each attempt has a mark of its own out of all the module's marks, late rule included,
and the best attempt counts.

A wrong unit is charged once on a sheet. It stays charged in the kept answer where it was
charged, and then costs nothing in a fresh one; where the exercise in which it was charged
is sat again, the kept answer goes on costing nothing, and the fresh one may be charged.

What an instructor read or set by hand in a kept exercise goes with it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, select

from grader import clock
from grader.course.attempts import evaluation, lateness, passing, standing
from grader.course.attempts.standing import Whom
from grader.course.grading.session import session
from grader.course.grading.several import Several, each
from grader.course.grading.work import Work
from grader.course.issue import assign, channels
from grader.errors import Refused, Unknown
from grader.exercise import issued, model, variant
from grader.exercise.model import Exercise, Module
from grader.marking.mark import CHARGED_BEFORE, charged_before
from grader.records import adjustments, ledger, schema, vehicles
from grader.records.term import dates, roster
from grader.records.term.term import Term


@dataclass(frozen=True, slots=True)
class Resit:
    """What was issued: to whom, which attempt, for which objectives, with which exercises fresh."""

    person: roster.Trainee
    attempt: int
    due: str
    objectives: dict[str, str]  # code -> how it stood: "no" or "too few items"
    exercises: tuple[Exercise, ...]


def resit(
    term: Term, trainee_id: str, module_key: str, *, due: str = "", reason: str, objectives: Sequence[str] = ()
) -> Resit:
    """`resit_all` for one trainee, by either of his ids."""
    return resit_all(term, module_key, Whom((trainee_id,)), due=due, reason=reason, objectives=objectives).done[0]


def resit_all(
    term: Term,
    module_key: str,
    whom: Whom,
    *,
    due: str = "",
    reason: str,
    objectives: Sequence[str] = (),
    preview: bool = False,
) -> Several[Resit]:
    """Issue one further attempt to some trainees.

    Parameters
    ----------
    term : Term
    module_key : str
    whom : Whom
    due : str
        ISO date or moment in the term's zone; empty for no due time.
    reason : str
    objectives : sequence of str
        Codes of those to sit again; empty: all that are not shown.
    preview : bool
        Say what would be issued; nothing is written.

    Returns
    -------
    Several of Resit

    Raises
    ------
    Unknown
        No such person or module, or an objective that it does not examine.
    Refused
        No reason; the latest attempt is not marked and returned; no attempt left;
        excused; written answers wait; every objective, or one that is named, is met.
    """
    if not reason.strip():
        raise Refused("A resit needs a reason; it stands in the ledger. Add --reason; nothing was issued.")
    moment = clock.to_text(dates.parse(term, due)) if due else ""
    if moment and clock.now() >= clock.from_text(moment):
        raise Refused(f"{term.shown(clock.from_text(moment))} is over. Name a later due time; nothing was issued.")
    with session(term, module_key, "issuing a resit of", rehearse=preview) as work:
        people, handouts = whom.people(term, work.connection, work.module.key), []

        def one(person):
            done, content = _sit_again(work, person, moment, reason, objectives)
            handouts.append((person.id, content))
            return done

        issued_to = each(work, people, one)
    for trainee, content in () if preview else handouts:
        assign.write_handout(term, module_key, trainee, content)
    return issued_to


def _sit_again(work, person, due, reason, objectives):
    """Issue one trainee's next attempt inside the session: (Resit, the record to hand out)."""
    connection, module = work.connection, work.module
    attempt = _next_attempt(work.term, connection, module, person)
    before = _Before.read(work, adjustments.owner(_counting(work.term, connection, module, person)))
    codes = chosen(work.term, person, module, passing.as_marked(before.answers, before.by_hand), objectives)
    fresh = to_sit(module, codes)
    record = _issue(work, before, attempt, due, fresh)
    content = issued.dump(record)
    connection.execute(
        schema.issue.insert().values(
            trainee=person.id,
            module=module.key,
            attempt=attempt,
            issued_at=clock.to_text(clock.now()),
            due=due,
            record=content.decode(),
        )
    )
    channels.deliver(connection, (person.id, module.key, attempt), channels.ZIPS)
    entry = ledger.Entry(
        "issued",
        trainee=person.id,
        module=module.key,
        attempt=attempt,
        new=channels.ZIPS,
        reason=f"resit: {reason.strip()}",
        key_version=model.key_version(module.as_issued(record.exercises)),
    )
    ledger.append(connection, [entry])
    _keep_decisions(connection, before.issue, attempt, {row.exercise for row in before.answers} - fresh)
    sat = tuple(exercise for exercise in module.exercises if exercise.key in fresh)
    return Resit(person, attempt, due, codes, sat), content


@dataclass(frozen=True, slots=True)
class _Before:
    """The attempt that counts until now: its issue, its marked answers, and marks by hand by exercise."""

    issue: Row
    answers: Sequence[Row]
    by_hand: Mapping[str, int]

    @classmethod
    def read(cls, work: Work, owner: tuple[str, str, int]) -> _Before:
        connection, table = work.connection, schema.answer
        issue = connection.execute(select(schema.issue).where(*adjustments.of(schema.issue, owner))).one()
        answers = connection.execute(select(table).where(*adjustments.of(table, owner))).all()
        return cls(issue, answers, work.decisions().by_hand(issue))

    @property
    def numbers(self) -> dict[str, dict[str, Any]]:
        """As they were issued: exercise key -> {"version", "parameters"}."""
        return evaluation.numbers(self.issue)


def chosen(
    term: Term, person: roster.Trainee, module: Module, rows: Sequence[Any], named: Sequence[str] = ()
) -> dict[str, str]:
    """The objectives of a resit, from the answers of an attempt, as the objectives export judges them.

    Parameters
    ----------
    term : Term
    person : Trainee
    module : Module
    rows : list
        Rows of tm_answer.
    named : sequence of str
        Codes that the instructor names; empty: all that are not shown.

    Returns
    -------
    dict
        Code -> "no" or "too few items".

    Raises
    ------
    Unknown
        A named one is not examined here.
    Refused
        Nothing is left to sit again, or a named one is met.
    """
    judged = passing.judge_all(term.policy, rows)
    if not named:
        lacking = {code: result.met for code, result in judged.items() if result.lacking}
        if not lacking:
            few = ", ".join(code for code, result in judged.items() if result.met == passing.TOO_FEW)
            more = (
                f"To have one with a single item sat again all the same, name it with --objective ({few})."
                if few
                else ""
            )
            raise Refused(
                f"{person.name} has shown every objective of {module.key}. Nothing was issued. {more}".rstrip()
            )
        return lacking
    wanted = {code.strip().upper() for code in named}
    if wanted - set(judged):
        raise Unknown(
            f"{module.key} has no objective {sorted(wanted - set(judged))[0][:20]!r}; it has {', '.join(judged)}. "
            "Nothing was issued."
        )
    met = [code for code in judged if code in wanted and judged[code].met == passing.YES]
    if met:
        raise Refused(f"{person.name} has met {', '.join(met)}. Name only what is to be sat again; nothing was issued.")
    return {code: judged[code].met for code in judged if code in wanted}


def to_sit(module: Module, codes: Iterable[str]) -> set[str]:
    """Keys of the exercises that examine some objectives, with all that are linked or carry answers from one to another.

    Returns
    -------
    set of str
    """
    wanted = set(codes)
    chosen = {e.key for e, part, _ in module.parts() if wanted & set(part.objectives)}
    bundles = [{e.key for e in group} for group in module.groups()]
    bundles += [{e.key, *(path.rpartition(".")[0] for path in getattr(p, "uses", ()))} for e, p, _ in module.parts()]
    while True:
        wider = chosen.union(*(bundle for bundle in bundles if bundle & chosen))
        if wider == chosen:
            return chosen
        chosen = wider


def _next_attempt(term, connection, module, person):
    table = schema.issue
    mine = (table.c.trainee == person.id) & (table.c.module == module.key)
    latest = connection.execute(select(table.c.attempt).where(mine).order_by(table.c.attempt.desc())).scalar()
    if latest is None:
        raise Refused(f"{person.name} has no numbers for {module.key}. Run 'assign {module.key}' first.")
    if (person.id, module.key, latest) not in lateness.returned(connection):
        raise Refused(
            f"Attempt {latest} of {person.name} in {module.key} was not returned yet. Mark it and run 'return {module.key}' "
            "first; nothing was issued."
        )
    if latest >= term.settings.attempts:
        raise Refused(
            f"{person.name} had {latest} attempts at {module.key}, and term.toml allows {term.settings.attempts}. "
            "Nothing was issued."
        )
    return latest + 1


def _counting(term, connection, module, person) -> Row:
    """The mark that counts, whole; or the reason why nothing can be sat again."""
    present = next(s for s in standing.standings(term, connection, [module.key]) if s.person.id == person.id)
    if present.mark is None:
        raise Refused(
            f"{person.name} is {present.state} in {module.key}, so nothing can be sat again. Nothing was issued."
        )
    if present.state != standing.MARKED:
        raise Refused(f"Written answers of {person.name} wait. Run 'read {module.key}' first; nothing was issued.")
    return present.mark


def _issue(work, before, attempt, due, fresh):
    """The issue: fresh numbers where they are to be sat, else those of before with the answers given to them."""
    term, module, numbers = work.term, work.module, before.numbers
    own = [revision.own for revision in vehicles.had(work.connection, module.key, numbers)]
    trainee, table = before.issue.trainee, schema.issue
    mine = (table.c.trainee == trainee, table.c.module == module.key)
    had = [
        {key: entry["parameters"] for key, entry in evaluation.numbers(earlier).items()}
        for earlier in work.connection.execute(select(table).where(*mine))
    ]
    made = issued.make(
        module,
        key=term.key,
        term=term.id,
        trainee=trainee,
        attempt=attempt,
        mode=issued.parse(before.issue.record.encode()).mode,
        due=due,
        zone=term.settings.zone,
        numbers=variant.draw(module, key=term.key, term=term.id, trainee=trainee, attempt=attempt, own=own, before=had),
    )
    exercises = {}
    for key, entry in made.exercises.items():
        if key in fresh:
            exercises[key] = entry
        elif key in numbers:
            mine = [row for row in before.answers if row.exercise == key]
            given = {row.part: [row.raw, row.chosen] for row in mine}
            drawn = {name: numbers[key][name] for name in ("version", "parameters")}
            exercises[key] = drawn | {issued.KEPT: given, CHARGED_BEFORE: charged_before(mine)}
    return issued.sealed(made, exercises, term.key)


def _keep_decisions(connection, before, attempt, kept):
    """What was read or set by hand in kept exercises goes with them to the new attempt."""
    decided, owner = adjustments.read(connection), adjustments.owner(before)
    key = {"trainee": before.trainee, "module": before.module, "attempt": attempt}
    reason, entries = f"kept from attempt {before.attempt}", []
    for exercise, hundredths in decided.overrides.get(owner, {}).items():
        if exercise in kept:
            values = {"hundredths": hundredths, "actor": ledger.actor(), "reason": reason}
            adjustments.put(connection, adjustments.override, key | {"exercise": exercise}, values)
            entries.append(ledger.Entry("override", **key, exercise=exercise, new=hundredths, reason=reason))
    for (part, digest), given in decided.readings.get(owner, {}).items():
        if part.rpartition(".")[0] in kept:
            values = {"points": json.dumps(given.points), "hundredths": given.hundredths, "actor": ledger.actor(),
                      "reason": given.comment}  # fmt: skip
            adjustments.put(connection, adjustments.reading, key | {"part": part, "digest": digest}, values)
            entries.append(
                ledger.Entry("read", **key, exercise=part, new=given.hundredths, reason=reason, sha256=digest)
            )
    ledger.append(connection, entries)
