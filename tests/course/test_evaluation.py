"""Which of several hand-ins counts, and what a sheet is worth so far."""

from collections import namedtuple
from types import SimpleNamespace

import pytest

from grader.course.attempts import evaluation
from grader.records import adjustments

TERM = SimpleNamespace(settings=SimpleNamespace(zone="UTC", late_grace_minutes=0))
HandIn = namedtuple("HandIn", "id received_at usable arrival saved_at")
Part = namedtuple("Part", "path hundredths most")


def counts(*hand_ins, due="2026-03-10T17:00:00.000Z"):
    """Number of the hand-in that counts, of (number, hour on the 10th, whether it can be read, when it says it was saved)."""
    rows = []
    for number, hour, usable, *saved in hand_ins:
        arrived = f"2026-03-10T{hour}:00.000Z"
        rows.append(HandIn(number, arrived, usable, arrived, saved[0] if saved else ""))
    issue = SimpleNamespace(trainee="t01", module="m01_timing", attempt=1, due=due)
    found = evaluation.counting(TERM, issue, rows, adjustments.NONE)
    return found and found.id


@pytest.mark.parametrize(
    ("hand_ins", "number"),
    [
        ([], None),
        ([(1, "16:00", False)], None),
        ([(1, "15:00", True), (2, "16:00", True)], 2),  # the last on time
        ([(1, "16:00", True), (2, "15:00", True)], 1),  # by when it arrived, not by when it was collected
        ([(1, "16:00", True), (2, "16:00", True)], 2),  # at one moment: the one collected later
        ([(1, "16:00", True), (2, "18:00", True)], 1),  # what comes late does not take the place of what was on time
        ([(1, "16:00", False), (2, "18:00", True)], 2),
        ([(1, "18:00", True), (2, "19:00", True)], 1),  # nothing on time: the first late one, which costs least
        ([(1, "19:00", True), (2, "18:00", True)], 2),
        ([(1, "18:00", True, "b"), (2, "18:00", True, "a"), (3, "19:00", True, "c")], 1),  # together: saved last
        ([(1, "16:00", True, "b"), (2, "16:00", True, "a")], 1),
        ([(1, "17:00", True), (2, "17:01", True)], 1),  # with the due time is on time
    ],
)
def test_the_last_on_time_counts_else_the_first_late_one(hand_ins, number):
    assert counts(*hand_ins) == number


def test_without_a_due_time_the_last_counts():
    assert counts((1, "15:00", True), (2, "23:00", True), due="") == 2


def test_a_mark_by_hand_takes_the_place_of_its_exercise_and_ends_the_waiting():
    """What an instructor has still to read is nothing so far; a mark by hand for that exercise is its mark."""
    found = SimpleNamespace(parts=[Part("m.a.x", 100, 100), Part("m.a.y", 50, 100), Part("m.b.text", None, 200)])
    assert (evaluation.raw(found, {}), evaluation.waiting(found, {})) == (150, 200)
    assert (evaluation.raw(found, {"m.b": 125}), evaluation.waiting(found, {"m.b": 125})) == (275, 0)
    assert (evaluation.raw(found, {"m.a": 0}), evaluation.waiting(found, {"m.a": 0})) == (0, 200)
