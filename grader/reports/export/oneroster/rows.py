"""What stands in a OneRoster package: our records in the words of the standard, one file after another."""

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import Connection, select

from grader import catalogue, clock
from grader.course.attempts import passing, standing
from grader.exercise.model import ASSESSED
from grader.records import ledger, schema
from grader.records.term import roster
from grader.records.term.term import Term
from grader.reports.export import pseudonym
from grader.reports.export.oneroster.programme import Programme
from grader.reports.tables import people, scope
from grader.reports.tables.grades import hundredths

_NAMES = uuid.UUID("0d6c1d3a-3c1e-5f0e-9a55-6a2f5f0a7c11")  # ours, fixed for ever
_STATUS = {
    standing.NOT_HANDED_IN: "not submitted", standing.HANDED_IN: "submitted", standing.PARTLY_MARKED: "partially graded",
    standing.MARKED: "fully graded", standing.EXCUSED: "exempt",
}  # fmt: skip
COURSE = "Breaker-point ignition"
LONGEST = 255  # what a receiver has to keep


@dataclass(frozen=True, slots=True)
class Part:
    """One term on its way into a package."""

    term: Term
    connection: Connection
    programme: Programme
    names: bool

    def id(self, *what: object) -> str:
        """Id of a thing: the same in every package."""
        return str(uuid.uuid5(_NAMES, "\n".join((self.programme.centre, *map(str, what)))))

    def person(self, trainee: str) -> str:
        """Id of a person: a keyed code, since a bare digest of a short number is soon guessed."""
        return pseudonym.code(self.term, trainee, "oneroster")

    def day(self, text: str) -> date:
        """The day of a moment on the clock of the term."""
        return clock.from_text(text).astimezone(clock.zone(self.term.settings.zone)).date()


def sessions(part: Part) -> Iterator[tuple[object, ...]]:
    first, last = scope.first_and_last_day(part.term, part.connection)
    begins = date.fromisoformat(f"{first.year}-{part.programme.year_starts}")
    begins = begins if begins <= first else begins.replace(year=begins.year - 1)
    ends = begins.replace(year=begins.year + 1)
    label = ends - timedelta(days=1)  # a school year is called after the year in which it ends
    year = part.id("year", begins)
    yield (year, f"School year {label.year}", "schoolYear", begins, ends, "", label.year)
    # endDate is exclusive
    yield (_session(part), part.term.settings.title, "term", first, last + timedelta(days=1), year, label.year)


def orgs(part: Part) -> Iterator[tuple[object, ...]]:
    yield (part.id("org"), part.programme.centre, "school", "", "")


def courses(part: Part) -> Iterator[tuple[object, ...]]:
    yield (part.id("course"), "", COURSE, "", "", part.id("org"), "", "")


def classes(part: Part) -> Iterator[tuple[object, ...]]:
    yield (
        _class(part),
        part.term.settings.title,
        "",
        part.id("course"),
        part.term.id,
        "scheduled",
        "",
        part.id("org"),
        _session(part),
        "",
        "",
        "",
    )


def users(part: Part) -> Iterator[tuple[object, ...]]:
    for person in scope.people(part.connection):
        id_ = part.person(person.id)
        if part.names:
            login, given, family, number = person.college_id, person.first_name, person.last_name, person.college_id
        else:
            login, given, family, number = id_, id_, id_, ""
        enabled = "true" if person.status == roster.ENROLLED else "false"
        yield (id_, enabled, login, "", given or "-", family or "-", "", number, *[""] * 10, part.id("org"), "")


def roles(part: Part) -> Iterator[tuple[object, ...]]:
    for person in scope.people(part.connection):
        id_ = part.person(person.id)
        yield (part.id("role", id_), id_, "primary", "student", "", "", part.id("org"), "")


def enrollments(part: Part) -> Iterator[tuple[object, ...]]:
    left = {}
    for _, at, entry in ledger.entries(part.connection, "withdrawn"):
        left[entry["trainee"]] = part.day(at) + timedelta(days=1)
    for person in scope.people(part.connection):
        id_ = part.person(person.id)
        end = left.get(person.id, "") if person.status == roster.WITHDRAWN else ""
        yield (part.id("enrolment", part.term.id, id_), _class(part), part.id("org"), id_, "student", "", "", end)


def categories(part: Part) -> Iterator[tuple[object, ...]]:
    for mode in sorted({row.mode for row in _assigned(part)}):
        yield (part.id("category", mode), f"{mode.capitalize()} work", "")


def line_items(part: Part) -> Iterator[tuple[object, ...]]:
    last = scope.first_and_last_day(part.term, part.connection)[1]
    for row in _assigned(part):
        module = catalogue.module(row.module)
        due = part.day(row.due) if row.due else last
        assigned = min(part.day(row.assigned_at), due)  # an instructor may record paper work afterwards
        yield (
            _line(part, row.module),
            module.title,
            "",
            assigned,
            due,
            _class(part),
            part.id("category", row.mode),
            _session(part),
            "0",
            hundredths(row.most),
            part.id("org"),
        )


