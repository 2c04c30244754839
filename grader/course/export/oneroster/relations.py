"""What the rows of a package say about one another."""

import re
from datetime import date, timedelta

_CASE_ID = re.compile(r"(?:urn:uuid:)?[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}\Z")
# Files that have to come with another one.
_COMPANY = {
    "results.csv": ("lineItems.csv", "categories.csv", "academicSessions.csv", "classes.csv", "courses.csv", "orgs.csv",
                    "users.csv", "roles.csv"),
    "lineItems.csv": ("categories.csv", "academicSessions.csv", "classes.csv", "orgs.csv"),
    "classes.csv": ("courses.csv", "orgs.csv", "academicSessions.csv", "enrollments.csv"),
    "users.csv": ("roles.csv", "orgs.csv"),
    "resultLearningObjectiveIds.csv": ("results.csv",),
    "lineItemLearningObjectiveIds.csv": ("lineItems.csv",),
}  # fmt: skip
_NO_SCORE = ("exempt", "not submitted")


def check(data, facts, modes, *, complete=False):
    """Findings about references, dates, scores and membership, as sentences.

    Parameters
    ----------
    data : dict of str to list of dict
        Rows by file name.
    facts : dict of str to list of dict
        Column facts by file name.
    modes : dict of str to str
        bulk or delta by file name.
    complete : bool
        Ask for every reference although it is a delta.
    """
    whole = complete or all(modes.get(name) == "bulk" for name in data)
    found = []
    if whole:
        found += _company(data) + _references(data, facts)
    parts = (_periods, _years, _circles, _schools, _scores, _roles, _objectives, _pairs)
    return found + [said for part in parts for said in part(data)] + _members(data, whole)


def _company(data):
    return [
        f"{name} needs {other} beside it."
        for name, others in _COMPANY.items()
        if data.get(name)
        for other in others
        if not data.get(other)
    ]


def _references(data, facts):
    ids = {name: {row["sourcedId"] for row in rows} for name, rows in data.items()}
    found = []
    for name, rows in data.items():
        for fact in facts[name]:
            target = fact["refers_to"]
            if not target:
                continue
            listed = fact["format"].startswith("List")
            for row in rows:
                for one in row[fact["column"]].split(",") if listed else (row[fact["column"]],):
                    if one and one not in ids.get(target, ()):
                        found.append(f"{name}: {fact['column']} {one[:40]} is not in {target}.")
    return found


def _periods(data):
    """Ends are exclusive, so they come after beginnings; a due date may be the day of assigning."""
    found = []
    for name, first, last in (
        ("academicSessions.csv", "startDate", "endDate"),
        ("enrollments.csv", "beginDate", "endDate"),
        ("roles.csv", "beginDate", "endDate"),
    ):
        for row in data.get(name, ()):
            if row[first] and row[last] and row[last] <= row[first]:
                found.append(f"{name}: {row['sourcedId']} ends ({row[last]}) before it begins ({row[first]}).")
    for row in data.get("lineItems.csv", ()):
        if row["dueDate"] < row["assignDate"]:
            found.append(f"lineItems.csv: {row['sourcedId']} is due before it is assigned.")
    years = {row["sourcedId"] for row in data.get("academicSessions.csv", ()) if row["type"] == "schoolYear"}
    for row in data.get("lineItems.csv", ()):
        if row["academicSessionSourcedId"] in years:
            found.append(f"lineItems.csv: {row['sourcedId']} stands in a school year, not in a term.")
    for row in data.get("classes.csv", ()):
        if any(one in years for one in row["termSourcedIds"].split(",")):
            found.append(f"classes.csv: {row['sourcedId']} stands in a school year, not in a term.")
    return found


def _years(data):
    """A school year is called after the year in which it ends; what lies in it bears the same number."""
    found, sessions = [], {row["sourcedId"]: row for row in data.get("academicSessions.csv", ())}
    for row in sessions.values():
        parent = sessions.get(row["parentSourcedId"])
        try:
            last = date.fromisoformat(row["endDate"]) - timedelta(days=1)  # the end is exclusive
        except (ValueError, OverflowError):
            continue  # named as a date that is none
        if row["type"] == "schoolYear" and row["schoolYear"] != f"{last.year:04d}":
            found.append(
                f"academicSessions.csv: {row['sourcedId']} ends in {last.year} and is called {row['schoolYear']}."
            )
        if parent and parent["type"] == "schoolYear" and row["schoolYear"] != parent["schoolYear"]:
            found.append(f"academicSessions.csv: {row['sourcedId']} bears another school year than what it lies in.")
    return found


def _circles(data):
    """Nothing is part of itself, at whatever remove."""
    found = []
    for name in ("academicSessions.csv", "orgs.csv"):
        parents = {row["sourcedId"]: row["parentSourcedId"] for row in data.get(name, ())}
        for start in parents:
            seen, one = set(), start
            while one in parents and one not in seen:
                seen.add(one)
                one = parents[one]
            if one == start:
                found.append(f"{name}: {start} is its own parent.")
    return found


