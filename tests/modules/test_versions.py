"""Old work is marked by the version with which it was issued, and old versions never change."""

import pytest

from grader import catalogue
from grader.errors import BadSheet
from grader.exercise import model
from grader.exercise.model import Module
from grader.exercise.sheet import Answer, Sheet
from grader.marking.mark import mark_sheet
from tests.modules import proofs
from tests.modules.two_versions import BEFORE, FIRST, GONE, NOW, SECOND


def marks(module, version, typed, parameters):
    issued = {"m95.rim": {"version": version, "parameters": parameters}}
    sheet = Sheet("t", "m95_test", "t01", 1, {"m95.rim.rim": Answer(typed, "", version)})
    return mark_sheet(module, issued, sheet)


def test_the_issued_version_marks():
    given = {"size_mm": 150}  # radius route 235.6, diameter route 471.2
    for module, version, right, wrong in ((BEFORE, 1, "235.6", "471.2"), (NOW, 1, "235.6", "471.2"),
                                          (NOW, 2, "471.2", "235.6")):  # fmt: skip
        assert marks(module, version, right, given).hundredths == 200
        assert marks(module, version, wrong, given).hundredths == 0


def test_old_and_new_side_by_side_give_old_work_the_same_marks():
    for numbers in proofs.draws(BEFORE, 40):
        issued = proofs.exercises(BEFORE, numbers)
        entries = {"m95.rim.rim": Answer("300"), "m95.gone.x": Answer("5")}
        sheet = Sheet("t", "m95_test", "t01", 1, entries)
        assert mark_sheet(NOW, issued, sheet) == mark_sheet(BEFORE, issued, sheet)


def test_a_dropped_exercise_still_counts_where_it_was_issued():
    numbers = proofs.draws(BEFORE, 1)[0]
    as_issued = NOW.as_issued(proofs.exercises(BEFORE, numbers))
    assert {(e.key, e.version) for e in as_issued.exercises} == {("m95.rim", 1), ("m95.gone", 1)}
    assert as_issued.marks == 4 and NOW.marks == 2


def test_the_current_module_itself_where_nothing_changed():
    numbers = proofs.draws(NOW, 1)[0]
    assert NOW.as_issued(proofs.exercises(NOW, numbers)) is NOW


def test_a_version_that_is_not_kept_is_refused():
    with pytest.raises(BadSheet, match="version 7; this version of Timing Mark marks version 2, 1"):
        marks(NOW, 7, "1", {"size_mm": 150})


def test_records_name_exercises_in_the_order_in_which_they_did_first():
    """A list that follows its lesson anew must not make marks of before look changed."""
    before = Module("m95_test", "Rims", 1, (FIRST, GONE))
    turned = Module("m95_test", "Rims", 1, (GONE, FIRST), recorded=(FIRST.key,))
    assert model.key_version(turned) == model.key_version(before) == "rim@1 gone@1"
    one = turned.as_issued({"m95.gone": {"version": 1}, "m95.rim": {"version": 1}})
    assert model.key_version(one) == "rim@1 gone@1" and one.exercises == (GONE, FIRST)
    assert model.key_version(Module("m95_test", "Rims", 1, (GONE, FIRST))) == "gone@1 rim@1"
    m04 = model.key_version(catalogue.module("m04_plug_testing"))
    assert m04.startswith("regap@3 absolute@1 chart@2 first_test@2 service@2 changes@2 "), "as terms have recorded it"


def test_two_objects_of_one_version_are_refused():
    with pytest.raises(ValueError, match="has the version of another"):
        Module("m95_test", "", 1, (FIRST,), old=(FIRST,))


def test_both_versions_are_held_by_golden_files(tmp_path):
    """Each version has its own file; a change to the old one is seen, whatever the new one does."""
    for exercise in (SECOND, FIRST, GONE):
        module = Module("m95_test", "", 1, (exercise,))
        assert proofs._as_recorded(module, exercise, tmp_path) == [f"{exercise.key}@{exercise.version}.json"]
        assert proofs._as_recorded(module, exercise, tmp_path) == []
    from dataclasses import replace

    bent = replace(FIRST, parts=(replace(FIRST.parts[0], answer=lambda v: 1.0),))
    with pytest.raises(AssertionError, match="new version"):
        proofs._as_recorded(Module("m95_test", "", 1, (bent,)), bent, tmp_path)
