"""Chance on the bench, drawn from a session's own words so that its log can be replayed."""

from statistics import NormalDist

from grader.exercise import words

_ALL_WORDS = 1 << 64
_NORMAL = NormalDist()


class Draws:
    """Numbers one after the other under the names of what is drawn.

    Parameters
    ----------
    key : bytes
        Of the session.
    names : str or int
        What is drawn, and which time: such as an instrument and how often it was read.
    """

    def __init__(self, key: bytes, *names: str | int) -> None:
        self._words = words.stream(key, words.named(*map(str, names)))

    def word(self) -> int:
        """The next 64-bit word."""
        return next(self._words)

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        """A number between two others, each equally likely."""
        return low + (high - low) * (self.word() + 0.5) / _ALL_WORDS

    def normal(self, sd: float = 1.0) -> float:
        """A number scattered about zero with a standard deviation."""
        return sd * _NORMAL.inv_cdf(self.uniform())

    def chance(self, share: float) -> bool:
        """True in a share of all draws."""
        return self.uniform() < share


class Steady:
    """No scatter and no mishap: every number is the middle one. For tables of what is true."""

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        """The middle."""
        return (low + high) / 2

    def normal(self, sd: float = 1.0) -> float:
        """Nothing off."""
        return 0.0

    def chance(self, share: float) -> bool:
        """Only what is more likely than not."""
        return share > 0.5


STEADY = Steady()
