"""Records on a real PostgreSQL server: the same road, the same marks, nothing left behind by a killed run."""

import csv
import io
import multiprocessing
import random
import shutil
from itertools import count

import pytest
from sqlalchemy import select

from grader import clock
from grader.course.audit import deletion, verify
from grader.course.grading import adjust, mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.errors import CannotWrite, Refused
from grader.records import database, head, schema, session
from grader.records.gradebook import setup
from grader.records.term import policy_in_force, roster
from grader.records.term import term as terms
from tests import postgres, programs
from tests.course.test_killed import in_a_child
from tests.seed.draws import SEED
from tests.work import export_grades, issue_of, put_in_inbox, right_answers, right_sheet, sheet_of

pytestmark = [pytest.mark.server, pytest.mark.campaign]
MODULE = "m01_timing"
WHEN = clock.parse("2026-03-30 12:00", "UTC")
CLASS = 'id,last_name,first_name,group\nP1,Arundell,Åse,A\nP2,"O’Neil, Jr.",李,A\nP3,Null,Dov,B\n'
_numbers = count()


@pytest.fixture(scope="module")
def address():
    programs.need(postgres.programs(), "a PostgreSQL server")
    with postgres.server() as made:
        yield made


@pytest.fixture
def empty(address):
    """The address of a database with nothing in it."""
    return address(f"term{next(_numbers)}")


def a_class(folder, url="", key=None, m01=None):
    """Three trainees; one has all right, one has a blank, a zero character and an arc from nowhere, one nothing."""
    made = setup.new_term(folder, term_id="pg", title="A class", zone="UTC", database=url)
    if key:
        shutil.copy(key, made.folder / "term.key")
        made = terms.open_term(made.folder)
    listed = made.folder / "rosters" / "list.csv"
    listed.write_text(CLASS, encoding="utf-8")
    roster.import_list(made, listed)
    assign.assign(made, MODULE, due="2026-03-31 17:00")
    put_in_inbox(made, right_sheet(issue_of(made, "p1")))
    answers = right_answers(m01, issue_of(made, "p2"))
    first, *_, last = answers
    answers[first], answers[last] = "3\x005 mm", ""
    put_in_inbox(made, sheet_of(issue_of(made, "p2"), answers))
    return made


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_the_same_road_gives_the_same_grades(empty, tmp_path, m01):
    here = a_class(tmp_path / "file", m01=m01)
    there = a_class(tmp_path / "server", empty, key=here.folder / "term.key", m01=m01)
    assert not (there.folder / "gradebook.db").exists()
    tables = []
    for term in (here, there):
        head.path_of(term).unlink(missing_ok=True)  # two terms of one key: each as on a machine of its own
        assert collect.collect(term, received_at=WHEN).taken == 2
        assert mark_class.mark(term, MODULE).marked == 2
        adjust.extend(term, "P3", MODULE, until="2026-04-30 17:00", reason="ill")
        adjust.override(term, "P2", MODULE, m01.exercises[0].name, "1", reason="misprint")
        proof = verify.verify(term)
        assert (proof.marks, proof.findings) == (2, [])
        tables.append(rows_of(export_grades(term).read_text("utf-8-sig")))
    ours, theirs = tables
    assert len(ours) == 3 and set(ours[0]) == set(theirs[0])
    differ = {name for one, other in zip(ours, theirs, strict=True) for name in one if one[name] != other[name]}
    assert not {name for name in differ if "mark" in name and not name.endswith("_at")}, differ
    assert differ <= {"marked_at"}, differ


def test_a_person_is_deleted_and_the_ledger_still_proves(empty, tmp_path, m01):
    term = a_class(tmp_path / "server", empty, m01=m01)
    collect.collect(term, received_at=WHEN)
    mark_class.mark(term, MODULE)
    deletion.delete_person(term, "P2", reason="asked for it")
    with database.transaction(term) as connection:
        for table in (schema.trainee, schema.issue, schema.hand_in, schema.mark, schema.answer):
            owner = table.c.id if table is schema.trainee else table.c.trainee
            assert "p2" not in connection.execute(select(owner)).scalars().all(), table.name
    assert verify.verify(term).findings == []


