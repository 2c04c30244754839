"""Practice numbers: fresh ones are another draw, and answers to the draw before are told apart by its number."""

from grader.exercise import practice

ANA = practice.Marker("Ana", "7" * 32)


def test_each_fresh_draw_has_the_next_number(m01):
    """Also where the exercise was drawn anew before, or another one was: no number comes twice."""
    second = practice.with_fresh_numbers(m01, ANA, "m01.mark_arc")
    third = practice.with_fresh_numbers(m01, second, "m01.band")
    fourth = practice.with_fresh_numbers(m01, third, "m01.mark_arc")
    assert [marker.counter for marker in (ANA, second, third, fourth)] == [1, 2, 3, 4]
    assert (fourth.draw_of("m01.mark_arc"), fourth.draw_of("m01.band"), fourth.draw_of("m01.letter")) == (4, 3, 1)


def test_the_issue_bears_the_number_of_the_last_draw(m01):
    """So that a sheet filled in before it is not taken for one of these numbers."""
    fresh = practice.with_fresh_numbers(m01, ANA, "m01.mark_arc")
    before, after = practice.issue(m01, ANA), practice.issue(m01, fresh)
    assert (before.attempt, after.attempt) == (1, 2)
    changed = {key for key in before.numbers if before.numbers[key] != after.numbers[key]}
    assert changed and changed <= set(practice.group_of(m01, "m01.mark_arc"))