def results(part: Part) -> Iterator[tuple[object, ...]]:
    assigned = {row.module: row for row in _assigned(part)}
    for result in scope.standings(part.term, part.connection, assigned):
        if result.state not in _STATUS:
            continue
        mark, score, on = result.mark, "", assigned[result.module].assigned_at
        comments = [f"attempt {result.attempt} of {result.attempts}"] if result.attempts > 1 and result.attempt else []
        if result.state == standing.MARKED and mark is not None:
            score, on = hundredths(mark.mark), mark.marked_at
            comments.insert(0, passing.Outcome(result.passed, result.failed).said())
            if mark.penalty:
                comments.append(
                    f"raw mark {hundredths(mark.raw)}, penalty {hundredths(mark.penalty)} for {mark.late_days} days late"
                )
        elif result.handed_in_at:
            on = result.handed_in_at
        past = bool(result.due) and clock.now() > clock.from_text(result.due)
        missing = result.state == standing.NOT_HANDED_IN and past
        on = result.due if missing else on
        yield (
            _result(part, result.person.id, result.module),
            _line(part, result.module),
            part.person(result.person.id),
            _STATUS[result.state],
            score,
            part.day(on),
            "; ".join(comments),
            "",
            _class(part),
            "",
            "",
            "true" if mark is not None and mark.late_days else "false",
            "true" if missing else "false",
        )


def line_item_objectives(part: Part) -> Iterator[tuple[object, ...]]:
    for row in _assigned(part):
        codes = {code: None for _, p, _ in catalogue.module(row.module).parts() for code in p.objectives}
        for code in codes:
            line = _line(part, row.module)
            yield (part.id("objective", line, code), line, "unknown", code)


def result_objectives(part: Part) -> Iterator[tuple[object, ...]]:
    known = catalogue.objectives()
    ours = {person.college_id: person.id for person in scope.people(part.connection)}
    marked = {
        (each.person.id, each.module)
        for each in scope.standings(part.term, part.connection, [row.module for row in _assigned(part)])
        if each.state == standing.MARKED
    }
    for row in people.objectives(part.term, part.connection):
        whose, module = ours[row["trainee_id"]], known[row["objective"]]["module"]
        if (whose, module) in marked:
            result = _result(part, whose, module)
            id_ = part.id("objective", result, row["objective"])
            yield (id_, result, "unknown", row["objective"], row["marks"], row["met"])


# What several classes may share. All else bears the class or the trainee of a class in its id.
SHARED = ("academicSessions", "categories", "courses", "orgs")
# File, its columns after the first three, its rows; the order in which they stand in a package.
FILES = (
    ("academicSessions", "title,type,startDate,endDate,parentSourcedId,schoolYear", sessions),
    ("categories", "title,weight", categories),
    ("classes", "title,grades,courseSourcedId,classCode,classType,location,schoolSourcedId,termSourcedIds,subjects,"
     "subjectCodes,periods", classes),
    ("courses", "schoolYearSourcedId,title,courseCode,grades,orgSourcedId,subjects,subjectCodes", courses),
    ("enrollments", "classSourcedId,schoolSourcedId,userSourcedId,role,primary,beginDate,endDate", enrollments),
    ("lineItemLearningObjectiveIds", "lineItemSourcedId,source,learningObjectiveId", line_item_objectives),
    ("lineItems", "title,description,assignDate,dueDate,classSourcedId,categorySourcedId,academicSessionSourcedId,"
     "resultValueMin,resultValueMax,schoolSourcedId", line_items),
    ("orgs", "name,type,identifier,parentSourcedId", orgs),
    ("resultLearningObjectiveIds", "resultSourcedId,source,learningObjectiveId,score,textScore", result_objectives),
    ("results", "lineItemSourcedId,studentSourcedId,scoreStatus,score,scoreDate,comment,textScore,classSourcedId,"
     "inProgress,incomplete,late,missing", results),
    ("roles", "userSourcedId,roleType,role,beginDate,endDate,orgSourcedId,userProfileSourcedId", roles),
    ("users", "enabledUser,username,userIds,givenName,familyName,middleName,identifier,email,sms,phone,agentSourcedIds,"
     "grades,password,userMasterIdentifier,preferredGivenName,preferredMiddleName,preferredFamilyName,"
     "primaryOrgSourcedId,pronouns", users),
)  # fmt: skip


def _assigned(part):
    """What was assigned and is assessed: a receiver takes every line item for a grade, and practice is none."""
    table = schema.assignment
    query = select(table).where(table.c.mode == ASSESSED, table.c.withdrawn == "").order_by(table.c.module)
    return part.connection.execute(query).all()


def _class(part):
    return part.id("class", part.term.id)


def _session(part):
    return part.id("session", part.term.id)


def _line(part, module):
    """A line item belongs to one class, so its id holds the class."""
    return part.id("line", part.term.id, module)


def _result(part, trainee, module):
    return part.id("result", part.term.id, module, part.person(trainee))