def test_killed_while_marking_it_goes_on(empty, tmp_path, m01):
    term = a_class(tmp_path / "server", empty, m01=m01)
    collect.collect(term, received_at=WHEN)
    calls = in_a_child(lambda: mark_class.mark(term, MODULE, preview=True), 0)
    moments = random.Random(SEED).sample(range(calls // 3, calls), 3)
    print("seed", SEED, "moments", moments)
    for moment in moments:
        in_a_child(lambda: mark_class.mark(term, MODULE), moment)
        run = mark_class.mark(term, MODULE)
        assert (run.marked + run.unchanged, run.findings) == (2, [])
        assert verify.verify(term).findings == []
        with database.transaction(term) as connection:
            for table in (schema.mark, schema.answer):  # back to the start for the next moment
                connection.execute(table.delete())
            connection.execute(schema.ledger.delete().where(schema.ledger.c.event == "marked"))
        head.path_of(term).unlink()  # the ledger was cut short on purpose


def _mark(folder):
    mark_class.mark(terms.open_term(folder), MODULE)


def test_two_instructors_mark_at_once(empty, tmp_path, m01):
    term = a_class(tmp_path / "server", empty, m01=m01)
    collect.collect(term, received_at=WHEN)
    together = multiprocessing.get_context("spawn")
    runs = [together.Process(target=_mark, args=(term.folder,)) for _ in range(2)]
    for run in runs:
        run.start()
    for run in runs:
        run.join(120)
    assert [run.exitcode for run in runs] == [0, 0]
    proof = verify.verify(term)
    assert (proof.marks, proof.findings) == (2, [])


def test_a_database_in_use_is_refused_before_anything_is_made(empty, tmp_path):
    setup.new_term(tmp_path / "one", term_id="one", title="One", zone="UTC", database=empty)
    with pytest.raises(Refused, match="already holds [0-9]+ tables"):
        setup.new_term(tmp_path / "two", term_id="two", title="Two", zone="UTC", database=empty)
    assert not (tmp_path / "two").exists()


def test_a_term_that_cannot_be_made_leaves_the_database_empty(empty, tmp_path, monkeypatch):
    """All tables stand when it fails; afterwards none does, and the same command makes the term."""
    with monkeypatch.context() as broken:
        broken.setattr(policy_in_force, "settings_entry", lambda *_: 1 // 0)
        with pytest.raises(ZeroDivisionError):
            setup.new_term(tmp_path / "one", term_id="one", title="One", zone="UTC", database=empty)
    assert not list(tmp_path.iterdir())
    assert setup.new_term(tmp_path / "one", term_id="one", title="One", zone="UTC", database=empty).id == "one"


def test_a_server_that_does_not_answer_is_said_in_one_sentence(empty, tmp_path):
    nobody = empty.replace("host=/tmp/", "host=/tmp/nobody-")
    with pytest.raises(CannotWrite, match="does not answer") as said:
        setup.new_term(tmp_path / "one", term_id="one", title="One", zone="UTC", database=nobody)
    assert "\n" not in str(said.value) and not (tmp_path / "one").exists()
    made = setup.new_term(tmp_path / "two", term_id="two", title="Two", zone="UTC", database=empty)
    settings = made.folder / "term.toml"
    settings.write_text(settings.read_text(encoding="utf-8").replace(empty, nobody), encoding="utf-8")
    with pytest.raises(CannotWrite, match="does not answer"):
        verify.verify(terms.open_term(made.folder))


def test_only_a_postgresql_address_is_taken(tmp_path):
    for address in ("sqlite:///other.db", "postgresql", "postgresql+unknown://x/y"):
        with pytest.raises(Refused, match="database"):
            setup.new_term(tmp_path / "one", term_id="one", title="One", zone="UTC", database=address)
    assert not (tmp_path / "one").exists()


def test_two_copies_of_a_folder_do_not_work_on_one_database(empty, tmp_path, m01):
    """A copy for safety's sake can be looked at; work goes on in one of the two, until somebody says in which."""
    made = a_class(tmp_path / "one", empty, m01=m01)
    shutil.copytree(made.folder, tmp_path / "copy")
    copy = terms.open_term(tmp_path / "copy")
    with pytest.raises(Refused, match="another copy of this folder.*term upgrade --here"):
        collect.collect(copy, received_at=WHEN)
    assert verify.verify(copy).findings == []
    assert collect.collect(made, received_at=WHEN).taken == 2
    session.work_from_here(copy)
    assert mark_class.mark(copy, MODULE, preview=True).findings
    with pytest.raises(Refused, match="another copy"):
        mark_class.mark(made, MODULE)
