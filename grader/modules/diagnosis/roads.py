"""The next test by what it can exclude for its minutes, and the chart that such tests make up."""

from collections.abc import Mapping, Sequence
from functools import cache
from types import MappingProxyType, SimpleNamespace
from typing import Any

from grader.bench.chart import Place, chart, places, rows
from grader.bench.owner import complaint_words
from grader.exercise import listing
from grader.exercise.model import Absolute, Choice, Exercise, Line, Number, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.diagnosis.table import ENGINES, LETTERS, MANY, few, one_of, title

COVERED = 10  # likeliest faults in a chart of an exercise
# Complaints whose charts ask for several tests on every engine.
_SEVERAL = (
    "no_start", "hard_start_cold", "hard_start_damp", "dies_on_release", "rough_idle", "misfire_load", "misfire_speed",
    "misfire_damp", "idles_fast", "stalls", "sluggish", "thirsty", "plugs_again",
)  # fmt: skip
_CHARTED = (
    "no_start", "hard_start_cold", "dies_on_release", "misfire_load", "misfire_damp", "idles_fast", "plugs_again",
)  # fmt: skip
_OFFERED = 5
CLEARLY = 2.0  # minutes by which every other test offered leads to a longer road
_SHOWN_SHARE = 0.04  # causes that stand in the list, of all that are left
_MOST_TESTS = 12  # of a chart that is read from paper
APART = 2.0  # minutes
_LONGER = 6  # tests on two cars together, where a chart is long enough for that


@cache
def _open(engine: str, complaint: str) -> tuple[Place, ...]:
    """Places of a chart with something read, several causes left, and one test clearly ahead of enough others."""
    return tuple(
        place
        for place in places(engine, complaint, COVERED)
        if place.readings and len(_causes(place)) >= 3 and len(_others(place)) >= _OFFERED - 1
    )


def _causes(place: Place) -> list[tuple[str, float]]:
    return [(name, share) for name, share in place.causes if share >= _SHOWN_SHARE]


def _others(place: Place) -> list[tuple[str, str, float, int, float]]:
    """Tests with which the road is clearly longer than with the best: those that part something first, then trials."""
    return [test for test in place.tests[1:] if test[4] >= place.tests[0][4] + CLEARLY]


def _situation(parameters: Mapping[str, Any]) -> dict[str, Any]:
    place = one_of(_open(parameters["engine"], parameters["complaint"]), parameters["which"])
    others = _others(place)
    swaps = [test for test in others if test[0].startswith("swap:")]
    plain = [test for test in others if not test[0].startswith("swap:")]
    offered = few(swaps, parameters["start"], 1, min(parameters["trials"], len(swaps)))
    offered += few(plain, parameters["start"], 3, _OFFERED - 1 - len(offered))
    at = parameters["at"]
    tests = [*offered[:at], place.tests[0], *offered[at:]]
    return {
        "readings": [list(read) for read in place.readings],
        "causes": [[name, round(100 * share)] for name, share in _causes(place)],
        "tests": [[words, round(minutes), parts, round(cost), key] for key, words, minutes, parts, cost in tests],
    }


def _least(v: SimpleNamespace) -> str:
    return LETTERS[min(range(_OFFERED), key=lambda at: v.tests[at][3])]


def _trial(v: SimpleNamespace) -> str | None:
    return next((LETTERS[at] for at, test in enumerate(v.tests) if test[4].startswith("swap:")), None)


def _ends(v: SimpleNamespace, last: bool) -> str | None:
    """The quickest or the longest of the tests, where it is neither the right one nor a trial."""
    order = sorted(range(_OFFERED), key=lambda at: v.tests[at][1], reverse=last)
    letter = LETTERS[order[0]]
    is_alone = v.tests[order[0]][1] != v.tests[order[1]][1]
    return letter if is_alone and letter not in (_least(v), _trial(v)) else None


def _why_not(v: SimpleNamespace, at: int) -> str:
    words, minutes, parts, cost, _ = v.tests[at]
    worth = f"parts what is left {parts} ways" if parts > 1 else "excludes nothing of what is left"
    return f"{LETTERS[at]}, “{words}”: {worth} for {minutes} minutes; the whole road then takes about {cost} minutes."


