"""xAPI statements, one in a line: each marked part, exercise and module of each trainee.

Addresses of activities and extensions begin with a base that leads nowhere (a name under
.invalid is never given out); a programme with a record store of its own names its own base.
Statements name people by account alone, never by name or mail.
"""

import json
import uuid
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from sqlalchemy import Connection, select

from grader import catalogue, clock, files
from grader.course.attempts import passing, standing
from grader.errors import Refused
from grader.exercise.model import PRACTICE
from grader.pages import csv_file
from grader.pages.csv_file import Written
from grader.records import adjustments, database, exported, ledger, schema, sent
from grader.records.term.term import Term
from grader.reports.export import package, pseudonym
from grader.reports.export.xapi import revisions
from grader.reports.tables import people, scope

BASE = "https://timing-mark.invalid/"
_VERBS, _TYPES = "http://adlnet.gov/expapi/verbs/", "http://adlnet.gov/expapi/activities/"


def write(opened: Sequence[Term], path: Path | None = None, *, base: str = BASE, pseudonymous: bool = False) -> Written:
    """Write statements.ndjson and note it in the ledger.

    What changed after it was sent gets a voiding statement and, where something still
    stands, a statement of its own with a new id; all the rest keeps its id. The file holds
    everything that stands and everything voided, so sending all of it again does no harm.

    Parameters
    ----------
    opened : sequence of Term
    path : path or None
    base : str
        How addresses of our activities begin.
    pseudonymous : bool
        Codes for people, days for moments, no typed answers.

    Returns
    -------
    stream.Written

    Raises
    ------
    Refused
        A base that is no address.
    CannotWrite
        The old file stands.
    """
    base = _checked(base)
    path = Path(path) if path else package.folder_for(opened, pseudonymous=pseudonymous) / "statements.ndjson"
    sent_as = f"statements for {base}" + (", pseudonymous" if pseudonymous else "")
    count = 0
    with ExitStack() as stack:  # what was sent is remembered in all terms or in none
        held = [(term, stack.enter_context(database.transaction(term))) for term in opened]
        with files.replacing(path) as target:
            sink = csv_file.Sink(target)
            for term, connection in held:
                maker = _Maker(term, base, pseudonymous, pseudonymous and pseudonym.is_small(connection))
                for statement in maker.statements(connection, sent_as):
                    sink.write(json.dumps(statement, ensure_ascii=False, sort_keys=True) + "\n")
                    count += 1
        for term, connection in held:
            ledger.append(connection, [ledger.Entry("export", new=sent_as)])
            exported.note(term, [path])
    return csv_file.Written(path, count, sink.size, sink.digest.hexdigest())


def _checked(base):
    parts = urlsplit(base)
    if (
        parts.scheme not in ("http", "https")
        or not parts.netloc
        or any(c.isspace() or c in '<>"{}|^`\\?#' for c in base)
    ):
        raise Refused(
            f"The base {base[:80]!r} is no address. Give one such as {BASE} (http or https, no blank, ? or #); nothing was "
            "written."
        )
    return base if base.endswith("/") else base + "/"


@dataclass(frozen=True, slots=True)
class _Work:
    """One marked attempt, with what was decided about it; `kept` are exercises that a resit took over."""

    mark: Any
    rows: list
    by_hand: dict
    counts: bool
    outcome: passing.Outcome
    kept: set
    practice: bool


