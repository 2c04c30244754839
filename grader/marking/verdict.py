"""The words of a verdict, in the order in which they are decided, and what a part earned."""

from typing import Any

from msgspec import Struct, field

RIGHT, CARRIED, SLIP, COARSE, UNIT = "right", "carried", "slip", "too coarse", "wrong unit"
SIGN, POWER, PARTLY, WRONG = "wrong sign", "power of ten", "partly right", "wrong"
BLANK, UNREADABLE, KIND = "blank", "unreadable", "wrong kind of unit"
AWAITING, READ = "awaiting", "read"  # a written answer, before and after the instructor has read it

VERDICTS = (RIGHT, CARRIED, SLIP, COARSE, UNIT, SIGN, POWER, PARTLY, WRONG, BLANK, UNREADABLE, KIND, AWAITING, READ)


class PartMark(Struct, frozen=True, gc=False):  # one for every answer of a class, made in a tenth of a dataclass's time
    """Verdict on one part. `hundredths` of `most` hundredths of a mark were earned.

    `hundredths` is None while the instructor has yet to read the answer. `own` is
    what was read, in the part's unit or as its kind gives it; `expected` and
    `width` describe what was right for this answer, carried values included; both
    are pairs for a range.
    """

    path: str
    verdict: str
    hundredths: int | None
    most: int
    raw: str = ""
    unit: str = ""
    read_as: str = ""
    own: Any = None
    expected: Any = None
    width: float | tuple = 0.0
    slip: str = ""
    why: str = ""


class Earlier(Struct):
    """What the marking of a sheet knows from the parts before.

    `own` holds earlier answers of this trainee that are physically possible,
    `settled` the verdicts, both by path; `unit_errors` the (given, meant) units
    that were charged already.
    """

    own: dict = field(default_factory=dict)
    settled: dict = field(default_factory=dict)
    unit_errors: set = field(default_factory=set)


def earned(marks: int, share: float) -> int:
    """Hundredths of a mark for a share of a part's marks, half rounded up, also where the share is not exact in binary."""
    return int(marks * 100 * share + 0.5 + 1e-9)