NEXT_TEST = Exercise(
    key="m06.next_test",
    version=1,
    marking=1,
    title="Which test comes next?",
    text=(
        "{engine}. The owner says: “{words}” You have read:{readings}Of 100 such cars so many have this:{causes}Five things "
        "could be done now. Where a look can miss, its minutes count a second one.{tests}With which one is the whole road to "
        "a proved answer shortest?"
    ),
    draw={
        "engine": Pick(ENGINES), "complaint": Pick(_SEVERAL), "which": MANY, "start": MANY, "at": Steps(0, _OFFERED - 1),
        "trials": Steps(0, 1),
    },
    fill=_situation,
    show=lambda v: {
        "engine": title(v.engine),
        "words": complaint_words()[v.complaint],
        "readings": listing.lines(f"{test}: {result}" for test, result in v.readings),
        "causes": listing.lines(f"{name}: {share}" for name, share in v.causes),
        "tests": listing.lines(f"{LETTERS[at]}: {test[0]}, {test[1]} minutes" for at, test in enumerate(v.tests)),
    },
    parts=(
        Choice(
            key="test", prompt="Next", marks=2, objectives=("G2",), order="fixed",
            options=MappingProxyType({letter: f"Test {letter}" for letter in LETTERS[:_OFFERED]}),
            signs=MappingProxyType(dict.fromkeys(LETTERS[:_OFFERED], "Ask of each cause on the list what it would show there: another test parts more of them for its minutes.")),
            answer=_least,
            slips=(
                Slip("part-swap",
                     "You tried a part. It takes longer than a reading, and tells of one cause only.",
                     _trial),
                Slip("quickest",
                     "You took the quickest test. Ask first what it can exclude of the causes that are left.",
                     lambda v: _ends(v, last=False)),
                Slip("dearest",
                     "You took the test that takes longest. What it tells, others tell in fewer minutes.",
                     lambda v: _ends(v, last=True)),
            ),
        ),
    ),
    route=lambda v: (
        "Ask of each cause on the list: what would I read there? A test is worth what it parts, for its minutes.",
        *(Line(_why_not(v, at), "test") for at in range(_OFFERED)),
        Line(f"Shortest is the road with test {_least(v)}.", "test"),
    ),
)  # fmt: skip


@cache
def _rows(engine: str, complaint: str) -> tuple[tuple[str, int, tuple[tuple[str, str], ...]], ...]:
    """A chart as rows (test, minutes, branches); a branch is its result, and the number of the next row or the cause."""
    return tuple(
        (
            row.test,
            round(row.minutes),
            tuple((result, str(line) if line else causes[0][0]) for result, line, causes in row.branches),
        )
        for row in rows(chart(engine, complaint, COVERED))
    )


def _roads(lines: Sequence[Any]) -> list[tuple[list[int], str]]:
    """Every way through a chart: places of its rows, and the cause at its end."""
    roads = []

    def walk(at: int, before: list[int]) -> None:
        for _, then in lines[at][2]:
            if then.isdigit():
                walk(int(then) - 1, [*before, at])
            else:
                roads.append(([*before, at], then))

    walk(0, [])
    return roads


@cache
def _read(engine: str, complaint: str) -> tuple[tuple[int, tuple[int, ...], str], ...]:
    """What can be asked of a chart: (row that comes next after some results, rows to a cause, that cause)."""
    lines = _rows(engine, complaint)
    roads = _roads(lines)
    causes = [cause for _, cause in roads]
    inner = list(range(1, min(len(lines), _MOST_TESTS)))
    ends = [(tuple(road), cause) for road, cause in roads if len(road) >= 2 and causes.count(cause) == 1]
    pairs = [(at, road, cause) for at in inner for road, cause in ends if at not in road]
    longer = [pair for pair in pairs if len(pair[1]) + len(_way_to(lines, pair[0])) >= _LONGER]
    return tuple(longer if len(longer) >= _LONGER else pairs)


def _charted(parameters: Mapping[str, Any]) -> dict[str, Any]:
    engine, complaint = parameters["engine"], parameters["complaint"]
    lines = _rows(engine, complaint)
    at, road, cause = one_of(_read(engine, complaint), parameters["which"])
    others = [n for n in range(len(lines)) if n != at and lines[n][0] != lines[at][0]]
    others = list({lines[n][0]: n for n in others}.values())
    offered = few(others, parameters["start"], 1, _OFFERED - 1)
    first = _before(lines, at)[-1]
    if first not in offered:  # the test just read stands among those offered
        offered[0] = next((n for n in others if lines[n][0] == lines[first][0]), offered[0])
    place = min(parameters["at"], len(offered))
    return {
        "rows": [[test, minutes, [list(branch) for branch in branches]] for test, minutes, branches in lines],
        "next": at,
        "road": list(road),
        "cause": cause,
        "offered": [lines[n][0] for n in (*offered[:place], at, *offered[place:])],
    }


def _before(lines: Any, at: int) -> list[int]:
    """Rows on the way to a row, the first one first."""
    for n, row in enumerate(lines):
        if any(then == str(at + 1) for _, then in row[2]):
            return [*_before(lines, n), n]
    return []


def _results_to(v: SimpleNamespace) -> list[str]:
    way = _way(v)
    return [
        f"{v.rows[n][0]}: " + next(result for result, then in v.rows[n][2] if then == str(after + 1))
        for n, after in zip(way, way[1:], strict=False)
    ]


def _next_letter(v: SimpleNamespace) -> str:
    return LETTERS[v.offered.index(v.rows[v.next][0])]


def _again(v: SimpleNamespace) -> str | None:
    """The test that was read last, where it is offered."""
    last = v.rows[_before(v.rows, v.next)[-1]][0]
    return LETTERS[v.offered.index(last)] if last in v.offered else None


