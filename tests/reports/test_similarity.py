"""The copy screen: chance alone names nobody, a copied sheet is named, and the tails are those of scipy."""

import shutil

import pytest
from scipy import stats
from typer.testing import CliRunner

from grader.cli.main import app
from grader.course.grading import adjust, mark_class
from grader.course.submissions import collect
from grader.errors import Refused
from grader.records import database, ledger, schema
from grader.records.term import term as terms
from grader.reports.feedback import class_report, similarity, similarity_chance
from tests.work import NEXT, issue_of, put_in_inbox, right_answers, sheet_of

KEY = "m01_timing"


@pytest.fixture
def class_of_demo(demo, tmp_path):
    shutil.copytree(demo.term.folder, tmp_path / "term")
    return terms.open_term(tmp_path / "term")


def test_an_honest_class_names_nobody(class_of_demo):
    with database.transaction(class_of_demo) as connection:
        before = ledger.count(connection)
    assert similarity.pairs(class_of_demo, KEY) == []
    with database.transaction(class_of_demo) as connection:
        assert ledger.count(connection) == before


def _marked(term):
    with database.transaction(term) as connection:
        return [row.trainee for row in connection.execute(schema.mark.select()) if row.module == KEY]


def test_a_copier_is_found_with_the_direction(class_of_demo, m01):
    """One trainee hands in the right answers of another's numbers. Chance may hide a copy, but never names the wrong one."""
    copier, *others = sorted(set(_marked(class_of_demo)))
    adjust.extend(class_of_demo, copier, KEY, until=f"{NEXT}-01-31 17:00", reason="the sheet was returned already")
    for neighbour in others[:5]:
        theirs = right_answers(m01, issue_of(class_of_demo, neighbour))
        put_in_inbox(class_of_demo, sheet_of(issue_of(class_of_demo, copier), theirs))
        with database.transaction(class_of_demo) as connection:
            table = schema.hand_in  # only the copied work, so that it is the one that counts
            connection.execute(table.delete().where(table.c.trainee == copier, table.c.module == KEY))
        collect.collect(class_of_demo)
        mark_class.mark(class_of_demo, KEY, reason="copied")
        named = similarity.pairs(class_of_demo, KEY)
        assert [(pair.one.id, pair.other.id) for pair in named] in ([], [(copier, neighbour)])
        if named:
            break
    (pair,) = named
    assert pair.chance < similarity_chance.LIMIT and 4 <= pair.fits <= pair.tried
    assert set(pair.exercises) <= {exercise.title for exercise in m01.exercises}
    said = CliRunner().invoke(app, ["copies", KEY, "--term", str(class_of_demo.folder)])
    assert said.exit_code == 0
    assert pair.one.name in said.stdout and "never a finding about anyone" in said.stdout
    (path,) = class_report.write([class_of_demo], KEY)
    last = path.read_text(encoding="utf-8").rpartition("<h2>")[2]
    assert "Answers alike" in last and pair.one.last_name in last and "never a finding about anyone" in last


def test_a_module_not_assigned_is_refused(empty_term):
    with pytest.raises(Refused, match="was not assigned"):
        similarity.pairs(empty_term, KEY)


def test_too_few_to_judge(assigned_term):
    assert similarity.pairs(assigned_term, KEY) == []


def test_tail_is_the_binomial_where_all_chances_are_alike():
    for least in range(6):
        assert similarity_chance.tail([0.1] * 5, least) == pytest.approx(stats.binom.sf(least - 1, 5, 0.1))


def test_tail_is_scipys_poisson_binomial():
    rates = [0.02, 0.1, 0.3, 0.05]
    for least in range(5):
        assert similarity_chance.tail(rates, least) == pytest.approx(stats.poisson_binom.sf(least - 1, rates))


def test_holm_by_hand():
    assert similarity_chance.holm([0.001, 0.004, 0.2], 10) == pytest.approx([0.01, 0.036, 1.0])
    assert similarity_chance.holm([0.01, 0.0101], 2) == pytest.approx(
        [0.02, 0.02]
    )  # never smaller than the step before
