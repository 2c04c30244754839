"""How a trainee works the numbers of module 4, by the lesson's own method and the printed figures alone."""

from grader.modules.plug_testing import firing
from tests.modules.honest.person import Page, Solvers

SOLVERS = Solvers()
KPA_PER_PSI = 6.895
SEA_LEVEL = {"psi": 14.7, "kPa": 101.3, "bar": 1.013}
# How many of the unit make one psi, and to how many places a gauge in that unit is read.
SIZE = {"psi": 1.0, "kPa": KPA_PER_PSI, "bar": KPA_PER_PSI / 100}
PLACES = {"psi": 1, "kPa": 0, "bar": 2}


def system(page: Page) -> str:
    """psi, kPa or bar, whatever stands behind it."""
    return page.unit.split()[0]


def given(page: Page, before: str) -> float:
    """A pressure that is printed in both systems, in his own."""
    psi, kpa = page.figures(rf"{before}(#) psi \((#) kPa\)")
    return {"psi": psi, "kPa": kpa, "bar": kpa / 100}[system(page)]


def write(page: Page, pressure: float) -> str:
    return page.write(pressure, PLACES[system(page)])


@SOLVERS.works("m04.regap.pressure")
def regap(page: Page) -> str:
    came, came_mm = page.figures(r"gap at (#) in \((#) mm\)")
    left, left_mm = page.figures(r"gap is (#) in \((#) mm\)")
    absolute = given(page, "fired it up to ") + SEA_LEVEL[system(page)]
    ratio = came / left if system(page) == "psi" else came_mm / left_mm
    return write(page, page.keep(absolute * ratio, PLACES[system(page)]) - SEA_LEVEL[system(page)])


@SOLVERS.works("m04.harsher.pressure")
def harsher(page: Page) -> str:
    own = page.own["m04.regap.pressure"]
    # He knows in which unit he wrote it: a reading lies between 60 and 130 psi, 4 and 9 bar, 400 and 900 kPa.
    wrote = "bar" if own < 20 else "psi" if own < 200 else "kPa"
    cold = own + SEA_LEVEL[wrote]
    hot = page.keep(cold * (page.figure("charge is at ", " °C") + 273) / 293, PLACES[wrote])
    return write(page, hot / SIZE[wrote] * SIZE[system(page)])


@SOLVERS.works("m04.absolute.absolute")
def absolute(page: Page) -> str:
    barometer = page.figure("barometer shows ", " kPa")
    own = {"psi": page.keep(barometer / KPA_PER_PSI, 2), "kPa": barometer, "bar": barometer / 100}[system(page)]
    return write(page, given(page, "fires up to ") + own)


@SOLVERS.works("m04.absolute.gain")
def gain(page: Page) -> str:
    barometer = page.figure("barometer shows ", " kPa")
    if system(page) == "kPa":
        return page.write(101.3 - barometer, 1)
    return page.write(14.7 - page.keep(barometer / KPA_PER_PSI, 2), 1)


@SOLVERS.works("m04.chart.pressure")
def chart(page: Page) -> str:
    """Across at the sharp plug's voltage to the curve, and down: half a division beside it at most."""
    kv = page.keep(page.figure("tester gives ", " kV") / page.figure("wants ", " times"), 1)
    kv += page.random.uniform(-0.25, 0.25) * firing.CHART_MINOR_KV
    psi = (
        firing._chart_psia(kv, page.figure("gap of ", " in")) + page.random.uniform(-0.5, 0.5) * firing.CHART_MINOR_PSIA
    )
    return write(page, (psi - 14.7) * SIZE[system(page)])


@SOLVERS.works("m04.drop.drop")
def drop(page: Page) -> str:
    pair = page.figures(r"fires up to (#) psi \((#) kPa\).*?plug up to (#) psi \((#) kPa\)")
    new, used = page.random.choice((pair[0::2], pair[1::2]))
    return page.write(100 * page.keep((new - used) / new, 3), 1)


@SOLVERS.works("m04.gauge_zero.drop")
def gauge_zero(page: Page) -> str:
    rows = page.rows(r"(#) psi \((#) kPa\)")
    at = page.random.choice((0, 1))
    zero, new, used = (row[at] for row in rows[:3])
    return page.write(100 * page.keep(((new - zero) - (used - zero)) / (new - zero), 3), 1)


@SOLVERS.works("m04.repeat.share")
def share(page: Page) -> str:
    means = [
        page.keep(sum(map(float, listed.split(", "))) / 5, 1)
        for listed in (
            page.text.split(" at ")[1].split(" psi")[0],
            page.text.split("gap and hour, at ")[1].split(" psi")[0],
        )
    ]
    return page.write(100 * page.keep(means[1] / means[0], 3), 1)


@SOLVERS.works("m04.batch.odd")
def odd(page: Page) -> str:
    """The plug that fires far higher than even the new one can."""
    return f"{max(page.rows(r'P(#) (#) psi'), key=lambda row: row[1])[0]:.0f}"
