"""Rows about people: items, objectives and the ledger, read in batches of trainees."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Row, select

from grader import catalogue
from grader.course.attempts import passing, standing
from grader.course.attempts.passing import waiting
from grader.marking.verdict import READ
from grader.records import adjustments, ledger, schema
from grader.records import witnessed as seen
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.reports.tables import draws, scope
from grader.reports.tables.grades import hundredths

_PATHS = {"right": "direct", "carried": "consequential"}
_MARK_EVENTS = ("marked", "re-marked", "override")


def items(term: Term, connection: Connection, by: Callable[[Trainee], Any] | None = None) -> Iterator[dict[str, str]]:
    """Rows of items.csv for one term, trainee by trainee in order of name, or `by` something else."""
    order = {path: n for module in catalogue.all_modules().values() for n, (_, _, path) in enumerate(module.parts())}
    decided, own, modes = adjustments.read(connection), draws.lines(connection), standing.modes(connection)
    for batch in scope.batches(connection, by):
        answers = _answers(connection, batch)
        issues = _by_trainee(connection, schema.issue, batch)
        for person in batch:
            variants = {(i.module, i.attempt): draws.of_issue(i.record, own) for i in issues.get(person.id, ())}
            mine = answers.get(person.id, [])
            for row in sorted(mine, key=lambda r: (r.module, r.attempt, order.get(r.part, 999), r.part)):
                numbers = variants.get((row.module, row.attempt), {}).get(row.exercise)
                yield _item(term, person, row, numbers, decided.by_hand(row).get(row.exercise)) | {
                    "mode": modes.get(row.module, "")
                }


def objectives(
    term: Term, connection: Connection, by: Callable[[Trainee], Any] | None = None
) -> Iterator[dict[str, str]]:
    """Rows of objectives.csv for one term, trainee by trainee in order of name, or `by` something else."""
    for _, rows in objectives_of_each(term, connection, scope.batches(connection, by)):
        yield from rows


def objectives_of_each(
    term: Term, connection: Connection, batches: Iterable[Sequence[Trainee]]
) -> Iterator[tuple[Trainee, list[dict[str, str]]]]:
    """(trainee, his rows of objectives.csv) of everybody in some lists of trainees.

    The attempt that counts in the module decides; for an objective that it did not
    examine, the latest attempt that did.
    """
    known, tags, modes = catalogue.objectives(), passing.examined(), standing.modes(connection)
    modules, decided = standing.listed_modules(connection), adjustments.read(connection)
    latest = seen.latest(seen.tasks(connection))
    for batch in batches:
        answers = _answers(connection, batch)
        counting = {
            (held.person.id, held.module): held.attempt
            for held in standing.standings(term, connection, modules, people=batch, decided=decided)
            if held.mark is not None
        }
        for person in batch:
            by_code, results = {}, []
            for row in answers.get(person.id, ()):
                for code in tags.get(row.part, ()):
                    by_code.setdefault(code, {}).setdefault(row.attempt, []).append(row)
            for code in known:
                if code in by_code:
                    attempts = by_code[code]
                    first_choice = counting.get((person.id, known[code]["module"]))
                    rows = attempts[first_choice if first_choice in attempts else max(attempts)]
                    rows = passing.as_marked(rows, decided.by_hand(rows[0]))
                    task = latest.get((person.id, code))
                    results.append(
                        objective(term, person, known[code], rows)
                        | {
                            "mode": modes.get(known[code]["module"], ""),
                            "witnessed": task.result if task else "",
                            "witnessed_on": task.day if task else "",
                        }
                    )
            yield person, results


def witnessed(term: Term, connection: Connection) -> Iterator[dict[str, str]]:
    """Rows of witnessed.csv for one term, in order of name."""
    known, by_trainee = catalogue.objectives(), {}
    for task in seen.tasks(connection):
        by_trainee.setdefault(task.trainee, []).append(task)
    for person in scope.people(connection):
        for task in by_trainee.get(person.id, ()):
            yield {
                "class": term.id,
                "seq": str(task.id),
                "trainee_id": person.college_id,
                "objective": task.objective,
                "uuid": known[task.objective]["uuid"],
                "result": task.result,
                "on": task.day,
                "vehicle": task.vehicle,
                "seen_by": task.seen_by,
                "note": task.note,
            }


def changes(term: Term, connection: Connection) -> Iterator[dict[str, str]]:
    """Rows of changes.csv for one term, without what concerns single items.

    Exports stay in the ledger and are left out here: they change nothing, and the
    same records shall give the same file.
    """
    college_id = scope.college_ids(connection)
    for seq, at, entry in ledger.entries(connection, *(event for event in ledger.EVENTS if event != "export")):
        marks = entry["event"] in _MARK_EVENTS
        yield {
            "class": term.id,
            "seq": str(seq),
            "at": at,
            "event": entry["event"],
            "actor": entry["actor"],
            "trainee_id": college_id.get(entry["trainee"]) or entry["trainee"],
            "module": entry["module"],
            "attempt": _text(entry["attempt"]),
            "old": _value(entry["old"], marks),
            "new": _value(entry["new"], marks),
            "max": "" if entry["most"] is None else hundredths(entry["most"]),
            "reason": entry["reason"],
            "engine": entry["engine"],
            "key_version": entry["key_version"],
        }


def _answers(connection, batch):
    """Answers by trainee, without those of modules that were withdrawn."""
    gone = standing.withdrawn_modules(connection)
    rows = _by_trainee(connection, schema.answer, batch)
    return {who: [row for row in mine if row.module not in gone] for who, mine in rows.items()}


def _by_trainee(connection, table, batch) -> dict[str, list[Row]]:
    by_trainee: dict[str, list[Row]] = {}
    wanted = [person.id for person in batch]
    for row in connection.execute(select(table).where(table.c.trainee.in_(wanted))):
        by_trainee.setdefault(row.trainee, []).append(row)
    return by_trainee


def _item(term, person, row, numbers, by_hand):
    low, high, other = expected(row.expected)
    waits = waiting(row)
    return {
        "class": term.id,
        "trainee_id": person.college_id,
        "module": row.module,
        "attempt": str(row.attempt),
        "item": row.part,
        "variant": numbers.variant if numbers else "",
        "vehicle": numbers.vehicle if numbers else "",
        "kept": "yes" if numbers and numbers.kept else "no",
        "answer": row.raw,
        "unit": row.unit,
        "expected": other,
        "expected_low": low,
        "expected_high": high,
        "mark": "" if waits else hundredths(row.hundredths),
        "max": hundredths(row.most),
        "exercise_by_hand": "" if by_hand is None else hundredths(by_hand),
        "path": "" if waits else path(row),
        "verdict": row.verdict,
        "slip": row.slip,
        "first_attempt": "yes" if row.attempt == 1 else "no",
    }


def path(row: Row) -> str:
    """How the marks of an answer were earned."""
    if row.verdict == READ and row.hundredths == row.most:
        return "direct"
    return _PATHS.get(row.verdict) or ("partial" if row.hundredths else "none")


def objective(term: Term, person: Trainee, entry: Mapping[str, str], rows: Sequence[Row]) -> dict[str, str]:
    """Row of objectives.csv from the rows of tm_answer that examine an objective; `entry` is its catalogue entry."""
    judged = passing.judge(term.policy, entry["code"], rows)
    return {
        "class": term.id,
        "trainee_id": person.college_id,
        "objective": entry["code"],
        "uuid": entry["uuid"],
        "marks": "" if judged.marks is None else hundredths(judged.marks),
        "max": hundredths(judged.most),
        "share": "" if judged.marks is None else _share(judged.marks, judged.most, judged.threshold),
        "threshold": hundredths(judged.threshold),
        "met": judged.met,
        "must_pass": "yes" if entry["code"] in term.policy.must_pass else "no",
        "items": str(judged.items),
        "attempt": str(rows[0].attempt),
    }


def _share(part, whole, limit):
    """Four decimals, half rounded up, but cut off where rounding would reach a limit that was missed."""
    shown = (part * 100000 // whole + 5) // 10
    if part * 100 < limit * whole and shown >= limit * 100:
        shown = part * 10000 // whole
    return f"{shown // 10000}.{shown % 10000:04d}".rstrip("0").rstrip(".")


def expected(text: str) -> tuple[str, str, str]:
    """(low, high, other text) of what was right."""
    low, dots, high = text.partition("..")
    try:
        if dots:
            for end in (low, high):
                float(end)
            return low, high, ""
    except ValueError:
        pass
    return "", "", text


def _value(value, marks):
    return hundredths(value) if marks and isinstance(value, int) else _text(value)


def _text(value):
    return "" if value is None else str(value)
