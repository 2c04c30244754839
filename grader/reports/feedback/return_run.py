"""Giving marked work back: one page for each trainee and attempt, written anew only where it says something else."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

from grader import clock, files
from grader.course.attempts import lateness, standing
from grader.course.attempts.kept import RETURNED, returned_path
from grader.course.attempts.standing import Standing
from grader.course.formgrader import notebooks
from grader.course.grading import settle
from grader.course.grading.session import session
from grader.course.grading.several import Several, each
from grader.course.grading.work import Work
from grader.course.issue import assign
from grader.errors import BadFile, BadSheet, CannotWrite, Refused, Unknown
from grader.records import adjustments, database, ledger, schema
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.reports.feedback import marked_attempt, returned_sheet

_LARGEST = 20_000_000


@dataclass(slots=True)
class Returned:
    """What a run did.

    `pages` are those that lie in the folder now, `going_out` the names of those whose page is new or
    says something else, `first_time` our ids of those who had none of that attempt before. `left_out` are sentences about people without a page, `findings` about what
    needs a person, `penalties` about each page with a mark from which something was taken for being late.
    """

    folder: Path
    written: int = 0
    replaced: int = 0
    unchanged: int = 0
    one_file: Path | None = None
    pages: list = field(default_factory=list)
    going_out: list = field(default_factory=list)
    first_time: list[str] = field(default_factory=list)
    left_out: list = field(default_factory=list)
    findings: list = field(default_factory=list)
    penalties: list = field(default_factory=list)


def give_back(
    term: Term,
    module_key: str,
    *,
    trainee: str = "",
    partly: bool = False,
    one_file: bool = False,
    preview: bool = False,
    progress: Callable[[int, int], object] | None = None,
) -> Returned:
    """Write the returned sheets of a module.

    Trainee by trainee, each with his page first and then his row in the ledger, so
    that a run cut short is finished by running it again. A page that would say the
    same is left as it is. One that says something else takes the old one's place,
    and the ledger's row holds the digests of both.

    Parameters
    ----------
    term : Term
    module_key : str
    trainee : str
        Either of a trainee's ids; empty: everybody.
    partly : bool
        Also return work of which written answers still wait to be read.
    one_file : bool
        Also write the sheets of the run as one page to print, into reports/, which goes
        with every person who is deleted.
    preview : bool
        Say who would get a page and who would not; nothing is written.
    progress : callable or None
        Told before each trainee how many were gone through, of how many; what it raises ends the run there.

    Returns
    -------
    Returned

    Raises
    ------
    Unknown
        No such module or trainee.
    Refused
        The module was not assigned.
    CannotWrite
        The disk refuses; the old page stands.
    """
    done = Returned(term.folder / RETURNED)
    with session(term, module_key, "returning", read_only=preview) as work:
        connection, module = work.connection, work.module
        standings = _standings(term, connection, module, trainee)
        done.findings += work.findings
        known, sections = _known(connection, module.key), _sections(term, module)
        run = _Run(work, work.decisions(), known, sections, partly, one_file and not preview, done)
        work.keep()
        sheets = []
        for number, result in enumerate(standings):
            if progress is not None:
                progress(number, len(standings))
            sheets += run.give_back(result)
            work.keep()
        if run.one_file and sheets:
            done.one_file = term.folder / "reports" / f"{module.key}-returned-to-print.html"
            title = f"{module.title}: {len(sheets)} returned sheets"
            files.write_bytes(done.one_file, returned_sheet.page(sheets, title))
    return done


def take_back(
    term: Term, module_key: str, trainees: Sequence[str] = (), *, reason: str, preview: bool = False
) -> Several[Trainee]:
    """Take back the returned sheets of a module that nobody has seen yet: what comes in counts again as before.

    Of each trainee the latest attempt that was returned. The page goes out of the folder and the ledger
    keeps the reason; to return the work again makes the page anew.

    Parameters
    ----------
    term : Term
    module_key : str
    trainees : sequence of str
        Either of their ids; none: everybody whose sheet is out.
    reason : str
    preview : bool
        Say whom it concerns; nothing is written.

    Returns
    -------
    Several of Trainee

    Raises
    ------
    Unknown, Refused
        No such module or trainee; nothing is out; a next attempt was issued since; no reason.
    CannotWrite
        A page cannot be removed.
    """
    if not preview and not reason.strip():
        raise Refused("To take sheets back needs a reason; it stands in the ledger. Add --reason; nothing was changed.")
    with session(term, module_key, "taking back sheets of", read_only=preview) as work:
        connection, known = work.connection, _known(work.connection, module_key)
        out = dict(sorted(known))
        people = [roster.one(connection, trainee) for trainee in trainees]
        people = people or [person for person in roster.everyone(connection) if person.id in out]
        if not people:
            raise Refused(f"No sheet of {module_key} is out, so none can be taken back. Nothing was changed.")
        return each(work, people, lambda person: _take_back(work, person, out.get(person.id), known, reason.strip()))


def _take_back(work: Work, person: Trainee, attempt: int | None, known: dict, reason: str) -> Trainee:
    connection, module_key = work.connection, work.module.key
    if attempt is None:
        raise Refused(f"no sheet of {person.name} is out. Nothing was changed.")
    table = schema.issue
    mine = (table.c.trainee == person.id, table.c.module == module_key)
    if connection.execute(select(func.max(table.c.attempt)).where(*mine)).scalar_one() > attempt:
        raise Refused(
            f"{person.name} sits again, with numbers made after that sheet was returned. Nothing was changed."
        )
    if work.read_only:
        return person
    owner = (person.id, module_key, attempt)
    entry = ledger.Entry(
        "returned",
        trainee=person.id,
        module=module_key,
        attempt=attempt,
        old=known[person.id, attempt],
        new="",
        reason=reason,
        kind=ledger.TAKEN_BACK,
    )
    ledger.append(connection, [entry])
    lateness.settle_arrivals(connection, owner, f"sheet taken back: {reason}")
    settle.settle(work, owner, f"sheet taken back: {reason}")
    page = returned_path(work.term, *owner)
    try:
        page.unlink(missing_ok=True)
    except OSError as problem:
        raise CannotWrite(f"{page} could not be removed: {problem.strerror}. Nothing was changed.") from None
    return person


def page_of(term: Term, module_key: str, trainee: str) -> bytes:
    """The page of a trainee's attempt that counts, as things stand now; nothing is written.

    Raises
    ------
    Unknown, Refused, BadSheet
        As `marked_attempt.of_trainee`.
    """
    work = marked_attempt.of_trainee(term, module_key, trainee)
    return returned_sheet.build(term, work, _sections(term, work.module))


def packed_for_all(term: Term, module_key: str) -> bytes:
    """A zip with a folder for each person whose pages of a module lie in returned/, named after him.

    Raises
    ------
    Refused
        Nothing of that module was returned.
    """
    with database.reading(term) as connection:
        people = {person.id: person for person in roster.everyone(connection)}
        owners = sorted(_known(connection, module_key), key=lambda owner: list(people).index(owner[0]))
    pages = [
        (people[trainee], returned_path(term, trainee, module_key, attempt))
        for trainee, attempt in owners
        if returned_path(term, trainee, module_key, attempt).is_file()
    ]
    if not pages:
        raise Refused(f"Nothing of {module_key} was returned yet. Run 'return {module_key}' first.")
    return assign.packed_by_person(pages)


def _standings(term, connection, module, trainee):
    standing.must_be_assigned(connection, module.key)
    wanted = roster.one(connection, trainee).id if trainee else ""
    return [
        attempt for attempt in standing.standings(term, connection, [module.key]) if wanted in ("", attempt.person.id)
    ]


def _known(connection, module_key):
    """Digest of the page returned last, by (trainee, attempt)."""
    return {
        (trainee, attempt): digest
        for (trainee, module, attempt), (_, digest) in lateness.returned(connection).items()
        if module == module_key
    }


@dataclass(frozen=True, slots=True)
class _Run:
    """A run under way. `known` are the digests of the pages returned last, `sections` those of the lesson by exercise."""

    work: Work
    decided: adjustments.Adjustments
    known: dict
    sections: dict
    partly: bool
    one_file: bool
    done: Returned

    def give_back(self, result: Standing) -> list[dict[str, Any]]:
        """Return every marked attempt of one trainee, or say why not; what stands on the latest page, for one file of all."""
        work, done, table = self.work, self.done, schema.mark
        term, connection, module = work.term, work.connection, work.module
        who = f"{result.person.name} ({result.person.college_id})"
        mine = (table.c.trainee == result.person.id, table.c.module == module.key)
        marks = connection.execute(select(table).where(*mine).order_by(table.c.attempt)).all()
        if result.state == standing.EXCUSED or not marks:
            done.left_out.append(f"{who}: {_nothing(term, result)}")
            return []
        latest = []
        for mark in marks:
            attempt = f"attempt {mark.attempt}: " if len(marks) > 1 else ""
            try:
                attempt_work = marked_attempt.gather(term, connection, module, result.person, mark, self.decided)
                reason = _not_yet(term, attempt_work, self.partly)
                if reason:
                    done.left_out.append(f"{who}: {attempt}{reason}")
                    continue
                content = returned_sheet.build(term, attempt_work, self.sections)
                if self.one_file:
                    latest = [returned_sheet.data(term, attempt_work, self.sections, anchor=f"{result.person.id}-")]
            except BadSheet as problem:
                done.findings.append(f"{result.person.id}: {attempt}{problem}")
                continue
            self._put(who, result.person.id, mark.attempt, content)
            if mark.penalty:
                days = f"{mark.late_days} day{'s' if mark.late_days != 1 else ''} late"
                done.penalties.append(f"{who}: {attempt}{days}, {mark.penalty / 100:g} taken off")
        return latest

    def _put(self, who, trainee_id, attempt, content):
        module_key, done = self.work.module.key, self.done
        path = returned_path(self.work.term, trainee_id, module_key, attempt)
        digest, before = hashlib.sha256(content).hexdigest(), self.known.get((trainee_id, attempt))
        done.pages.append(path)
        if before == digest and _digest_on_disk(path) == digest:
            done.unchanged += 1
            return
        done.going_out.append(who)
        if before is None:
            done.first_time.append(trainee_id)
        done.written += 1
        if self.work.read_only:
            done.replaced += before not in (None, digest)
            return
        files.write_bytes(path, content)
        if before == digest:  # the page was lost or changed in the folder; what was returned is the same
            return
        done.replaced += before is not None
        entry = ledger.Entry(
            "returned",
            trainee=trainee_id,
            module=module_key,
            attempt=attempt,
            old=before,
            new=digest,
            sha256=digest,
            reason="takes the place of the page returned before" if before else "",
        )
        ledger.append(self.work.connection, [entry])


def _nothing(term, attempt):
    """Why somebody without a mark, or excused, gets no page."""
    if attempt.state == standing.EXCUSED:
        return "excused; nothing to return."
    if attempt.state == standing.HANDED_IN:
        return "handed in and not marked. Run 'mark'; if it lists a finding, look at that first."
    return f"{attempt.state}{_open(term, attempt.due, attempt.extension_until)}."


def _not_yet(term, work, partly):
    """Why a marked attempt is not returned now, or an empty text.

    A page tells the right answers. Before the due time a better hand-in would still count.
    """
    still = _open(term, work.due, work.extended)
    if still:
        return f"{work.mark.state}{still}. Return the sheet after that."
    if work.mark.state == standing.PARTLY_MARKED and not partly:
        return "written answers wait to be read. Read them first, or add --partly."
    return ""


def _open(term, due, extended):
    """Until when work may still come in, as the end of a sentence; empty where the time is over or none was set."""
    if not due or clock.now() > clock.from_text(due):
        return ""
    return f", {'extended' if extended else 'may hand in'} until {term.shown(clock.from_text(due))}"


def _digest_on_disk(path):
    try:
        return hashlib.sha256(files.read_bytes(path, most=_LARGEST, what="The returned sheet")).hexdigest()
    except BadFile:
        return ""


def _sections(term, module):
    """Heading of the lesson's section by exercise name; nothing where the lesson cannot be read."""
    try:
        lesson = notebooks.released(term, module)[1]
    except Unknown:
        return {}
    sections, heading = {}, ""
    for cell in lesson.get("cells", ()):
        source = cell.get("source", "")
        text = source if isinstance(source, str) else "".join(source)
        if cell.get("cell_type") == "markdown":
            titles = [line[3:].strip() for line in text.splitlines() if line.startswith("## ")]
            heading = titles[-1] if titles else heading
        settings = cell.get("metadata", {}).get("nbgrader", {})
        if settings.get("grade"):
            sections[settings.get("grade_id", "")] = heading
    return sections
