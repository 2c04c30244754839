"""What the rows of a package say about one another.

The files are read one after the other, each after those that it refers to. Of a row
nothing is kept but what a later one may be held against: mostly its id.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from graphlib import TopologicalSorter

import numpy as np

MOST = 50  # sentences; whoever has so many looks for one cause

SESSIONS, CLASSES, USERS, ROLES = "academicSessions.csv", "classes.csv", "users.csv", "roles.csv"
LINES, RESULTS, ENROLMENTS = "lineItems.csv", "results.csv", "enrollments.csv"
LINE_OBJECTIVES, RESULT_OBJECTIVES = "lineItemLearningObjectiveIds.csv", "resultLearningObjectiveIds.csv"
_CASE_ID = re.compile(r"(?:urn:uuid:)?[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}\Z")
_FIGURE = re.compile(r"-?[0-9]+(?:\.[0-9]+)?\Z")
# Files that have to come with another one.
_COMPANY = {
    RESULTS: (LINES, "categories.csv", SESSIONS, CLASSES, "courses.csv", "orgs.csv", USERS, ROLES),
    LINES: ("categories.csv", SESSIONS, CLASSES, "orgs.csv"),
    CLASSES: ("courses.csv", "orgs.csv", SESSIONS, ENROLMENTS),
    USERS: (ROLES, "orgs.csv"),
    RESULT_OBJECTIVES: (RESULTS,),
    LINE_OBJECTIVES: (LINES,),
}
_NO_SCORE = ("exempt", "not submitted")
_PERIODS = {SESSIONS: ("startDate", "endDate"), ENROLMENTS: ("beginDate", "endDate"), ROLES: ("beginDate", "endDate")}
_AGAIN = "{name}: {id} says again what another row says."


def order(names: Iterable[str], facts: Mapping[str, Sequence[Mapping[str, str]]]) -> list[str]:
    """Names of files so that each comes after those it is held against.

    Parameters
    ----------
    names : iterable of str
    facts : dict of str to list of dict
        Column facts by file name.
    """
    names = set(names)
    before = {
        name: sorted({fact["refers_to"] for fact in facts[name]} & names - {name})
        + ([ENROLMENTS] if name == RESULTS and ENROLMENTS in names else [])
        for name in sorted(names)
    }
    return list(TopologicalSorter(before).static_order())


class Relations:
    """Findings about references, dates, scores and membership, gathered row by row.

    Parameters
    ----------
    names : iterable of str
        The files of the package.
    facts : dict of str to list of dict
        Column facts by file name.
    modes : dict of str to str
        bulk or delta by file name.
    complete : bool
        Ask for every reference although it is a delta.
    """

    def __init__(
        self,
        names: Iterable[str],
        facts: Mapping[str, Sequence[Mapping[str, str]]],
        modes: Mapping[str, str],
        *,
        complete: bool = False,
    ) -> None:
        self.findings = Findings()
        self._names = set(names)
        self._whole = complete or all(modes.get(name) == "bulk" for name in names)
        self._members = self._whole or ENROLMENTS in self._names
        wanted = {fact["refers_to"] for name in names for fact in facts[name] if self._whole}
        self._ids = {name: set() for name in wanted | {USERS} if name}
        self._references = {
            name: [(f["column"], f["refers_to"], f["format"].startswith("List")) for f in facts[name] if f["refers_to"]]
            for name in names
            if self._whole
        }
        self._filled, self._waiting = set(), []
        self._sessions, self._parents, self._years = {}, {}, set()
        self._schools, self._lines, self._enrolled, self._without_role = {}, {}, {}, None
        self._checks = {
            SESSIONS: (self._period, self._session, self._parent), "orgs.csv": (self._parent,), CLASSES: (self._class,),
            ENROLMENTS: (self._period, self._school, self._enrolment), LINES: (self._line, self._school),
            RESULTS: (self._result,), ROLES: (self._period, self._role),
            LINE_OBJECTIVES: (self._objective,), RESULT_OBJECTIVES: (self._objective,),
        }  # fmt: skip

    def once(self, name: str) -> list[Once]:
        """What each row of a file may say once."""
        if name == LINE_OBJECTIVES:
            return [Once(("lineItemSourcedId", "source", "learningObjectiveId"), _AGAIN)]
        if name == RESULT_OBJECTIVES:
            return [Once(("resultSourcedId", "source", "learningObjectiveId"), _AGAIN)]
        if name == ENROLMENTS:
            return [Once(("classSourcedId", "userSourcedId", "role", "beginDate", "endDate"), _AGAIN)]
        if name == ROLES:
            sentence = "{name}: {id} is a second primary role in one organisation."
            return [Once(("userSourcedId", "orgSourcedId"), sentence, only=("roleType", "primary"))]
        if name == RESULTS and self._members:
            sentence = "{name}: {id} is a second result of one student in one line item."
            return [Once(("lineItemSourcedId", "studentSourcedId"), sentence)]
        return []

    def row(self, name: str, row: Mapping[str, str]) -> None:
        """One row of a file."""
        self._filled.add(name)
        if name in self._ids:
            self._ids[name].add(row["sourcedId"])
        for column, target, listed in self._references.get(name, ()):
            for reference in row[column].split(",") if listed else (row[column],):
                if reference and reference not in self._ids[target]:
                    if target == name:  # it may still come
                        self._waiting.append((column, reference))
                    else:
                        self._nowhere(name, column, reference, target)
        for check in self._checks.get(name, ()):
            check(name, row)

    def end(self, name: str) -> None:
        """After the last row of a file."""
        for column, reference in self._waiting:
            if reference not in self._ids[name]:
                self._nowhere(name, column, reference, name)
        self._waiting = []
        if name == SESSIONS:
            self._check_years()
        if name in (SESSIONS, "orgs.csv"):
            self._check_circles(name)
        if name == ROLES:
            for reference in sorted(self._ids[USERS] if self._without_role is None else self._without_role):
                self.findings.say(f"users.csv: {reference} has no role.")

    def close(self) -> None:
        """After the last file: which files lack another one."""
        for name, others in _COMPANY.items() if self._whole else ():
            for other in others:
                if name in self._filled and other not in self._filled:
                    self.findings.say(f"{name} needs {other} beside it.")

    def _nowhere(self, name, column, reference, target):
        self.findings.say(f"{name}: {column} {reference[:40]} is not in {target}.")

    def _period(self, name, row):
        """Ends are exclusive, so they come after beginnings."""
        first, last = (row[column] for column in _PERIODS[name])
        if first and last and last <= first:
            self.findings.say(f"{name}: {row['sourcedId']} ends ({last}) before it begins ({first}).")

    def _session(self, _, row):
        self._sessions[row["sourcedId"]] = row
        if row["type"] == "schoolYear":
            self._years.add(row["sourcedId"])

    def _check_years(self):
        """A school year is called after the year in which it ends; what lies in it bears the same number."""
        for row in self._sessions.values():
            parent = self._sessions.get(row["parentSourcedId"])
            try:
                last = date.fromisoformat(row["endDate"]) - timedelta(days=1)  # the end is exclusive
            except (ValueError, OverflowError):
                continue  # named as a date that is none
            if row["type"] == "schoolYear" and row["schoolYear"] != f"{last.year:04d}":
                self.findings.say(
                    f"{SESSIONS}: {row['sourcedId']} ends in {last.year} and is called {row['schoolYear']}."
                )
            if parent and parent["type"] == "schoolYear" and row["schoolYear"] != parent["schoolYear"]:
                self.findings.say(f"{SESSIONS}: {row['sourcedId']} bears another school year than what it lies in.")

    def _parent(self, _, row):
        self._parents[row["sourcedId"]] = row["parentSourcedId"]

    def _check_circles(self, name):
        """Nothing is part of itself, at whatever remove."""
        parents, self._parents = self._parents, {}
        for start in parents:
            seen, ancestor = set(), start
            while ancestor in parents and ancestor not in seen:
                seen.add(ancestor)
                ancestor = parents[ancestor]
            if ancestor == start:
                self.findings.say(f"{name}: {start} is its own parent.")

    def _class(self, name, row):
        self._schools[row["sourcedId"]] = row["schoolSourcedId"]
        if any(session in self._years for session in row["termSourcedIds"].split(",")):
            self.findings.say(f"{name}: {row['sourcedId']} stands in a school year, not in a term.")

    def _school(self, name, row):
        """What belongs to a class belongs to its school."""
        if row["schoolSourcedId"] != self._schools.get(row["classSourcedId"], row["schoolSourcedId"]):
            self.findings.say(f"{name}: {row['sourcedId']} names another school than its class.")

    def _enrolment(self, name, row):
        if row["role"] == "student":
            self._enrolled.setdefault(row["classSourcedId"], set()).add(row["userSourcedId"])
        if row["primary"] and row["role"] != "teacher":
            self.findings.say(f"{name}: {row['sourcedId']} is primary and no teacher.")

    def _line(self, name, row):
        """A due date may be the day of assigning."""
        low, high = _number(row["resultValueMin"]), _number(row["resultValueMax"])
        self._lines[row["sourcedId"]] = (low, high, row["classSourcedId"])
        if row["dueDate"] < row["assignDate"]:
            self.findings.say(f"{name}: {row['sourcedId']} is due before it is assigned.")
        if row["academicSessionSourcedId"] in self._years:
            self.findings.say(f"{name}: {row['sourcedId']} stands in a school year, not in a term.")
        if low is not None and high is not None and high <= low:
            self.findings.say(f"{name}: {row['sourcedId']} has no room between its least and greatest score.")

    def _result(self, name, row):
        score, status = _number(row["score"]), row["scoreStatus"]
        who, say = f"{name}: {row['sourcedId']}", self.findings.say
        if status in _NO_SCORE and row["score"]:
            say(f"{who} is {status} and has a score.")
        if status == "fully graded" and not row["score"] and not row["textScore"]:
            say(f"{who} is fully graded and has no score.")
        if status != "not submitted" and row["missing"] == "true":
            say(f"{who} is {status} and missing at once.")
        if row["lineItemSourcedId"] not in self._lines:
            return
        low, high, in_class = self._lines[row["lineItemSourcedId"]]
        if score is not None and ((low is not None and score < low) or (high is not None and score > high)):
            say(f"{who} has the score {row['score']} outside {low} to {high}.")
        if row["classSourcedId"] and row["classSourcedId"] != in_class:
            say(f"{who} names another class than its line item.")
        if self._members and row["studentSourcedId"] not in self._enrolled.get(in_class, ()):
            say(f"{who} is of somebody not enrolled in that class.")

    def _role(self, _, row):
        if self._without_role is None:
            self._without_role = set(self._ids[USERS])
        self._without_role.discard(row["userSourcedId"])

    def _objective(self, name, row):
        if row["source"] == "case" and not _CASE_ID.match(row["learningObjectiveId"]):
            self.findings.say(f"{name}: {row['sourcedId']} has source case and no UUID.")


def _number(text):
    return float(text) if _FIGURE.match(text) else None


class Findings:
    """The first sentences of those said."""

    def __init__(self):
        self.said = []

    def say(self, sentence: str) -> None:
        if len(self.said) < MOST:
            self.said.append(sentence)


class Once:
    """Something that each row of a file may say once.

    A first reading keeps a digest of eight bytes of each; only where two are the same a
    second reading compares the texts themselves.

    Parameters
    ----------
    columns : tuple of str
        What may be there once.
    sentence : str
        With {name}, {line} and {id} of the row that says it again.
    only : (str, str) or None
        Column and its value in the rows concerned.
    """

    def __init__(self, columns: tuple[str, ...], sentence: str, only: tuple[str, str] | None = None) -> None:
        self._columns, self._sentence, self._only = columns, sentence, only
        self._digests, self._twice, self._seen = array("q"), frozenset(), set()

    def note(self, row: Mapping[str, str]) -> None:
        """In the first reading."""
        if self._concerns(row):
            self._digests.append(hash(self._what(row)))

    def is_doubtful(self) -> bool:
        """Whether a second reading is needed."""
        values, counts = np.unique(np.frombuffer(self._digests, dtype=np.int64), return_counts=True)
        self._twice = frozenset(values[counts > 1].tolist())
        self._digests = array("q")
        return bool(self._twice)

    def again(self, name: str, line: int, row: Mapping[str, str], findings: Findings) -> None:
        """In the second reading."""
        what = self._what(row)
        if not self._concerns(row) or hash(what) not in self._twice:
            return
        if what in self._seen:
            findings.say(self._sentence.format(name=name, line=line, id=row["sourcedId"]))
        self._seen.add(what)

    def _concerns(self, row):
        return self._only is None or row[self._only[0]] == self._only[1]

    def _what(self, row):
        return tuple(row[column] for column in self._columns)
