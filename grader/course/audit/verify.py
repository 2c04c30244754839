"""Proving a term: the ledger is whole, and every mark comes out again from the kept hand-ins."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field

from sqlalchemy import Connection, select

from grader import catalogue, files
from grader.course.attempts import evaluation, kept, lateness, standing
from grader.course.grading import observations, reconcile
from grader.course.grading.session import session_on_all
from grader.course.vehicles import store
from grader.errors import BadFile, BadSheet
from grader.exercise import issued
from grader.records import adjustments, answers, finding, head, ledger, schema
from grader.records.adjustments import Adjustments
from grader.records.finding import Finding
from grader.records.gradebook import gradebook
from grader.records.term import policy_in_force
from grader.records.term.term import Term

# Columns of a mark that say what it was made of, and when.
_BESIDE_THE_MARK = {
    "state": "the state", "penalty": "the penalty in hundredths", "most": "the maximum in hundredths", "late_days": "days late",
    "handed_in_at": "the time of the hand-in", "pending": "what waits to be read in hundredths",
}  # fmt: skip


@dataclass(slots=True)
class Proof:
    """What was checked, and every finding as a sentence."""

    ledger_rows: int = 0
    hand_ins: int = 0
    marks: int = 0
    findings: list = field(default_factory=list)

    @property
    def summary(self) -> str:
        """What was checked and whether it agrees, in one sentence."""
        outcome = f"{len(self.findings)} findings." if self.findings else "all agree."
        return (
            f"{self.ledger_rows} ledger rows, {self.hand_ins} kept hand-ins and {self.marks} marks checked: {outcome}"
        )


def verify(term: Term) -> Proof:
    """Check ledger, kept hand-ins, marks and gradebook against one another; nothing is written.

    Returns
    -------
    Proof
    """
    with session_on_all(term, "verifying", read_only=True) as (held, from_formgrader):
        # What the records say is proved; what formgrader made of it is named.
        check = _Check(term, held.connection, adjustments.read(held.connection))
        for module in catalogue.all_modules().values():
            check.proof.findings += map(reconcile.sentence, reconcile.differences(held.connection, module)[0])
        # A changed automatic score is found again below, beside the mark it belongs to.
        check.proof.findings += [told for told in from_formgrader if told.kind != finding.AUTOMATIC_MARK]
        check.ledger()
        check.hand_ins()
        check.marks()
        check.roster()
        check.arrivals()
        check.due_times()
        check.returned()
        check.proof.findings += head.compare(term, held.connection)
        _check_decisions(held.connection, check.decided, check.proof)
        check.proof.findings += observations.compare(held.connection)
        check.proof.findings += store.compare(held.connection)
        check.proof.findings += lateness.compare(held.connection)
        check.proof.findings += policy_in_force.compare(term, held.connection)
        check.proof.findings += compare(term, held.connection)
        check.lost_marks()
    return check.proof


class _Check:
    """A proof under way: what was read for it once, and what it found."""

    def __init__(self, term: Term, connection: Connection, decided: Adjustments) -> None:
        self.term, self.connection, self.decided, self.proof = term, connection, decided, Proof()
        self._last = {}  # the last word of the ledger on each mark
        for _, _, entry in ledger.entries(connection, "marked", "re-marked"):
            self._last[entry["trainee"], entry["module"], entry["attempt"]] = entry
        self._hand_ins = connection.execute(select(schema.hand_in)).all()
        self._marks = connection.execute(select(schema.mark)).all()
        self._issues = {adjustments.owner(row): row for row in connection.execute(select(schema.issue))}
        self._kept = {}  # rows of tm_answer by owner
        for row in connection.execute(select(schema.answer)):
            self._kept.setdefault(adjustments.owner(row), []).append(row)
        self._books = {}  # module -> automatic scores in nbgrader's gradebook

    def _add(self, kind, subject, words):
        self.proof.findings.append(Finding(kind, subject, words))

    def ledger(self) -> None:
        """No row of it was changed or taken out."""
        self.proof.ledger_rows = ledger.count(self.connection)
        broken = ledger.first_broken(self.connection)
        if broken:
            self.proof.findings.append(f"{broken} Compare with a copy of the database.")

    def hand_ins(self) -> None:
        """Every one lies there as it came."""
        for row in self._hand_ins:
            self.proof.hand_ins += 1
            try:
                evaluation.kept(self.term, row)
            except BadSheet as problem:
                self._add(finding.UNREADABLE, f"{row.trainee}, {row.module}", str(problem))

    def marks(self) -> None:
        """Each is the ledger's last, comes out again, and stands in nbgrader's gradebook where it counts."""
        marked_from = {(*adjustments.owner(row), row.sha256): row for row in self._hand_ins}
        best = standing.best_attempts(self.connection)
        for row in self._marks:
            self.proof.marks += 1
            owner, who = adjustments.owner(row), f"{row.trainee}, {row.module}, attempt {row.attempt}"
            last = self._last.get(owner)
            if last is None or (last["new"], last["sha256"]) != (row.mark, row.sha256):
                self._add(
                    finding.MARK, who, f"the mark {row.mark / 100:g} in the records is not the last one in the ledger."
                )
            hand_in = marked_from.get((*owner, row.sha256))
            if hand_in is None:
                self._add(finding.MARK, who, "the hand-in that was marked is not in the records.")
                continue
            try:
                module = catalogue.module(row.module)
                again = evaluation.evaluate(self.term, module, self._issues[owner], hand_in, self.decided)
            except BadSheet as problem:
                self._add(finding.CANNOT_MARK, who, str(problem))
                continue
            if again.values["mark"] != row.mark or again.values["raw"] != row.raw:
                words = f"marking again gives {again.values['mark'] / 100:g}, the records say {row.mark / 100:g}. "
                self._add(finding.MARK, who, words + "Run 'mark' to see why.")
            for column, called in _BESIDE_THE_MARK.items():
                if again.values[column] != getattr(row, column):
                    words = f"{called} is {getattr(row, column)} in the records, and marking again gives {again.values[column]}. "
                    self._add(finding.MARK, who, words + "Run 'mark' to put it right.")
            self._answers(row, who, again)
            if best[row.trainee, row.module] == row.attempt:  # the gradebook holds the attempt that counts
                self._in_gradebook(row, who, again)

    def _answers(self, row, who, again):
        """Each answer is kept as it is judged: objectives are met by answers, not by marks."""
        stored = {answer.part: answers.deciding(answer) for answer in self._kept.get(adjustments.owner(row), ())}
        now = {answer["part"]: answers.deciding(answer) for answer in again.answers}
        wrong = [part for part in sorted(stored.keys() | now.keys()) if stored.get(part) != now.get(part)]
        if wrong:
            words = f"the records of {', '.join(wrong[:3])}{' and others' if len(wrong) > 3 else ''} are not what marking again gives. "
            self._add(finding.MARK, who, words + "Run 'mark' to put them right.")

    def roster(self) -> None:
        """Everybody has the college's id under which he was enrolled, and is enrolled or withdrawn as noted last."""
        noted, status = {}, {}
        for _, _, entry in ledger.entries(self.connection, "enrolled", "withdrawn"):
            status[entry["trainee"]] = entry["event"]
            if entry["event"] == "enrolled":
                noted[entry["trainee"]] = entry["new"]
        for row in self.connection.execute(select(schema.trainee).order_by(schema.trainee.c.id)):
            if (noted.get(row.id), status.get(row.id)) != (row.college_id, row.status):
                words = f"{row.status} with the college id {row.college_id} in the records, and the ledger says "
                words += f"{status.get(row.id, 'nothing')}, {noted.get(row.id, 'no id')}. Compare with a copy."
                self._add(finding.LEDGER, row.id, words)

    def arrivals(self) -> None:
        """Every hand-in came when the ledger says, none of those is missing, and no kept file is unknown."""
        noted = {}
        for _, _, entry in ledger.entries(self.connection, "handed-in"):
            noted[entry["trainee"], entry["module"], entry["attempt"], entry["sha256"]] = entry["new"]
        held = {(*adjustments.owner(row), row.sha256): row.received_at for row in self._hand_ins}
        for key in sorted(noted.keys() | held.keys(), key=str):
            if noted.get(key) != held.get(key):
                words = f"a hand-in came {held.get(key, 'never')} by the records and {noted.get(key, 'never')} by the ledger. "
                self._add(finding.ARRIVAL, f"{key[0]}, {key[1]}, attempt {key[2]}", words + "Compare with a copy.")
        known = {row.sha256 for row in self._hand_ins}
        unknown = [path for path in (self.term.folder / "handed_in").glob("??/*.json") if path.stem not in known]
        if unknown:
            self.proof.findings.append(
                f"{len(unknown)} kept hand-ins are not in the records ({unknown[0].name[:12]}...): the database is older than "
                "the folder, or a collect was cut short. Collect them again with 'collect inbox/taken', or put back the database "
                "that belongs to it."
            )

    def due_times(self) -> None:
        """A due time is the one that was issued under the key, and where it was moved the one noted last."""
        moved = {}
        for _, _, entry in ledger.entries(self.connection, "assigned"):
            if entry["kind"] == ledger.DUE and entry["trainee"]:
                moved[entry["trainee"], entry["module"], entry["attempt"]] = entry["new"]
        for owner, row in self._issues.items():
            try:
                sealed = issued.parse(row.record.encode()).due
            except BadFile:
                continue  # told by `compare`
            if row.due != sealed or moved.get(owner, row.due) != row.due:
                words = f"due {row.due or 'never'} by the records and {moved.get(owner, sealed) or 'never'} by the issue or ledger. "
                self._add(
                    finding.DECISION, f"{owner[0]}, {owner[1]}, attempt {owner[2]}", words + "Compare with a copy."
                )

    def returned(self) -> None:
        """A page in returned/ is the one that was given back last."""
        noted = {
            kept.returned_path(self.term, *owner): digest
            for owner, (_, digest) in lateness.returned(self.connection).items()
        }
        for path in sorted((self.term.folder / kept.RETURNED).glob("*/*.html")):
            try:
                content = files.read_bytes(path, most=kept.LARGEST_KEPT, what="The returned sheet")
            except BadFile as problem:
                self.proof.findings.append(str(problem))
                continue
            if hashlib.sha256(content).hexdigest() != noted.get(path):
                words = (
                    "the page is not the one that the ledger says was returned last. Run 'return' to write it again."
                )
                self._add(finding.LEDGER, str(path.relative_to(self.term.folder)), words)

    def _in_gradebook(self, row, who, again):
        if row.module not in self._books:
            self._books[row.module] = gradebook.Rows(self.connection, again.module).scores()
        book = self._books[row.module].get(row.trainee, {})
        issued = evaluation.numbers(again.issue)
        for exercise in again.module.exercises:
            if exercise.key not in issued:  # it came into the module later
                continue
            ours = again.sheet.exercise_hundredths(exercise.key)
            if book.get(exercise.name) != ours:
                pair = (ours, book.get(exercise.name))
                here, there = ("nothing" if mark is None else f"{mark / 100:g}" for mark in pair)
                self._add(
                    finding.GRADEBOOK, who, f"{exercise.name} is {here} here and {there} in nbgrader's gradebook."
                )

    def lost_marks(self) -> None:
        """None that the ledger knows is gone."""
        for owner in set(self._last) - {adjustments.owner(row) for row in self._marks}:
            self._add(finding.MARK, f"{owner[0]}, {owner[1]}", "the ledger has a mark and the records have none.")


