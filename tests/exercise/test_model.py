"""A module as it was issued."""


def test_exercises_stand_in_the_order_of_the_lesson_however_they_were_issued(m01):
    """Records may name them in any order; marks and sheets follow the lesson."""
    asked = [exercise for exercise in m01.exercises if exercise.key != "m01.total"]
    issued = {exercise.key: {"version": exercise.version, "parameters": {}} for exercise in reversed(asked)}
    assert [e.key for e in m01.as_issued(issued).exercises] == [e.key for e in asked] != sorted(e.key for e in asked)
