"""How a verdict is kept in tm_answer, and read back as it was given: nobody has to mark again to explain it."""

from __future__ import annotations

from typing import Any

import msgspec
from sqlalchemy import Row

from grader.exercise.part import Part
from grader.marking import feedback
from grader.marking.verdict import READ, PartMark
from grader.records import schema

_encoded, _decoded = msgspec.json.Encoder().encode, msgspec.json.Decoder().decode


def values(part: Part, mark: PartMark, chosen: str) -> dict[str, Any]:
    """The columns of a verdict.

    Parameters
    ----------
    part : of any kind
    mark : PartMark
    chosen : str
        The unit chosen beside the answer; empty for the asked one.

    Returns
    -------
    dict
        Without those that say whose answer it is.
    """
    return {
        "part": mark.path,
        "raw": schema.text(mark.raw),
        "unit": schema.text(mark.unit),
        "read_as": mark.read_as,
        "expected": feedback.expected(part, mark),
        "verdict": mark.verdict,
        "slip": mark.slip,
        "hundredths": mark.hundredths,
        "most": mark.most,
    } | explained(mark, chosen)


DECIDING = ("part", "exercise", "raw", "unit", "verdict", "slip", "hundredths", "most")


def deciding(row: Any) -> tuple[Any, ...]:
    """What marks and objectives hang on, of a row of tm_answer or the values for one; words of explanation are left out."""
    return tuple(row[name] if isinstance(row, dict) else getattr(row, name) for name in DECIDING)


def explained(mark: PartMark, chosen: str) -> dict[str, str]:
    """The columns that say why: the comment on a written answer stands in tm_reading alone."""
    return {
        "chosen": schema.text(chosen),
        "why": "" if mark.verdict == READ else schema.text(mark.why),
        "own": _json(mark.own),
        "target": _json(mark.expected),
        "width": _json(mark.width),
    }


def part_mark(row: Row) -> PartMark:
    """The verdict of a row of tm_answer, with what was read and what was right for it.

    Answers of several pieces come back as tuples, whatever they were.
    """
    return PartMark(
        row.part,
        row.verdict,
        row.hundredths,
        row.most,
        row.raw,
        row.unit,
        row.read_as,
        _value(row.own),
        _value(row.target),
        _value(row.width) if row.width else 0.0,
        row.slip,
        row.why,
    )


def plain(value: Any) -> Any:
    """An answer of several pieces as a tuple, to be compared with one that was kept."""
    return tuple(value) if isinstance(value, (list, tuple)) else value


def _json(value: Any) -> str:
    text = _encoded(value).decode()
    return schema.text(text) if "\\u0000" not in text else text.replace("\\u0000", "\ufffd")


def _value(text: str) -> Any:
    return plain(_decoded(text)) if text else None