def _check_decisions(connection, decided, proof):
    """Extensions, excuses, marks by hand and readings must be what the ledger said last about each."""
    in_ledger = {}
    for _, _, entry in ledger.entries(connection, "extension", "excuse", "override", "read"):
        who = (entry["trainee"], entry["module"])
        key = who if entry["event"] == "excuse" else (*who, entry["attempt"], entry["exercise"])
        if entry["event"] == "read":
            key = (*key, entry["sha256"])
        in_ledger[entry["event"], key] = entry["new"]
    held = {("extension", (*owner, "")): until for owner, until in decided.until.items()}
    held |= {("excuse", who): "excused" for who in decided.excused}
    held |= {("override", (*owner, e)): mark for owner, marks in decided.overrides.items() for e, mark in marks.items()}
    held |= {
        ("read", (*owner, *read)): given.hundredths
        for owner, all_ in decided.readings.items()
        for read, given in all_.items()
    }
    for owner, readings in decided.readings.items():
        for (part, _), given in readings.items():
            if sum(given.points) != given.hundredths:
                proof.findings.append(
                    f"{', '.join(map(str, owner))}, {part}: the points do not add up to what was given."
                )
    in_ledger = {key: new for key, new in in_ledger.items() if new not in (None, "")}
    for event, key in sorted(set(in_ledger) | set(held), key=str):
        if in_ledger.get((event, key)) != held.get((event, key)):
            who = ", ".join(str(part) for part in key if part != "")
            proof.findings.append(
                f"{who}: the records hold {event} {held.get((event, key), 'none')}, the ledger says {in_ledger.get((event, key), 'none')}."
            )


def compare(term: Term, connection: Connection) -> Iterator[str]:
    """Sentences about an id or a key that is not the one with which numbers were issued, and about changed issues.

    A resit, or whoever joins later, would get numbers from them; so would a code in the place of a name.
    """
    foreign, changed, count = set(), [], 0
    for row in connection.execute(select(schema.issue).order_by(schema.issue.c.trainee, schema.issue.c.module)):
        count += 1
        who = f"{row.trainee}, {row.module}, attempt {row.attempt}"
        try:
            record = issued.parse(row.record.encode())
        except BadFile as problem:
            changed.append(f"{who}: {problem}")
            continue
        if record.term != term.id:
            foreign.add(record.term)
        if issued.seal(record, term.key) != record.token:
            changed.append(f"{who}: the numbers in the records are not as they were issued. Compare with a copy.")
    for made_as in sorted(foreign):
        yield (
            f"term.toml has the id {term.id}; the numbers were issued as {made_as}. Put the id back: what comes in "
            "for the other one cannot be collected."
        )
    if count and len(changed) == count:
        doubt = ", or these were changed" if count == 1 else ""
        yield f"term.key is not the key with which the numbers were issued{doubt}. Put it back from your copy."
    else:
        yield from changed
