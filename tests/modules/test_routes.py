"""What the routes print is arithmetic that comes out when somebody does it again with the printed figures."""

import math
import re
from types import SimpleNamespace

import pytest

from grader import catalogue
from tests.modules import proofs

NUMBER = r"\d+(?:\u202f\d{3})*(?:\.\d+)?"
UNIT = r"(?:\s?[°%Ω]?[A-Za-zΩ]*(?:/[a-z]+)?)"
TERM = rf"\(*(?:√|cosh)?\(*(?:{NUMBER}{UNIT}|π)\)*"
SUM = re.compile(rf"(?<![\d.\u202f]){TERM}(?:\s*[+−×÷]\s*(?:[a-z]+ )?{TERM})*\s*$")
RESULT = re.compile(rf"\s*(-?{NUMBER})( %| per cent)?")
IN_PYTHON = {"−": "-", "×": "*", "÷": "/", "π": "pi", "\u202f": ""}


def sums(line):
    """(sum, its value by the printed figures, printed result, its last place) for each "=" with figures before it."""
    for sign in re.finditer("=", line):
        before, result = line[: sign.start()], RESULT.match(line, sign.end())
        before = before[before.rfind("=") + 1 :] if "=" in before else before
        if not re.search(r"\d", before) or result is None:
            continue  # a name before it, or words after it
        found = SUM.search(before)
        assert found, f"not understood: {line}"
        text = re.sub(rf"√({NUMBER})", r"sqrt(\1)", found[0]).replace("√(", "sqrt(")
        text = re.sub(r"(?<![a-z])(?!cosh|sqrt)[A-Za-zΩ°%]+(?:/[a-z]+)?", "", re.sub(rf"({NUMBER}){UNIT}", r"\1", text))
        value = eval("".join(IN_PYTHON.get(c, c) for c in text), {"sqrt": math.sqrt, "cosh": math.cosh, "pi": math.pi})
        figure = result[1].replace("\u202f", "")
        yield (
            found[0].strip(), value * (100 if result[2] else 1), float(figure), 0.1 ** len(figure.partition(".")[2]),
        )  # fmt: skip


def wrong_sums(line):
    """Sums and differences must come out to the last figure; with factors and roots one in the last place is let be."""
    for text, value, printed, place in sums(line):
        allowed = 1.0 if re.search("[×÷√πc]", text) else 0.5
        if abs(value - printed) > allowed * place * (1 + 1e-6):
            yield text, value, printed


@pytest.fixture(scope="module")
def routes():
    """(exercise key, one line of its route) for some trainees of every module, each line once."""
    return set(_routes(300))


def _routes(count):
    for module in catalogue.all_modules().values():
        for numbers in proofs.draws(module, count):
            for exercise in module.exercises:
                given = SimpleNamespace(**numbers[exercise.key])
                yield from ((exercise.key, str(line)) for line in exercise.route(given))


@pytest.mark.campaign
def test_what_a_route_prints_comes_out_on_a_pocket_calculator(routes):
    seen, wrong = set(), set()
    for key, line in routes:
        found = [text for text, *_ in sums(line)]
        seen |= {key} if found else set()
        wrong |= {(key, line, *bad) for bad in wrong_sums(line)}
    assert sorted(wrong)[:5] == []
    assert len(seen) >= 20


def test_nothing_is_printed_as_minus_nought(routes):
    """A timing that comes to nothing, or a reserve used up to the last, is 0 and not -0.0."""
    assert {(key, line) for key, line in routes if re.search(r"-0(?:\.0+)?(?![\d.])", line)} == set()


@pytest.mark.parametrize(
    "line",
    [
        "On the gauge: 130.1 − 14.7 = 115.4 psi.", "13 ÷ 114 = 11.4 per cent.", "m = √(4 × 400 ÷ (16 × 0.0044)) = 150.76.",
        "60\u202f000 ÷ 700 = 85.71 ms.", "Line off: initial 7° + weights 3.4° = 10.4°.", "cosh(1.524) = 2.404.",
        "True: 100 − 12 = 88 and 70 − 12 = 58 psi.", "1.2 × (24.22 × 0.287 + 6.08 × √0.287) = 12.2 kV.", "5 − 8.2 = -3.2°.",
    ],
)  # fmt: skip
def test_sums_that_come_out(line):
    assert len(list(sums(line))) == 1 + line.count(" and ") and list(wrong_sums(line)) == []


@pytest.mark.parametrize(
    "line",
    [
        "On the gauge: 130.1 − 14.7 = 115.5 psi.", "13 ÷ 114 = 11.6 per cent.", "m = √(4 × 400 ÷ (16 × 0.0044)) = 150.78.",
        "6750 × 0.511 = 3448 rev/min.", "Line off: initial 7° + weights 3.4° = 10.5°.", "cosh(1.75) = 2.975.",
        "1.2 × (24.22 × 0.287 + 6.08 × √0.287) = 12.4 kV.", "5 − 8.2 = 3.2°.",
    ],
)  # fmt: skip
def test_sums_that_do_not_come_out_are_found(line):
    assert len(list(wrong_sums(line))) == 1
