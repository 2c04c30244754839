"""How a trainee works the numbers of module 1, by the lesson's own method and the printed figures alone."""

from math import pi

from tests.modules.honest.person import Page, Solvers, between

SOLVERS = Solvers()
CRANK = "° crank"
KPA_PER_INHG = 3.386  # as a table at the wall of a workshop gives it


def weights(page: Page, speed_rpm: float) -> float:
    """Distributor degrees from the printed curve (section 2): halve the speed, share out between the points."""
    return page.keep(between(page.curve("rev/min → distributor degrees)"), speed_rpm / 2), 2)


@SOLVERS.works("m01.mark_arc.arc")
def mark_arc(page: Page) -> str:
    diameter_mm, diameter_in = page.figures(r"pulley of (#) mm \((#) in\)")
    angle = page.figure("initial timing to ", "°")
    rim = page.keep(pi * (diameter_mm if page.unit == "mm" else diameter_in), 1 if page.unit == "mm" else 2)
    return page.write(rim * angle / 360, 1 if page.unit == "mm" else 2)


@SOLVERS.works("m01.angle_time.time")
def angle_time(page: Page) -> str:
    turn = page.keep(60000 / page.figure("At ", r" rev/min"), 1)
    return page.write(turn * page.figure("comes ", "°") / 360, 2)


@SOLVERS.works("m01.centrifugal.advance")
def centrifugal(page: Page) -> str:
    dist = weights(page, page.figure("engine turns at ", r" rev/min"))
    return page.write(2 * dist if page.unit == CRANK else dist, 1)


@SOLVERS.works("m01.total.line_off")
def line_off(page: Page) -> str:
    initial, own = page.figure("Initial timing is ", "°"), page.own["m01.centrifugal.advance"]
    dist = weights(page, page.figure("engine turns at ", r" rev/min"))
    crank = min((own, 2 * own), key=lambda found: abs(found - 2 * dist))  # he knows in which degrees he wrote it
    return page.write(initial + crank, 1)


@SOLVERS.works("m01.total.line_on")
def line_on(page: Page) -> str:
    inhg, _ = page.figures(r"shows (#) inHg \((#) kPa\)")
    unit = page.keep(between(page.curve("inHg → distributor degrees)"), inhg), 2)
    return page.write(page.own["m01.total.line_off"] + 2 * unit, 1)


@SOLVERS.works("m01.fast_idle.initial")
def fast_idle(page: Page) -> str:
    dist = weights(page, page.figure("engine idled at ", r" rev/min"))
    return page.write(page.figure("mark to ", "°") - 2 * dist, 1)


@SOLVERS.works("m01.band.band")
def band(page: Page) -> str:
    initial, its_limit = page.figures(r"Initial timing (#)° ± (#)°")
    limit = page.figure("each ± ", "° at the distributor")
    dist = weights(page, page.figure("engine turns at ", r" rev/min"))
    least = initial - its_limit + 2 * (dist - limit)
    most = initial + its_limit + 2 * (dist + limit)
    return f"{page.write(least, 1)} to {page.write(most, 1)}"


@SOLVERS.works("m01.altitude.vacuum")
def altitude(page: Page) -> str:
    vacuum = page.figures(r"idles at (#) inHg \((#) kPa\)")
    here, there = (page.rows(r"barometer stands at (#) inHg \((#) kPa\)"))[:2]
    system = 0 if page.unit.startswith("inHg") else 1
    absolute = here[system] - vacuum[system]
    return page.write(there[system] - absolute, 1)