def _schools(data):
    """What belongs to a class belongs to its school."""
    schools = {row["sourcedId"]: row["schoolSourcedId"] for row in data.get("classes.csv", ())}
    return [
        f"{name}: {row['sourcedId']} names another school than its class."
        for name in ("enrollments.csv", "lineItems.csv")
        for row in data.get(name, ())
        if row["schoolSourcedId"] != schools.get(row["classSourcedId"], row["schoolSourcedId"])
    ]


def _pairs(data):
    """What may be said once of two things: an objective of a result, the same enrolment."""
    found = []
    for name, columns in (
        ("lineItemLearningObjectiveIds.csv", ("lineItemSourcedId", "source", "learningObjectiveId")),
        ("resultLearningObjectiveIds.csv", ("resultSourcedId", "source", "learningObjectiveId")),
        ("enrollments.csv", ("classSourcedId", "userSourcedId", "role", "beginDate", "endDate")),
    ):
        seen = set()
        for row in data.get(name, ()):
            what = tuple(row[column] for column in columns)
            if what in seen:
                found.append(f"{name}: {row['sourcedId']} says again what another row says.")
            seen.add(what)
    return found


def _scores(data):
    lines = {row["sourcedId"]: row for row in data.get("lineItems.csv", ())}
    found = []
    for row in data.get("lineItems.csv", ()):
        low, high = _number(row["resultValueMin"]), _number(row["resultValueMax"])
        if low is not None and high is not None and high <= low:
            found.append(f"lineItems.csv: {row['sourcedId']} has no room between its least and greatest score.")
    for row in data.get("results.csv", ()):
        score, status = _number(row["score"]), row["scoreStatus"]
        line = lines.get(row["lineItemSourcedId"])
        who = f"results.csv: {row['sourcedId']}"
        if status in _NO_SCORE and row["score"]:
            found.append(f"{who} is {status} and has a score.")
        if status == "fully graded" and not row["score"] and not row["textScore"]:
            found.append(f"{who} is fully graded and has no score.")
        if status != "not submitted" and row["missing"] == "true":
            found.append(f"{who} is {status} and missing at once.")
        if line and score is not None:
            low, high = _number(line["resultValueMin"]), _number(line["resultValueMax"])
            if (low is not None and score < low) or (high is not None and score > high):
                found.append(f"{who} has the score {row['score']} outside {low} to {high}.")
        if line and row["classSourcedId"] and row["classSourcedId"] != line["classSourcedId"]:
            found.append(f"{who} names another class than its line item.")
    return found


def _members(data, whole):
    """A result belongs to somebody enrolled in the class of its line item."""
    if "enrollments.csv" not in data and not whole:
        return []
    enrolled = {
        (row["classSourcedId"], row["userSourcedId"])
        for row in data.get("enrollments.csv", ())
        if row["role"] == "student"
    }
    lines = {row["sourcedId"]: row["classSourcedId"] for row in data.get("lineItems.csv", ())}
    found, seen = [], set()
    for row in data.get("results.csv", ()):
        if (
            row["lineItemSourcedId"] in lines
            and (lines[row["lineItemSourcedId"]], row["studentSourcedId"]) not in enrolled
        ):
            found.append(f"results.csv: {row['sourcedId']} is of somebody not enrolled in that class.")
        pair = (row["lineItemSourcedId"], row["studentSourcedId"])
        if pair in seen:
            found.append(f"results.csv: {row['sourcedId']} is a second result of one student in one line item.")
        seen.add(pair)
    for row in data.get("enrollments.csv", ()):
        if row["primary"] and row["role"] != "teacher":
            found.append(f"enrollments.csv: {row['sourcedId']} is primary and no teacher.")
    return found


def _roles(data):
    found, seen = [], set()
    for row in data.get("roles.csv", ()):
        pair = (row["userSourcedId"], row["orgSourcedId"])
        if row["roleType"] == "primary":
            if pair in seen:
                found.append(f"roles.csv: {row['sourcedId']} is a second primary role in one organisation.")
            seen.add(pair)
    if "roles.csv" in data:
        without = {row["sourcedId"] for row in data.get("users.csv", ())} - {
            row["userSourcedId"] for row in data["roles.csv"]
        }
        found += [f"users.csv: {one} has no role." for one in sorted(without)]
    return found


def _objectives(data):
    return [
        f"{name}: {row['sourcedId']} has source case and no UUID."
        for name in ("lineItemLearningObjectiveIds.csv", "resultLearningObjectiveIds.csv")
        for row in data.get(name, ())
        if row["source"] == "case" and not _CASE_ID.match(row["learningObjectiveId"])
    ]


def _number(text):
    return float(text) if re.fullmatch(r"-?[0-9]+(?:\.[0-9]+)?", text) else None