class _Maker:
    """Statements of one term."""

    def __init__(self, term: Term, base: str, pseudonymous: bool, small: bool) -> None:
        self.term, self.base, self.pseudonymous = term, base, pseudonymous
        self.class_id = pseudonym.HIDDEN if small else term.id
        # The key makes the room of the ids, so that nobody finds a person by trying ids out.
        purpose = f"statements {base} {'pseudonymous' if pseudonymous else ''}"
        self.room = uuid.uuid5(uuid.NAMESPACE_URL, base + pseudonym.code(term, term.id, purpose))

    def statements(self, connection: Connection, sent_as: str) -> Iterator[dict[str, Any]]:
        """Everything of the term: by trainee, first what is voided, then what stands; what was sent is noted."""
        decided, now = adjustments.read(connection), clock.to_text(clock.now())
        kept, modes = standing.kept_answers(connection), standing.modes(connection)
        gone = standing.withdrawn_modules(connection)
        for batch in scope.batches(connection, pseudonym.by_code(self.term) if self.pseudonymous else None):
            marks, answers = self._rows(connection, schema.mark, batch), self._rows(connection, schema.answer, batch)
            before = sent.read(connection, sent_as, [person.id for person in batch])
            judged = {
                owner: passing.outcome(
                    self.term, rows[0], passing.as_marked(answers.get(owner, ()), decided.by_hand(rows[0]))
                )
                for owner, rows in marks.items()
            }
            changed, counting = {}, self._counting(marks, judged)
            for person in batch:
                for owner in sorted(key for key in {*marks, *before} if key[0] == person.id):
                    drafts = []
                    # Excused work does not count, nor does a module that was withdrawn.
                    if owner in marks and owner[:2] not in decided.excused and owner[1] not in gone:
                        rows = _ordered(owner[1], answers.get(owner, ()))
                        work = _Work(
                            marks[owner][0],
                            rows,
                            decided.overrides.get(owner, {}),
                            counting[owner[:2]] == owner[2],
                            judged[owner],
                            {row.exercise for row in rows if standing.is_kept(row, kept)},
                            modes.get(owner[1]) == PRACTICE,
                        )
                        drafts = list(self._drafts(person, owner, work))
                    ended = marks[owner][0].marked_at if drafts else now
                    had = before.get(owner) or sent.Sent()
                    to_send, after = revisions.settle(had, drafts, self._namer(owner), ended)
                    if after != had:
                        changed[owner] = after
                    yield from (self._voided(target, at) for _, target, at in after.voided)
                    for draft, id_, at in to_send:
                        yield draft.body | {"id": id_, "timestamp": self._moment(at)}
            sent.write(connection, sent_as, changed)

    @staticmethod
    def _rows(connection, table, batch):
        by_owner = {}
        for row in connection.execute(select(table).where(table.c.trainee.in_([person.id for person in batch]))):
            by_owner.setdefault(adjustments.owner(row), []).append(row)
        return by_owner

    def _counting(self, marks, judged):
        """The attempt that counts, by (trainee, module)."""
        counting = {}
        for owner, (row, *_) in marks.items():
            rank = passing.rank(self.term, row, judged[owner])
            counting[owner[:2]] = max(counting.get(owner[:2], (False, -1, 0)), rank)
        return {whose: rank[-1] for whose, rank in counting.items()}

    def _drafts(self, person, owner, work):
        """What a resit keeps was answered once: its answers stand under the attempt that gave them, here are its marks."""
        module, mark, by_hand = catalogue.module(owner[1]), work.mark, work.by_hand
        exercises, mode = {}, {"mode": PRACTICE} if work.practice else {}
        for row in work.rows:
            exercises.setdefault(row.exercise, []).append(row)
            if row.exercise in work.kept:
                continue
            verb = "answered" if row.raw.strip() else "scored"
            waits = people.waiting(row)
            result = {} if waits else _score(row.hundredths, row.most)
            if result:
                result["success"] = row.hundredths == row.most
            if row.raw.strip() and not self.pseudonymous:
                result["response"] = row.raw
            details = mode | {"verdict": row.verdict, "slip": row.slip, "path": "" if waits else people.path(row)}
            if not self.pseudonymous:
                low, high, _ = people.expected(row.expected)
                details |= {"unit": row.unit, "expected-low": low and float(low), "expected-high": high and float(high)}
            body = self._statement(
                person,
                owner,
                row.part,
                verb,
                ("parts", "cmi.interaction"),
                result,
                details,
                parent=("exercises", row.exercise, "assessment"),
            )
            yield revisions.Draft(row.part, body, fixed=mark.handed_in_at)
        for key, parts in exercises.items():
            waits = key not in by_hand and any(people.waiting(row) for row in parts)
            got = by_hand.get(key, sum(row.hundredths or 0 for row in parts))
            result = {} if waits else _score(got, sum(row.most for row in parts))
            details = mode | {"by-hand": key in by_hand} | ({"kept": True} if key in work.kept else {})
            body = self._statement(
                person,
                owner,
                key,
                "attempted" if waits else "scored",
                ("exercises", "assessment"),
                result,
                details,
                parent=("modules", module.key, "module"),
            )
            yield revisions.Draft(key, body, mark.marked_at)
        details = mode | {
            "raw-mark": mark.raw / 100,
            "penalty": mark.penalty / 100,
            "late-days": mark.late_days,
            "counts": work.counts,
        }
        if mark.pending:
            verb, result = "attempted", {}
        elif work.practice:  # nobody passes or fails it
            verb, result = "scored", _score(mark.mark, mark.most)
        else:
            good = work.outcome.passed == passing.YES
            verb, result = "passed" if good else "failed", _score(mark.mark, mark.most) | {"success": good}
            details |= {"failed-objectives": ";".join(work.outcome.failed)}
        details |= {"engine": mark.engine, "key-version": mark.key_version}
        body = self._statement(person, owner, module.key, verb, ("modules", "module"), result, details)
        yield revisions.Draft(module.key, body, mark.marked_at)

    def _voided(self, target, at):
        return {
            "id": str(uuid.uuid5(self.room, f"voiding {target}")),
            "actor": self._account("marking"),
            "verb": _verb("voided"),
            "object": {"objectType": "StatementRef", "id": target},
            "timestamp": self._moment(at),
        }

    def _statement(self, person, owner, object_key, verb, kind, result, details, *, parent=None):
        folder, activity_type = kind
        name = pseudonym.code(self.term, person.college_id) if self.pseudonymous else person.college_id
        details = {"class": self.class_id, "attempt": owner[2]} | details
        activities = {"grouping": [self._activity("courses", "timing-mark", "course")]}
        if parent:
            activities["parent"] = [self._activity(*parent)]
        made = {
            "actor": self._account(name),
            "verb": _verb(verb),
            "object": self._activity(folder, object_key, activity_type),
            "context": {
                "contextActivities": activities,
                "extensions": {f"{self.base}extensions/{key}": value for key, value in details.items() if value != ""},
            },
        }
        return made | ({"result": result} if result else {})

    def _namer(self, owner):
        return lambda *what: revisions.statement_id(self.room, self.term.id, *owner, *what)

    def _account(self, name):
        return {"objectType": "Agent", "account": {"homePage": self.base, "name": name}}

    def _activity(self, folder, key, kind):
        made = {"objectType": "Activity", "id": f"{self.base}{folder}/{key}", "definition": {"type": _TYPES + kind}}
        if kind == "cmi.interaction":
            # Each trainee has numbers of his own, so no pattern of right answers belongs to the activity itself.
            made["definition"]["interactionType"] = "other"
        return made

    def _moment(self, text):
        if not self.pseudonymous:
            return text
        day = clock.from_text(text).astimezone(clock.zone(self.term.settings.zone))
        return f"{day:%Y-%m-%d}T00:00:00.000Z"


def _ordered(module_key, rows):
    order = {path: n for n, (_, _, path) in enumerate(catalogue.module(module_key).parts())}
    return sorted(rows, key=lambda row: (order.get(row.part, len(order)), row.part))


def _verb(word):
    return {"id": _VERBS + word, "display": {"en": word}}


def _score(got, most):
    if most <= 0:
        return {}
    return {"score": {"scaled": round(got / most, 4), "raw": got / 100, "min": 0, "max": most / 100}}
