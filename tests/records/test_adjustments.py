"""What an instructor gave a written answer belongs to its words, and to nothing that was marked by itself."""

import pytest

from grader.marking.mark import SheetMark
from grader.marking.verdict import AWAITING, READ, RIGHT, PartMark
from grader.records import adjustments

MODULE = "m01_timing"
OWNER = ("t01", MODULE, 1)
PATH = "m01.letter.text"


class Issue:
    trainee, module, attempt = OWNER


def applied(mark, words="Dear customer"):
    given = adjustments.Reading((100, 50), 150, "good")
    decided = adjustments.Adjustments({}, {}, {}, {OWNER: {(PATH, adjustments.digest(words)): given}})
    return decided.apply(Issue, SheetMark(MODULE, (mark,))).parts[0]


@pytest.mark.parametrize("typed", ["Dear customer", "  Dear customer\n"])
def test_an_answer_that_waits_gets_what_its_words_were_given(typed):
    """Blanks around them are not words."""
    read = applied(PartMark(PATH, AWAITING, None, 200, raw=typed))
    assert (read.verdict, read.hundredths, read.why) == (READ, 150, "good")


@pytest.mark.parametrize(
    "mark",
    [
        PartMark(PATH, AWAITING, None, 200, raw="Dear owner"),  # other words
        PartMark("m01.other.text", AWAITING, None, 200, raw="Dear customer"),
        PartMark(PATH, RIGHT, 200, 200, raw="Dear customer"),  # nothing waits here
    ],
)
def test_nothing_else_does(mark):
    assert applied(mark) == mark
