"""How a trainee works the numbers of module 6, by the lesson's own method and the printed figures alone."""

import re
from typing import Any

from tests.modules.honest.person import Page, Solvers

SOLVERS = Solvers()


@SOLVERS.works("m06.of_100.left")
def of_100(page: Page) -> str:
    prior = page.figure("with this complaint, ", " have this")
    hit = page.figure("finds it on ", " of 100 cars")
    missed = page.keep(prior * (100 - hit) / 100, 1)
    return page.write(100 * missed / (missed + 100 - prior), 0)


@SOLVERS.works("m06.of_100.again")
def of_100_again(page: Page) -> str:
    before, hit = page.own["m06.of_100.left"], page.figure("finds it on ", " of 100 cars")
    missed = page.keep(before * (100 - hit) / 100, 1)
    return page.write(100 * missed / (missed + 100 - before), 0)


@SOLVERS.works("m06.road_cost.minutes")
def road_cost(page: Page) -> str:
    left, minutes = 100.0, 0.0
    for takes, settles in re.findall(r", (\d+) minutes, (\d+) of 100 cars", page.text):
        minutes += float(takes) * left
        left -= float(settles)
    return page.write(minutes / 100 * (60 if page.unit == "s" else 1), 1)


@SOLVERS.works("m06.chart.minutes")
def chart(page: Page) -> str:
    takes = {line: (test, float(minutes)) for line, test, minutes in _found(r"Line (\d+): (.*), (\d+) minutes$", page)}
    on = {(line, result): then for line, result, then in _found(r"(?<!\d)(\d+), (.*): go to line (\d+)$", page)}
    back = {then: line for (line, _), then in on.items()}
    line, minutes = "1", takes["1"][1]
    for entry in _found(r"On the first you have read:((?:.|\n)*?)Which of these", page)[0].strip().split("\n"):
        line = next(
            then for (at, result), then in on.items() if at == line and entry.endswith(f"{takes[at][0]}: {result}")
        )
        minutes += takes[line][1]
    cars, cause = _found(r"(\d+) other cars turn out to have this: (.*?)\. How long", page)[0]
    [line] = _found(rf"(?<!\d)(\d+), .*: {re.escape(cause)}$", page)
    while line:
        minutes += float(cars) * takes[line][1]
        line = back.get(line, "")
    return page.write(minutes * (60 if page.unit == "s" else 1), 0)


def _found(pattern: str, page: Page) -> list[Any]:
    return re.findall(pattern, page.text, re.MULTILINE)


@SOLVERS.works("m06.road_cost.least")
def least(page: Page) -> str:
    tests = [
        (float(takes), float(settles))
        for takes, settles in re.findall(r", (\d+) minutes, (\d+) of 100 cars", page.text)
    ]
    left, minutes = 100.0, 0.0
    for takes, settles in sorted(tests, key=lambda test: -page.keep(test[1] / test[0], 2)):
        minutes += takes * left
        left -= settles
    return page.write(minutes / 100 * (60 if page.unit == "s" else 1), 1)
