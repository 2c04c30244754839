"""Proving a term: the ledger is whole, and every mark comes out again from the kept hand-ins."""

from dataclasses import dataclass, field

from sqlalchemy import select

from grader import catalogue
from grader.course.attempts import evaluation, lateness, standing
from grader.course.grading import observations, reconcile
from grader.course.vehicles import store
from grader.errors import BadFile, BadSheet
from grader.exercise import issued
from grader.records import adjustments, database, ledger, lock, schema
from grader.records.gradebook import gradebook
from grader.records.term import policy_in_force


@dataclass(slots=True)
class Proof:
    """What was checked, and every finding as a sentence."""

    ledger_rows: int = 0
    hand_ins: int = 0
    marks: int = 0
    findings: list = field(default_factory=list)

    @property
    def summary(self):
        """What was checked and whether it agrees, in one sentence."""
        outcome = f"{len(self.findings)} findings." if self.findings else "all agree."
        return (
            f"{self.ledger_rows} ledger rows, {self.hand_ins} kept hand-ins and {self.marks} marks checked: {outcome}"
        )


def verify(term):
    """Check ledger, kept hand-ins, marks and gradebook against one another; nothing is written.

    Returns
    -------
    Proof
    """
    proof = Proof()
    with lock.exclusive(term, "verifying"), database.transaction(term) as connection:
        for module in catalogue.all_modules().values():
            changes, findings = reconcile.differences(connection, module)
            proof.findings += map(reconcile.sentence, changes)
            # A changed automatic score is found again below, beside the mark it belongs to.
            proof.findings += [finding for finding in findings if "the automatic mark" not in finding]
        decided = adjustments.read(connection)
        proof.ledger_rows = ledger.count(connection)
        broken = ledger.first_broken(connection)
        if broken:
            proof.findings.append(f"{broken} Compare with a copy of the database.")
        last_mark = {}
        for _, _, entry in ledger.entries(connection, "marked", "re-marked"):
            last_mark[entry["trainee"], entry["module"], entry["attempt"]] = entry
        hand_ins = connection.execute(select(schema.hand_in)).all()
        for row in hand_ins:
            proof.hand_ins += 1
            try:
                evaluation.kept(term, row)
            except BadSheet as problem:
                proof.findings.append(f"{row.trainee}, {row.module}: {problem}")
        issues = {(row.trainee, row.module, row.attempt): row for row in connection.execute(select(schema.issue))}
        marked_from = {(row.trainee, row.module, row.attempt, row.sha256): row for row in hand_ins}
        best, scores = standing.best_attempts(connection), {}
        for row in connection.execute(select(schema.mark)):
            proof.marks += 1
            counts = best[row.trainee, row.module] == row.attempt
            _check_mark(term, connection, row, issues, marked_from, decided, last_mark, counts, scores, proof)
        _check_decisions(connection, decided, proof)
        proof.findings += observations.compare(connection)
        proof.findings += store.compare(connection)
        proof.findings += lateness.compare(connection)
        proof.findings += policy_in_force.compare(term, connection)
        proof.findings += compare(term, connection)
        for owner in set(last_mark) - {
            (r.trainee, r.module, r.attempt) for r in connection.execute(select(schema.mark))
        }:
            proof.findings.append(f"{owner[0]}, {owner[1]}: the ledger has a mark and the records have none.")
    return proof


def _check_mark(term, connection, row, issues, marked_from, decided, last_mark, counts, scores, proof):
    owner = (row.trainee, row.module, row.attempt)
    who = f"{row.trainee}, {row.module}, attempt {row.attempt}"
    said = last_mark.get(owner)
    if said is None or (said["new"], said["sha256"]) != (row.mark, row.sha256):
        proof.findings.append(f"{who}: the mark {row.mark / 100:g} in the records is not the last one in the ledger.")
    module = catalogue.module(row.module)
    hand_in = marked_from.get((*owner, row.sha256))
    if hand_in is None:
        proof.findings.append(f"{who}: the hand-in that was marked is not in the records.")
        return
    try:
        found, values = evaluation.evaluate(term, module, issues[owner], hand_in, decided)
    except BadSheet as problem:
        proof.findings.append(f"{who}: {problem}")
        return
    if values["mark"] != row.mark or values["raw"] != row.raw:
        proof.findings.append(
            f"{who}: marking again gives {values['mark'] / 100:g}, the records say {row.mark / 100:g}. Run 'mark' to see why."
        )
    if not counts:
        return  # the gradebook holds the attempt that counts
    if row.module not in scores:
        scores[row.module] = gradebook.Rows(connection, module).scores()
    book = scores[row.module].get(row.trainee, {})
    for exercise in module.exercises:
        ours = found.exercise_hundredths(exercise.key)
        if book.get(exercise.name) != ours:
            here, there = ("nothing" if mark is None else f"{mark / 100:g}" for mark in (ours, book.get(exercise.name)))
            proof.findings.append(f"{who}: {exercise.name} is {here} here and {there} in nbgrader's gradebook.")


def _check_decisions(connection, decided, proof):
    """Extensions, excuses, marks by hand and readings must be what the ledger said last about each."""
    said = {}
    for _, _, entry in ledger.entries(connection, "extension", "excuse", "override", "read"):
        who = (entry["trainee"], entry["module"])
        key = who if entry["event"] == "excuse" else (*who, entry["attempt"], entry["exercise"])
        if entry["event"] == "read":
            key = (*key, entry["sha256"])
        said[entry["event"], key] = entry["new"]
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
    said = {key: new for key, new in said.items() if new not in (None, "")}
    for event, key in sorted(set(said) | set(held), key=str):
        if said.get((event, key)) != held.get((event, key)):
            who = ", ".join(str(part) for part in key if part != "")
            proof.findings.append(
                f"{who}: the records hold {event} {held.get((event, key), 'none')}, the ledger says {said.get((event, key), 'none')}."
            )


def compare(term, connection):
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
