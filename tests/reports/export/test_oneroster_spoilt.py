"""More spoiled packages: kinds found by chance first, and a seeded campaign of faults at random places."""

import random

import pytest

from grader import tables
from grader.reports.export.oneroster.check import checker
from tests.reports.export.test_oneroster import SPOILED, cell, copied_row, pack, put, replaced, row_of, table
from tests.seed.draws import SEED

TRIES = 250
DATA = ("academicSessions.csv", "categories.csv", "classes.csv", "courses.csv", "enrollments.csv", "lineItems.csv",
        "lineItemLearningObjectiveIds.csv", "orgs.csv", "resultLearningObjectiveIds.csv", "results.csv", "roles.csv", "users.csv")  # fmt: skip
WRONG = {
    "Date": ("2026-13-01", "20260101", "2026-1-1", "2026-02-30", "01.02.2026", "2026-01-01T00:00:00", "٢٠٢٦-٠١-٠١"),
    "Year": ("26", "２０２６", "2026.0", "MMXXVI"),
    "Boolean": ("True", "1", "yes", "FALSE", "0"),
    "Float": ("1e1", "+5", "5.", ".5", "1,0", "٥", "0x1", "nan", "inf", "1 0"),
    "Integer": ("1.0", "５", "1e1"),
}


def again(name):
    """The first row once more, under an id of its own."""
    return lambda files: cell(copied_row(name)(files), name, -1, "sourcedId", "other")


def own_parent(name):
    return lambda files: cell(files, name, 1, "parentSourcedId", table(files[name])[0]["sourcedId"])


def other_year(files):
    row = row_of(files, "academicSessions.csv", type="schoolYear")
    return cell(files, "academicSessions.csv", row, "schoolYear", "2031")


def second_school(files):
    """A school of its own, named by one enrolment."""
    more = again("orgs.csv")(files)
    return cell(more, "enrollments.csv", 1, "schoolSourcedId", "other")


KINDS = {
    "school year called otherwise": (other_year, "is called 2031"),
    "session in itself": (own_parent("academicSessions.csv"), "is its own parent"),
    "organisation in itself": (own_parent("orgs.csv"), "is its own parent"),
    "another school than the class": (second_school, "another school"),
    "objective of a result twice": (again("resultLearningObjectiveIds.csv"), "says again"),
    "objective of a line item twice": (again("lineItemLearningObjectiveIds.csv"), "says again"),
    "enrolment twice": (again("enrollments.csv"), "says again"),
    "quote inside a field": (replaced("orgs.csv", "Quayside", 'Quay"side'), "a quote stands inside"),
    "lines end with LF": (lambda files: {**files, "orgs.csv": files["orgs.csv"].replace("\r\n", "\n")}, "CR LF"),
    "lines end with CR": (lambda files: {**files, "orgs.csv": files["orgs.csv"].replace("\r\n", "\r")}, "CR LF"),
    "control character": (put("orgs.csv", 1, "name", "Quay\x07side"), "control character"),
    "line separator": (put("orgs.csv", 1, "name", "Quay\u2028side"), "line break"),
    "figures of another script": (put("categories.csv", 1, "weight", "６０"), "is no Integer"),
    "own column without a name": (replaced("categories.csv", "weight\r\n", "weight,metadata.\r\n"), "does not begin"),
    "own column twice": (replaced("categories.csv", "weight\r\n", "weight,metadata.a,metadata.a\r\n"), "twice"),
}  # fmt: skip


@pytest.mark.parametrize("name", KINDS)
def test_kinds_found_by_chance(good, tmp_path, name):
    spoil, said = KINDS[name]
    found = checker.check(pack(tmp_path / "spoiled.zip", spoil(good)))
    assert any(said in sentence for sentence in found), found


def test_there_are_enough_kinds():
    """At least 24 are asked for."""
    assert len(SPOILED) + len(KINDS) >= 60 and not set(SPOILED) & set(KINDS)


