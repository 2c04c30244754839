"""Spoiling answer sheets in every way, for short runs in CI and long campaigns elsewhere."""

import json

from hypothesis import given, settings
from hypothesis import strategies as st

from grader.errors import BadSheet
from grader.exercise import sheet as sheets
from grader.marking.mark import mark_sheet

_TEXT = st.one_of(
    st.text(max_size=40),
    st.sampled_from(["", "34,5", "-6 BTDC", "1/0", "9" * 400, "1e999", "nan", "\ud800", "a\udfffb", "\0", "\u202e5", "../x", "1\n2", "½", "10³"]),
    st.floats().map(str),
)  # fmt: skip
_JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(allow_nan=True), _TEXT),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(_TEXT, inner, max_size=4)),
    max_leaves=8,
)


@st.composite
def spoilt(draw, good):
    """The bytes of a sheet of which some entries were replaced, taken out or added, or which was cut or flipped.

    Parameters
    ----------
    good : Sheet
        Whole; its form is what is spoilt.
    """
    document = json.loads(sheets.dump(good))
    for _ in range(draw(st.integers(0, 3))):
        place = document
        for _ in range(draw(st.integers(0, 2))):
            inside = [value for value in place.values() if isinstance(value, dict) and value]
            if inside:
                place = draw(st.sampled_from(inside))
        how = draw(st.sampled_from(["replace", "replace", "delete", "add"]))
        if how == "add" or not place:
            place[draw(_TEXT)] = draw(_JSON)
        elif how == "delete":
            del place[draw(st.sampled_from(sorted(place)))]
        else:
            place[draw(st.sampled_from(sorted(place)))] = draw(_JSON)
    content = json.dumps(document).encode()
    if draw(st.integers(0, 3)) == 0:
        content = content[: draw(st.integers(0, len(content)))]
    if content and draw(st.integers(0, 3)) == 0:
        at = draw(st.integers(0, len(content) - 1))
        content = content[:at] + draw(st.binary(max_size=4)) + content[at + 1 :]
    return content


def any_sheet_is_marked_or_refused(module, record, good, examples):
    """Read and mark spoilt sheets; whatever is not refused in one sentence earns between nothing and everything."""
    seen = {"marked": 0, "refused": 0}

    @settings(max_examples=examples)
    @given(spoilt(good))
    def run(content):
        try:
            found = mark_sheet(module, record.exercises, sheets.parse(content))
        except BadSheet as problem:
            seen["refused"] += 1
            assert "\n" not in str(problem) and len(str(problem)) < 400
            str(problem).encode()
            return
        seen["marked"] += 1
        assert 0 <= found.hundredths <= found.most
        for note in found.notes:
            note.encode()

    run()
    return seen
