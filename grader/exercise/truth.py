"""Expected answers of one trainee's numbers, and how far an honest answer may lie from them."""

from types import SimpleNamespace

from grader.exercise.model import Number

ROUNDING_SLACK = 1e-9  # relative: a bound written in decimals is not exact in binary


class Truth:
    """Expected answers for one module's issued parameters.

    Answers are computed when asked for and kept. `numbers` maps exercise keys to
    their parameters as issued.
    """

    def __init__(self, module, numbers):
        self._parts = {path: (exercise, part) for exercise, part, path in module.parts()}
        self._numbers = numbers
        self._given = {}
        self._known = {}

    def given(self, exercise_key):
        """The parameters of an exercise as attributes."""
        if exercise_key not in self._given:
            self._given[exercise_key] = SimpleNamespace(**self._numbers[exercise_key])
        return self._given[exercise_key]

    def answer(self, path):
        """Expected answer of a part: a number in its unit, or the key of an option."""
        if path not in self._known:
            exercise, part = self._parts[path]
            self._known[path] = part.answer(self.given(exercise.key), *map(self.answer, part.uses))
        return self._known[path]

    def following(self, path, own):
        """The same with a trainee's own earlier answers in place of the expected ones."""
        exercise, part = self._parts[path]
        return part.answer(self.given(exercise.key), *(own.get(used, self.answer(used)) for used in part.uses))

    def slip(self, path, slip):
        """Where a slip leads, or None."""
        exercise, part = self._parts[path]
        return slip.value(self.given(exercise.key), *map(self.answer, part.uses))

    def tolerance(self, path, function=None, own=None):
        """Greatest distance from the expected answer that is still right, in the part's unit.

        Half the reading step, plus for each instrument reading and each carried
        answer half the change of the result over one half-division either way;
        at least the exercise's own minimum.
        """
        exercise, part = self._parts[path]
        function = function or part.answer
        given = self.given(exercise.key)
        earlier = [(own or {}).get(used, self.answer(used)) for used in part.uses]
        middle = function(given, *earlier)
        width = part.step / 2
        for name, half in part.reads.items():
            ends = [
                function(SimpleNamespace(**{**vars(given), name: getattr(given, name) + a}), *earlier)
                for a in (half, -half)
            ]
            width += abs(ends[0] - ends[1]) / 2
        for place, used in enumerate(part.uses):
            source = self._parts[used][1]
            if isinstance(source, Number):
                ends = [
                    function(given, *(e + a if i == place else e for i, e in enumerate(earlier)))
                    for a in (source.step / 2, -source.step / 2)
                ]
                width += abs(ends[0] - ends[1]) / 2
        return max(width, part.within.at(middle)) + ROUNDING_SLACK * abs(middle)
