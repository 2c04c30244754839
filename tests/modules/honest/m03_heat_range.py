"""How a trainee works the numbers of module 3, by the lesson's own method and the printed figures alone."""

from math import sqrt

import numpy as np

from grader.widgets.panels.heat_range import chart
from grader.widgets.panels.heat_range.section import TIGHT
from tests.modules.honest.person import Page, Solvers, rounded

SOLVERS = Solvers()
KM_PER_MILE, MM_PER_INCH = 1.609, 25.4
DRAWN = chart.compute(0.0, 1.0, TIGHT).tips  # the three lines as the panel draws them


def off(page: Page, division: float) -> float:
    """A finger on the chart lands up to half a division beside the line."""
    return page.random.uniform(-0.5, 0.5) * division


@SOLVERS.works("m03.two_duties.reading")
def reading(page: Page) -> str:
    name = page.text.split("First read plug ")[1][0]
    load = page.figure(r"at load ", r"\. Then") + off(page, 0.01)
    tip = float(np.interp(load, chart._LOADS, DRAWN[name])) + off(page, 10)
    return page.write(tip if page.unit == "°C" else 1.8 * tip + 32, 0)


@SOLVERS.works("m03.tip_moves.load")
def load_of_tip(page: Page) -> str:
    name = page.text.split("tip of plug ")[1][0]
    tip = page.figure("reach ", " °C") + off(page, 10)
    return page.write(float(np.interp(tip, DRAWN[name], chart._LOADS)) + off(page, 0.02), 2)


@SOLVERS.works("m03.gap_growth.gap")
def gap_now(page: Page) -> str:
    new_mm, new_in = page.figures(r"gapped to (#) mm \((#) in\)")
    km, miles = page.figures(r"have run (#) km \((#) miles\)")
    if page.unit == "in":
        return page.write(new_in + page.keep(0.001 * miles / 1000, 4), 4)
    return page.write(new_mm + page.keep(0.0158 * km / 1000, 3), 2)


def volts(page: Page, kv: float) -> str:
    return page.write(kv, 1) if page.unit == "kV" else f"{rounded(1000 * kv, -2):.0f}"


@SOLVERS.works("m03.reserve.required")
def required(page: Page) -> str:
    gap = page.own["m03.gap_growth.gap"]
    # He knows in which unit he wrote his gap: none is as narrow as 0.2 mm.
    gap_cm = page.keep((gap if gap > 0.2 else gap * MM_PER_INCH) / 10, 4)
    x = page.keep(gap_cm * page.figure("gap is ", " times as dense"), 4)
    kv = page.figure(r"K = ", r"\)") * (24.22 * x + 6.08 * page.keep(sqrt(x), 3))
    return volts(page, kv)


@SOLVERS.works("m03.reserve.reserve")
def reserve(page: Page) -> str:
    asked = page.own["m03.reserve.required"]
    asked = asked / 1000 if asked > 200 else asked
    kv = page.figure("coil can give ", " kV") - asked - page.figure("rotor gap takes ", " kV")
    return volts(page, kv)


def grown(page: Page) -> tuple[float, float, float, float]:
    """(new gap, slow rate, quick rate, limit): millimetres and 1000 km, or inches and 1000 miles."""
    if page.unit in ("in", "mi"):
        slow, quick = (rate / 1000 for rate in page.figures("between (#) and (#) thousandths"))
        return page.figure(r"New gap .*? mm \(", r" in\)"), slow, quick, page.figure(r"at most .*? mm \(", r" in\)")
    slow, quick = page.figures(r"\((#) to (#) mm in 1000 km\)")
    return page.figure("New gap ", " mm"), slow, quick, page.figure("at most ", " mm")


@SOLVERS.works("m03.interval.gaps")
def gaps(page: Page) -> str:
    new, slow, quick, _ = grown(page)
    km, miles = page.figures(r"after (#) km \((#) miles\)")
    thousands, places = (miles / 1000, 4) if page.unit == "in" else (km / 1000, 2)
    ends = [new + page.keep(rate * thousands, places + 1) for rate in (slow, quick)]
    return " to ".join(page.write(end, places) for end in ends)


@SOLVERS.works("m03.interval.longest")
def longest(page: Page) -> str:
    new, _, quick, limit = grown(page)
    return f"{rounded(1000 * (limit - new) / quick, -2 if page.writes_down else 0):.0f}"