class Spoiler:
    """Faults at random places of a good package; each is one whatever the place."""

    def __init__(self, files, chance):
        self.files, self.chance = files, chance
        self.facts = {}
        for fact in tables.rows("oneroster_columns.csv", checker.COLUMNS):
            self.facts.setdefault(fact["file"], {})[fact["column"]] = fact
        self.rows = {name: table(files[name]) for name in DATA}

    def place(self, wanted):
        """(file, row, column) of a cell that is wanted, of (fact, text)."""
        names = [name for name in DATA for _ in self.facts[name]]
        while True:
            name = self.chance.choice(names)
            row = self.chance.randrange(len(self.rows[name]))
            column = self.chance.choice(list(self.facts[name]))
            if wanted(self.facts[name][column], self.rows[name][row][column]):
                return name, row + 1, column

    def changed(self, wanted, value):
        name, row, column = self.place(wanted)
        given = value(self.facts[name][column]) if callable(value) else value
        return f"{name} line {row + 1} {column}: {given!r}", cell(self.files, name, row, column, given)

    def wrong_format(self):
        return self.changed(lambda f, _: f["format"] in WRONG, lambda f: self.chance.choice(WRONG[f["format"]]))

    def emptied(self):
        return self.changed(lambda f, _: f["needed"] == "always", "")

    def strange_word(self):
        return self.changed(
            lambda f, _: f["vocabulary"] and f["needed"] != "delta", self.chance.choice(("x", "ext", "ext:", "Term "))
        )

    def status_in_bulk(self):
        return self.changed(
            lambda f, _: f["needed"] == "delta", self.chance.choice(("active", "2026-01-01T00:00:00.000Z"))
        )

    def reference_elsewhere(self):
        def value(fact):
            name = self.chance.choice([name for name in DATA if name != fact["refers_to"]])
            return self.chance.choice(self.rows[name])["sourcedId"]

        return self.changed(lambda f, text: f["refers_to"] and text, value)

    def id_that_is_none(self):
        sign = self.chance.choice("+ ü:#&٣１\u200b")
        return self.changed(lambda f, _: f["column"] == "sourcedId", f"a{sign}b")

    def text_with_a_break(self):
        sign = self.chance.choice("\x07\n\r\x85\u2028\t\x7f\x0b")
        return self.changed(lambda f, text: f["format"] == "String" and text, f"a{sign}b")

    def needed_row_gone(self):
        name = self.chance.choice(("orgs.csv", "classes.csv", "courses.csv", "users.csv", "lineItems.csv", "roles.csv"))
        lines = self.files[name].split("\r\n")
        gone = self.chance.randrange(1, len(lines) - 1)
        return f"{name} without line {gone + 1}", {**self.files, name: "\r\n".join(lines[:gone] + lines[gone + 1 :])}

    def row_twice(self):
        name = self.chance.choice(DATA)
        return f"{name}: a row twice", copied_row(name)(self.files)

    def cut(self):
        """As a copy ends that was broken off in its last line; texts cut short at the very end would be texts."""
        name = self.chance.choice(DATA)
        whole, _, last = self.files[name].rstrip().rpartition("\r\n")
        return f"{name} cut", {**self.files, name: f"{whole}\r\n{last[: self.chance.randrange(1, 30)]}"}

    def heading(self):
        name = self.chance.choice(DATA)
        head, _, rest = self.files[name].partition("\r\n")
        names = head.split(",")
        place = self.chance.randrange(len(names))
        names[place] = self.chance.choice((names[place].upper(), names[place] + " ", "", f"x{names[place]}"))
        return f"{name}: heading {names[place]!r}", {**self.files, name: f"{','.join(names)}\r\n{rest}"}

    def manifest(self):
        lines = self.files["manifest.csv"].split("\r\n")
        place = self.chance.randrange(1, len(lines) - 3)
        what = self.chance.choice(("gone", "twice", "word", "order"))
        if what == "gone":
            del lines[place]
        elif what == "twice":
            lines.insert(place, lines[place])
        elif what == "word":
            lines[place] = lines[place].partition(",")[0] + ",Bulk"
        else:
            lines[place], lines[place + 1] = lines[place + 1], lines[place]
        return f"manifest line {place + 1}: {what}", {**self.files, "manifest.csv": "\r\n".join(lines)}


def test_faults_at_random_places(good, tmp_path):
    print(f"seed {SEED}")
    spoiler = Spoiler(good, random.Random(SEED))
    ways = [getattr(Spoiler, name) for name in vars(Spoiler) if name not in ("place", "changed") and name[0] != "_"]
    passed, tried = [], 0
    for number in range(TRIES):
        what, files = ways[number % len(ways)](spoiler)
        if files == good:
            continue
        tried += 1
        if not checker.check(pack(tmp_path / "spoiled.zip", files)):
            passed.append(what)
    assert passed == [] and tried > 0.9 * TRIES
