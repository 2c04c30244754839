"""The issue of numbers: bound to the term key, refused when damaged."""

from dataclasses import replace

import pytest

from grader.errors import BadFile
from grader.exercise import issued, variant

KEY = bytes(range(32))


@pytest.fixture
def record(m01):
    numbers = variant.draw(m01, key=KEY, term="spring", trainee="t01", attempt=1)
    return issued.make(
        m01, key=KEY, term="spring", trainee="t01", attempt=1, mode="assessed", due="2026-03-31T16:00:00.000Z",
        zone="Europe/Lisbon", numbers=numbers,
    )  # fmt: skip


def test_written_and_read_back(record):
    assert issued.parse(issued.dump(record)) == record


def test_the_token_sees_every_change(record):
    assert issued.seal(record, KEY) == record.token
    easier = {**record.exercises, "m01.mark_arc": {"version": 1, "parameters": {"angle_deg": 4, "diameter_mm": 118}}}
    for change in ({"trainee": "t02"}, {"due": ""}, {"mode": "practice"}, {"exercises": easier}, {"attempt": 2}):
        assert issued.seal(replace(record, **change), KEY) != record.token
    assert issued.seal(record, bytes(32)) != record.token


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b'"timing-mark issued"', b'"other"', "not “timing-mark issued”"),
        (b'"schema": 1', b'"schema": 9', "Update Timing Mark"),
        (b'"mode": "assessed"', b'"mode": "easy"', "practice or assessed"),
        (b'"version": 1', b'"version": "1"', "damaged at"),
        (b'"attempt": 1', b'"attempt": "1"', "no good “attempt”"),
    ],
)
def test_a_damaged_issue_is_refused(record, old, new, said):
    content = issued.dump(record).replace(old, new)
    assert content != issued.dump(record)
    with pytest.raises(BadFile, match=said):
        issued.parse(content)