def _minutes(v: SimpleNamespace) -> float:
    return _sum(v, _way(v)) + v.cars * _sum(v, v.road)


def _sum(v: SimpleNamespace, numbers: Sequence[int]) -> float:
    return float(sum(v.rows[n][1] for n in numbers))


def _way(v: SimpleNamespace) -> list[int]:
    """Rows on the first car, the next one too."""
    return _way_to(v.rows, v.next)


def _way_to(lines: Any, at: int) -> list[int]:
    return [*_before(lines, at), at]


def _wrong_sums(v: SimpleNamespace) -> dict[str, float]:
    """What the slips lead to, those that cannot be taken for the right sum or for one another."""
    led = {
        "without-next": _minutes(v) - v.rows[v.next][1],
        "without-first": v.cars * _sum(v, v.road),
        "once-for-all": _sum(v, _way(v)) + _sum(v, v.road),
        "every-test": (1 + v.cars) * _sum(v, range(len(v.rows))),
    }
    apart: dict[str, float] = {}
    for key, minutes in led.items():
        if all(abs(minutes - other) > APART for other in (_minutes(v), *apart.values())):
            apart[key] = minutes
    return apart


CHART = Exercise(
    key="m06.chart",
    version=1,
    marking=1,
    title="Read the chart",
    text=(
        "{engine}. This is the troubleshooting chart for “{words}” Each line is a test with its minutes; behind each result "
        "stands the line to go on with, or what it then is:{chart}Some cars are worked by it. On the first you have read:"
        "{results}Which of these comes next?{offered}{cars} other cars turn out to have this: {cause}. How long do the tests on "
        "all of them take: on the first with the next one, on each of the others until the chart says what it is?"
    ),
    draw={
        "engine": Pick(ENGINES), "complaint": Pick(_CHARTED), "which": MANY, "start": MANY, "at": Steps(0, _OFFERED - 1),
        "cars": Steps(2, 6),
    },
    fill=_charted,
    show=lambda v: {
        "engine": title(v.engine),
        "words": complaint_words()[v.complaint],
        "chart": listing.lines(
            entry
            for n, (test, minutes, branches) in enumerate(v.rows, 1)
            for entry in (
                f"Line {n}: {test}, {minutes} minutes",
                *(f"{n}, {result}: {f'go to line {then}' if then.isdigit() else then}" for result, then in branches),
            )
        ),
        "results": listing.lines(_results_to(v)),
        "offered": listing.lines(f"{LETTERS[at]}: {test}" for at, test in enumerate(v.offered)),
    },
    parts=(
        Choice(
            key="test", prompt="Next on the first car", marks=1, objectives=("G1", "G2"), order="fixed",
            options=MappingProxyType({letter: f"Test {letter}" for letter in LETTERS[:_OFFERED]}),
            signs=MappingProxyType(dict.fromkeys(LETTERS[:_OFFERED], "Follow the results line by line: behind each stands the line to go on with.")),
            answer=_next_letter,
            slips=(
                Slip("read-already", "That test was read already. Go on behind its result.", _again),
            ),
        ),
        Number(
            key="minutes", prompt="Tests on all these cars", unit="min", also=("s",), marks=2, step=1, answer=_minutes,
            within=Absolute(0.5, "sums of whole minutes"), possible=(1.0, 300.0), objectives=("G2",),
            slips=(
                Slip("without-next",
                     "You left out the test that comes next on the first car. It is taken too.",
                     lambda v: _wrong_sums(v).get("without-next")),
                Slip("without-first",
                     "You counted the other cars alone. The tests on the first take their minutes too.",
                     lambda v: _wrong_sums(v).get("without-first")),
                Slip("once-for-all",
                     "You counted the way of the other cars once. Each of them goes through it.",
                     lambda v: _wrong_sums(v).get("once-for-all")),
                Slip("every-test",
                     "You gave every test of the chart to every car. A car takes only those on its own way.",
                     lambda v: _wrong_sums(v).get("every-test")),
            ),
        ),
    ),
    route=lambda v: (
        Line(f"On the first car: {'; '.join(_results_to(v))}. Behind it stands line {v.next + 1}, “{v.rows[v.next][0]}”: test {_next_letter(v)}.", "test"),
        Line(
            f"Its tests take {' + '.join(str(v.rows[n][1]) for n in _way(v))} = {_sum(v, _way(v)):.0f} minutes.",
            "minutes",
        ),
        Line(
            f"Each of the other {v.cars} goes through the lines {', '.join(str(n + 1) for n in v.road)}: "
            f"{' + '.join(str(v.rows[n][1]) for n in v.road)} = {_sum(v, v.road):.0f} minutes. All together: {_sum(v, _way(v)):.0f} + {v.cars} × {_sum(v, v.road):.0f} = "
            f"{_minutes(v):.0f} minutes.",
            "minutes",
        ),
    ),
)  # fmt: skip
