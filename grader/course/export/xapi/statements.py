"""xAPI statements, one in a line: each marked part, exercise and module of each trainee.

Addresses of activities and extensions begin with a base that leads nowhere (a name under
.invalid is never given out); a programme with a record store of its own names its own base.
Statements name people by account alone, never by name or mail.
"""

import json
import uuid
from pathlib import Path
from urllib.parse import urlsplit

from sqlalchemy import select

from grader import catalogue, clock
from grader.course.export import package, pseudonym, scope, stream
from grader.course.export.grades import passed
from grader.course.export.tables import people
from grader.course.export.xapi import revisions
from grader.course.records import adjustments, schema
from grader.errors import Refused

BASE = "https://timing-mark.invalid/"
_VERBS, _TYPES = "http://adlnet.gov/expapi/verbs/", "http://adlnet.gov/expapi/activities/"


def write(opened, path=None, *, base=BASE, pseudonymous=False):
    """Write statements.ndjson and note it in the ledger.

    A mark that changed after it was sent gets a voiding statement and, where one still
    stands, a statement of its own with a new id. The file holds everything that stands
    and everything voided, so sending all of it again does no harm.

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
    with stream.replacing(path) as target:
        sink = stream.Sink(target)
        for term, connection in scope.each(opened):
            maker = _Maker(term, base, pseudonymous, pseudonymous and pseudonym.is_small(connection))
            for statement in maker.statements(connection, sent_as):
                sink.write(json.dumps(statement, ensure_ascii=False, sort_keys=True) + "\n")
                count += 1
    scope.note_export(opened, sent_as)
    return stream.Written(path, count, sink.size, sink.digest.hexdigest())


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


class _Maker:
    """Statements of one term."""

    def __init__(self, term, base, pseudonymous, small):
        self.term, self.base, self.pseudonymous = term, base, pseudonymous
        self.class_id = pseudonym.HIDDEN if small else term.id
        # The key makes the room of the ids, so that nobody finds a person by trying ids out.
        purpose = f"statements {base} {'pseudonymous' if pseudonymous else ''}"
        self.room = uuid.uuid5(uuid.NAMESPACE_URL, base + pseudonym.code(term, term.id, purpose))

    def statements(self, connection, sent_as):
        """Everything of the term: by trainee, first what is voided, then what stands."""
        known = revisions.read(connection, sent_as)
        by_hand = adjustments.read(connection).overrides
        # In order of codes, because the order of the class list would give the names away.
        everybody = scope.people(connection)
        if self.pseudonymous:
            everybody = sorted(everybody, key=lambda person: pseudonym.code(self.term, person.college_id))
        owners = {}
        for owner in {*known.standing, *known.ended}:
            owners.setdefault(owner[0], []).append(owner)
        for start in range(0, len(everybody), scope.BATCH):
            batch = everybody[start : start + scope.BATCH]
            marks, answers = self._rows(connection, schema.mark, batch), self._rows(connection, schema.answer, batch)
            for person in batch:
                for owner in sorted(owners.get(person.id, ())):
                    if owner not in marks:
                        continue
                    rows = _ordered(owner[1], answers.get(owner, ()))
                    for seq, at in known.ended.get(owner, ()):
                        yield from self._voided(owner, seq, at, rows)
                    if owner in known.standing:
                        yield from self._standing(
                            person, owner, known.standing[owner], marks[owner][0], rows, by_hand.get(owner, {})
                        )

    @staticmethod
    def _rows(connection, table, batch):
        found = {}
        for row in connection.execute(select(table).where(table.c.trainee.in_([person.id for person in batch]))):
            found.setdefault(adjustments.owner(row), []).append(row)
        return found

    def _standing(self, person, owner, seq, mark, rows, by_hand):
        module = catalogue.module(owner[1])
        exercises = {}
        for row in rows:
            exercises.setdefault(row.exercise, []).append(row)
            verb = "answered" if row.raw.strip() else "scored"
            waits = people.waiting(row)
            result = {} if waits else _score(row.hundredths, row.most)
            if result:
                result["success"] = row.hundredths == row.most
            if row.raw.strip() and not self.pseudonymous:
                result["response"] = row.raw
            told = {"verdict": row.verdict, "slip": row.slip, "path": "" if waits else people.path(row)}
            if not self.pseudonymous:
                low, high, _ = people.expected(row.expected)
                told |= {"unit": row.unit, "expected-low": low and float(low), "expected-high": high and float(high)}
            yield self._statement(
                person, owner, seq, row.part, verb, ("parts", "cmi.interaction"), result, told, mark.handed_in_at,
                parent=("exercises", row.exercise, "assessment"),
            )  # fmt: skip
        for key, parts in exercises.items():
            waits = key not in by_hand and any(people.waiting(row) for row in parts)
            got = by_hand.get(key, sum(row.hundredths or 0 for row in parts))
            result = {} if waits else _score(got, sum(row.most for row in parts))
            yield self._statement(
                person, owner, seq, key, "attempted" if waits else "scored", ("exercises", "assessment"), result,
                {"by-hand": key in by_hand}, mark.marked_at, parent=("modules", module.key, "module"),
            )  # fmt: skip
        told = {"raw-mark": mark.raw / 100, "penalty": mark.penalty / 100, "late-days": mark.late_days}
        if mark.pending:
            verb, result = "attempted", {}
        else:
            good = passed(self.term, mark.mark, mark.most)
            verb, result = "passed" if good else "failed", _score(mark.mark, mark.most) | {"success": good}
        yield self._statement(
            person, owner, seq, module.key, verb, ("modules", "module"), result,
            told | {"engine": mark.engine, "key-version": mark.key_version}, mark.marked_at,
        )  # fmt: skip

    def _voided(self, owner, seq, at, rows):
        for thing in (*(row.part for row in rows), *dict.fromkeys(row.exercise for row in rows), owner[1]):
            target = self._id(owner, seq, thing)
            yield {
                "id": str(uuid.uuid5(self.room, f"voiding {target}")),
                "actor": self._account("marking"),
                "verb": _verb("voided"),
                "object": {"objectType": "StatementRef", "id": target},
                "timestamp": self._moment(at),
            }

    def _statement(self, person, owner, seq, thing, verb, kind, result, told, at, *, parent=None):
        folder, activity_type = kind
        name = pseudonym.code(self.term, person.college_id) if self.pseudonymous else person.college_id
        told = {"class": self.class_id, "attempt": owner[2]} | told
        activities = {"grouping": [self._activity("courses", "timing-mark", "course")]}
        if parent:
            activities["parent"] = [self._activity(*parent)]
        made = {
            "id": self._id(owner, seq, thing),
            "actor": self._account(name),
            "verb": _verb(verb),
            "object": self._activity(folder, thing, activity_type),
            "context": {
                "contextActivities": activities,
                "extensions": {f"{self.base}extensions/{key}": value for key, value in told.items() if value != ""},
            },
            "timestamp": self._moment(at),
        }
        return made | ({"result": result} if result else {})

    def _id(self, owner, seq, thing):
        return str(uuid.uuid5(self.room, json.dumps([self.term.id, *owner, seq, thing])))

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
