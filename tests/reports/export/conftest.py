"""Terms to export from: the demo's records, and two small classes of one programme."""

import shutil
import zipfile

import pytest

from grader import clock
from grader.course.grading import mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.records.gradebook import setup
from grader.records.term import roster
from grader.records.term import term as terms
from grader.reports.export.oneroster import programme, writer
from tests.work import issue_of, put_in_inbox, right_answers, right_sheet, sheet_of

# Family names that careless tables break; ids with noughts in front.
AWKWARD = """id,last_name,first_name,group
0042,Null,Åse,A
0043,"O’Neil, Jr.",李,A
NA,NA,Nguyễn,B
1E,Quay,Bo,B
0046,Marr,Ivo,B
"""


def hand_in(term, sheet, when):
    path = put_in_inbox(term, sheet)
    collect.collect(term, [path.parent], received_at=clock.parse(when, term.settings.zone))


def make_class(folder, term_id, class_list, title="A class"):
    """A term whose first trainee has everything right, the second one part wrong, the third came late, the rest nothing."""
    made = setup.new_term(folder, term_id=term_id, title=title, zone="Europe/Lisbon")
    listed = folder.parent / f"{term_id}.csv"
    listed.write_text(class_list, encoding="utf-8")
    roster.import_list(made, listed)
    done = assign.assign(made, "m01_timing", due="2026-03-31 17:00")
    first, second, third = done.issued_to[0].id, done.issued_to[1].id, done.issued_to[2].id
    hand_in(made, right_sheet(issue_of(made, first)), "2026-03-31 17:00")
    record = issue_of(made, second)
    answers = right_answers(_module(), record)
    answers["m01.mark_arc.arc"] = "=1+1\x0b +351 Marr"
    hand_in(made, sheet_of(record, answers), "2026-03-30 01:00")
    hand_in(made, right_sheet(issue_of(made, third)), "2026-04-02 10:00")
    mark_class.mark(made, "m01_timing")
    return made


def _module():
    from grader import catalogue

    return catalogue.module("m01_timing")


@pytest.fixture(scope="session")
def _classes(made_once):
    def make(place):
        make_class(place / "spring-a", "spring-a", AWKWARD, title="Spring: class A / evening [long title]")
        make_class(
            place / "spring-b",
            "spring-b",
            "id,last_name,first_name\n" + "".join(f"B{n},Ford{n},Ann{n}\n" for n in range(6)),
        )
        return place

    return made_once("programme", make)


@pytest.fixture
def classes(_classes, tmp_path):
    """Terms spring-a (five awkward names) and spring-b (six), three hand-ins each."""
    shutil.copytree(_classes, tmp_path / "programme")
    return [terms.open_term(tmp_path / "programme" / name) for name in ("spring-a", "spring-b")]


def members(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name).decode() for name in archive.namelist()}


@pytest.fixture(scope="session")
def good(_classes, tmp_path_factory):
    """The files of a good bulk package, to be spoiled."""
    place = tmp_path_factory.mktemp("good")
    shutil.copytree(_classes, place / "programme")
    folders = [place / "programme" / name for name in ("spring-a", "spring-b")]
    made = programme.create(place / "programme.toml", folders, centre="Quayside workshop")
    return members(writer.write([], programme=made, bulk=True))
