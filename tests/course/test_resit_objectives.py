"""Which objectives a resit covers: those not met, those with too few items in which as much was lost, and those named."""

import pytest
from typer.testing import CliRunner

from grader.cli.main import app
from grader.course.attempts import kept, passing
from grader.course.audit import verify
from grader.course.grading import adjust, resit
from grader.errors import Refused, Unknown
from grader.reports.export import package
from grader.reports.feedback import return_run
from tests.course.resits import KEY, LATER, LETTER, WORDS, hand_in, returned, sit
from tests.work import issue_of, right_answers, wrong_answers


@pytest.fixture
def few(m01, monkeypatch):
    """(paths, code) of the two items that examine an objective, where three of each are asked for."""
    monkeypatch.setattr(passing, "FEWEST_ITEMS", 3)
    by_code = {}
    for exercise, part, path in m01.parts():
        for code in part.objectives:
            by_code.setdefault(code, []).append((exercise.key, part.objectives, path))
    for code, rows in by_code.items():
        keys = {key for key, _, _ in rows}
        if len(rows) == 2 and all(codes == (code,) for _, codes, _ in rows) and resit.to_sit(m01, [code]) == keys:
            return [path for _, _, path in rows], code
    raise AssertionError("no objective of lesson 1 rests on two items alone")


def test_too_few_items_of_an_objective_and_one_lost_is_sat_again(assigned_term, m01, few):
    """Before, nothing was issued: too few items to call it not met, and nobody could sit it again."""
    paths, code = few
    returned(assigned_term, m01, wrong=paths[:1])
    page = kept.returned_path(assigned_term, "t01", KEY, 1).read_text("utf-8")
    done = sit(assigned_term)
    assert done.objectives == {code: "too few items"}
    assert {e.key for e in done.exercises} == {path.rpartition(".")[0] for path in paths}
    titles = "; ".join(exercise.title for exercise in done.exercises)
    assert f"A resit would cover the objectives not met yet ({code}) with fresh numbers: {titles}." in page


def test_a_returned_sheet_names_the_exercises_that_come_along(assigned_term, m01):
    """Exercises linked with those of the objective get fresh numbers too, and the page said so."""
    returned(assigned_term, m01)
    page = kept.returned_path(assigned_term, "t01", KEY, 1).read_text("utf-8")
    done = sit(assigned_term)
    titles = "; ".join(exercise.title for exercise in done.exercises)
    assert f"({', '.join(done.objectives)}) with fresh numbers: {titles}." in page


def test_the_instructor_names_what_is_sat_again(assigned_term, m01, few):
    _, code = few
    returned(assigned_term, m01)  # T1 is not met, and what is too few is right
    for named, said in (((code, "T99"), "no objective 'T99'"), (("H1",), "it has T1, T2")):
        with pytest.raises(Unknown, match=said):
            sit(assigned_term, objectives=named)
    with pytest.raises(Refused, match="has met T2. Name only what is to be sat again"):
        sit(assigned_term, objectives=("T2", code))
    done = sit(assigned_term, objectives=(code.lower(),))
    assert done.objectives == {code: "too few items"} and done.attempt == 2
    assert {e.key for e in done.exercises} == resit.to_sit(m01, [code])


def test_who_has_shown_all_is_told_what_can_be_named(assigned_term, m01, few):
    paths, code = few
    returned(assigned_term, m01, wrong=[], letter="")
    with pytest.raises(Refused) as said:
        sit(assigned_term)
    assert (
        "has shown every objective" in str(said.value)
        and "name it with --objective (" in str(said.value)
        and code in str(said.value)
    )
    shown = CliRunner().invoke(app, ["resit", "T01", KEY, "--reason", "x", "--due", LATER, "--objective", code,
                                     "--term", str(assigned_term.folder)])  # fmt: skip
    assert shown.exit_code == 0 and f"Objectives: {code} (too few items)." in shown.output
    right = right_answers(m01, issue_of(assigned_term, "t01", attempt=2))
    hand_in(assigned_term, {path: right[path] for path in paths}, 2)
    assert verify.verify(assigned_term).findings == []
    assert package.write([assigned_term], "objectives").path.is_file()


def test_a_letter_that_was_marked_by_hand_is_judged_by_that_mark(assigned_term, m01):
    """Nobody reads it any more: with no mark at all its objective is sat again, and does not wait for ever."""
    record, wanted = issue_of(assigned_term, "t01"), set(m01.by_path[LETTER][1].objectives)
    others = [path for _, part, path in m01.parts() if wanted & set(part.objectives) and path != LETTER]
    hand_in(assigned_term, right_answers(m01, record) | wrong_answers(m01, record, others) | {LETTER: WORDS})
    adjust.override(assigned_term, "t01", KEY, "letter", "0", reason="says nothing")
    assert return_run.give_back(assigned_term, KEY).written == 1
    done = sit(assigned_term)
    assert wanted and wanted <= set(done.objectives) and "m01.letter" in {e.key for e in done.exercises}
