"""How a trainee works the numbers of module 2, by the lesson's own method and the printed figures alone."""

from math import sqrt

import numpy as np

from grader.widgets.panels.dwell import coil
from tests.modules.honest.person import Page, Solvers, between, rounded

SOLVERS = Solvers()
# The share table of section 7.
SHARES = [(0.25, 0.221), (0.5, 0.393), (0.75, 0.528), (1, 0.632), (1.25, 0.713), (1.5, 0.777), (1.75, 0.826),
          (2, 0.865), (2.5, 0.918), (3, 0.950), (4, 0.982), (5, 0.993)]  # fmt: skip


def card(page: Page) -> list[tuple[float, ...]]:
    """The printed cam card: (inch, millimetre, dwell)."""
    return page.rows(r"(#) in \((#) mm\) → (#)°")


@SOLVERS.works("m02.gap_dwell.dwell")
def gap_dwell(page: Page) -> str:
    found = page.figures(r"blade of (#) in \((#) mm\)")
    system = page.random.choice((0, 1))
    return page.write(between([(row[system], row[2]) for row in card(page)], found[system]), 1)


@SOLVERS.works("m02.wear_timing.timing")
def wear_timing(page: Page) -> str:
    before = page.figure(r"mm\), dwell ", "°")
    change = page.keep(page.own["m02.gap_dwell.dwell"] - before, 1)
    return page.write(page.figure("timing was set to ", "°") - change, 1)


@SOLVERS.works("m02.gap_window.gaps")
def gap_window(page: Page) -> str:
    least, most = page.figures(r"dwell from (#)° to (#)°")
    system = 0 if page.unit == "in" else 1
    rows = [(row[2], row[system]) for row in card(page)]
    places = 4 if page.unit == "in" else 2
    return f"{page.write(between(rows, most), places)} to {page.write(between(rows, least), places)}"


@SOLVERS.works("m02.meter.duty")
def duty(page: Page) -> str:
    whole = 360 / page.figure("switch stands on ", " cylinders")
    return page.write(100 * page.keep(page.figure(r"cylinders, dwell ", "°") / whole, 3), 1)


@SOLVERS.works("m02.meter.dwell")
def true_dwell(page: Page) -> str:
    return page.write(page.own["m02.meter.duty"] / 100 * 360 / page.figure(", ", " cylinders, dwell"), 1)


@SOLVERS.works("m02.current.time")
def closed_time(page: Page) -> str:
    return page.write(1000 * page.figure("dwell ", "°") / (3 * page.figure("engine at ", " rev/min")), 2)


@SOLVERS.works("m02.current.current")
def current(page: Page) -> str:
    ohm = page.figure("Coil ", " Ω") + page.figure("ballast ", " Ω")
    final = page.keep(page.figure("supply ", " V") / ohm, 2)
    constant = page.keep(page.figure("inductance ", " mH") / ohm, 2)
    ratio = page.keep(page.own["m02.current.time"] / constant, 2)
    return page.write(final * page.keep(between(SHARES, ratio), 3), 2)


@SOLVERS.works("m02.enough_voltage.speed")
def enough_voltage(page: Page) -> str:
    """Set the coil panel as told and point at the crossing, two pixels this way or that."""
    cylinders = int(page.figure("panel to ", " cylinders"))
    required = page.figure("ask for ", " kV") + page.figure("take ", " kV for it")
    drawn = coil.compute(cylinders, 1500, 13.8, coil.IN, page.figure("and ", " Ω at the points"), required).curve_kv
    speeds = coil._SPEEDS
    last = int(np.flatnonzero(drawn >= required)[-1])
    crossing = speeds[last] + (speeds[last + 1] - speeds[last]) * (drawn[last] - required) / (
        drawn[last] - drawn[last + 1]
    )
    pointed = crossing + page.random.uniform(-2, 2) * coil.FASTEST_RPM / coil.PLOT_PIXELS
    return f"{50 * rounded(pointed / 50, 0):.0f}"


@SOLVERS.works("m02.spring.speed")
def spring(page: Page) -> str:
    new, new_n = page.figures(r"new spring of (#) oz \((#) N\)")
    old, old_n = page.figures(r"now shows (#) oz \((#) N\)")
    share = page.random.choice((old / new, old_n / new_n))
    root = page.keep(sqrt(page.keep(share, 3)), 3)
    return page.write(page.figure("leaves the cam at ", r"\s+rev/min") * root, 0)


@SOLVERS.works("m02.high_miss.dwell")
def in_per_cent(page: Page) -> str:
    share = page.figure("closed: ", " % at idle")
    return page.write(share / 100 * page.keep(360 / page.figure(", ", " cylinders"), 1), 1)
