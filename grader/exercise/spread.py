"""What a parameter is drawn from: a list of values, in an order that is frozen once released."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Steps:
    """Parameter drawn from low, low + step, ... high, all divided by `scale`."""

    low: int
    high: int
    step: int = 1
    scale: int = 1
    values: tuple = field(init=False, repr=False, compare=False)

    def __post_init__(self):
        whole = range(self.low, self.high + 1, self.step)
        values = tuple(whole) if self.scale == 1 else tuple(number / self.scale for number in whole)
        object.__setattr__(self, "values", values)


@dataclass(frozen=True, slots=True)
class Pick:
    """Parameter drawn from named values."""

    values: tuple
