"""Expected answers of one trainee's numbers, and how far an honest answer may lie from them."""

from collections.abc import Iterator, KeysView, Mapping, Sequence
from functools import partial
from types import MappingProxyType, SimpleNamespace
from typing import Any

from grader.errors import OutOfRange
from grader.exercise.model import Exercise, Module, Numbers
from grader.exercise.part import Slip


class Truth:
    """Expected answers for one module's issued parameters.

    Answers, tolerances and the ways of slips are computed when asked for and kept, so
    that a truth that is kept marks the same trainee again at little cost. `numbers`
    maps exercise keys to their parameters as issued. `landmarks` holds what is known
    already of parts that are answered with numbers: (answer, tolerance, routes or None).
    """

    def __init__(self, module: Module, numbers: Numbers) -> None:
        self.module = module
        self.landmarks = {}
        self._parts = module.by_path
        self._numbers = numbers
        self._given = {}
        self._answers = {}

    @property
    def paths(self) -> KeysView[str]:
        """Every "exercise.part"."""
        return self._parts.keys()

    def given(self, exercise_key: str) -> SimpleNamespace:
        """The parameters of an exercise as attributes."""
        given = self._given.get(exercise_key)
        if given is None:
            given = self._given[exercise_key] = SimpleNamespace(**self._numbers[exercise_key])
        return given

    def given_at(self, path: str) -> SimpleNamespace:
        """The parameters of the exercise to which a part belongs."""
        return self.given(self._parts[path][0].key)

    def answer(self, path: str) -> Any:
        """Expected answer of a part, as its kind gives it: a number, a key, a list of keys, ..."""
        known = self._answers
        if path in known:
            return known[path]
        if path in self.landmarks:
            return self.landmarks[path][0]
        part, given, earlier = self._inputs(path)
        known[path] = part.answer(given, *earlier)
        return known[path]

    def following(self, path: str, own: Mapping[str, Any]) -> Any:
        """The same with a trainee's own earlier answers in place of the expected ones."""
        part, given, earlier = self._inputs(path, own)
        return part.answer(given, *earlier)

    def slip(self, path: str, slip: Slip) -> Any:
        """Where a slip leads, or None."""
        part, given, earlier = self._inputs(path)
        return slip.value(given, *earlier)

    def target(self, path: str) -> tuple[Any, Any]:
        """(answer, tolerance) of a part that is answered with numbers."""
        return (self.landmarks.get(path) or self.aim(path))[:2]

    def routes(self, path: str) -> list[tuple[Slip, Any, Any]]:
        """(slip, where it leads, tolerance there) for each slip of such a part that exists for these numbers."""
        known = self.landmarks.get(path)
        return known[2] if known is not None and known[2] is not None else self.survey(path)[2]

    def slips_from(self, path: str, own: Mapping[str, Any]) -> Iterator[tuple[Slip, Any]]:
        """(slip, where it leads) from a trainee's own earlier answers; where physics refuses a route it is left out."""
        part, given, earlier = self._inputs(path, own)
        for slip in part.slips:
            try:
                led = slip.value(given, *earlier)
            except OutOfRange:
                continue
            if led is not None:
                yield slip, led

    def routes_from(self, path: str, own: Mapping[str, Any]) -> list[tuple[Slip, Any, Any]]:
        """As `routes`, from a trainee's own earlier answers."""
        part, given, earlier = self._inputs(path, own)
        return [
            (slip, led, self._around(part, slip.value, given, earlier, led)) for slip, led in self.slips_from(path, own)
        ]

    def aim(self, path: str) -> tuple[Any, Any, None]:
        """(answer, tolerance, None), computed and kept: enough for an answer that is right."""
        part, given, earlier = self._inputs(path)
        right = part.answer(given, *earlier)
        known = self.landmarks[path] = right, self._around(part, part.answer, given, earlier, right), None
        return known

    def survey(self, path: str) -> tuple[Any, Any, list[tuple[Slip, Any, Any]]]:
        """(answer, tolerance, routes), computed and kept."""
        part, given, earlier = self._inputs(path)
        right, width, _ = self.landmarks.get(path) or self.aim(path)
        routes = []
        for slip in part.slips:
            led = slip.value(given, *earlier)
            if led is not None:
                routes.append((slip, led, self._around(part, slip.value, given, earlier, led)))
        known = self.landmarks[path] = right, width, routes
        return known

    def reasons(self, path: str) -> Mapping[Any, str]:
        """Why each item of a part is as it is expected, by item, as the exercise gives it."""
        part, given, earlier = self._inputs(path)
        return part.because(given, *earlier)

    def _inputs(
        self, path: str, own: Mapping[str, Any] = MappingProxyType({})
    ) -> tuple[Any, SimpleNamespace, Sequence[Any]]:
        """(part, its parameters, the earlier answers that it uses, a trainee's own where he gave one)."""
        exercise, part = self._parts[path]
        earlier = [own[used] if used in own else self.answer(used) for used in part.uses] if part.uses else ()
        return part, self.given(exercise.key), earlier

    def forget(self, exercise: Exercise) -> None:
        """Leave out what was computed for an exercise, whose numbers are drawn anew."""
        self._given.pop(exercise.key, None)
        for _, path in exercise.paths:
            self._answers.pop(path, None)
            self.landmarks.pop(path, None)

    def tolerance(self, path: str, own: Mapping[str, Any] | None = None) -> Any:
        """Greatest distance from the expected answer that is still right, in the part's unit.

        Half the reading step, plus for each instrument reading and each carried
        answer half the change of the result over one half-division either way;
        at least the exercise's own minimum. The plain sum is the worst case, so
        that no honest reading is marked wrong. The same holds around where a slip leads.

        Parameters
        ----------
        path : str
        own : dict or None
            Own earlier answers that take the place of the expected ones.

        Returns
        -------
        float, or a pair of them for a range
        """
        if own is None:
            return self.target(path)[1]
        part, given, earlier = self._inputs(path, own)
        return self._around(part, part.answer, given, earlier, self.following(path, own))

    def _around(self, part, function, given, earlier, middle):
        if type(middle) is tuple:
            return tuple(
                self._width(part, lambda *a, i=i: function(*a)[i], given, earlier, middle[i])
                for i in range(len(middle))
            )
        return self._width(part, function, given, earlier, middle)

    def _width(self, part, function, given, earlier, middle):
        width = part.half_step
        for name, half in part.reads.items():
            there = vars(given)[name]
            sides = (SimpleNamespace(**{**vars(given), name: there + way * half}) for way in (1, -1))
            width += _swing(middle, *(partial(function, side, *earlier) for side in sides))
        for place, used in enumerate(part.uses):
            other = self._parts[used][1]
            if not other.numeric:  # a choice is not rounded
                continue
            sides = (_moved(earlier, place, way * other.half_step) for way in (1, -1))
            width += _swing(middle, *(partial(function, given, *side) for side in sides))
        return part.within.around(width, middle)


def _swing(middle, above, below):
    """Half the change of a result between two calls beside the middle.

    At the end of what can be (a dwell of 100 %) one side does not exist: the other one tells alone.
    """
    ends = []
    for call in (above, below):
        try:
            ends.append(call())
        except OutOfRange:
            continue
    if len(ends) == 2:
        return abs(ends[0] - ends[1]) / 2
    return abs(ends[0] - middle) if ends else 0.0


def _moved(earlier, place, by):
    """The earlier answers with one of them moved; both ends of a range move together."""
    value = earlier[place]
    value = tuple(end + by for end in value) if isinstance(value, tuple) else value + by
    return [*earlier[:place], value, *earlier[place + 1 :]]
