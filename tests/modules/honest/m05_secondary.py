"""How a trainee works the numbers of module 5, by the lesson's own method and the printed figures alone."""

from math import sqrt

from grader.modules.secondary import voltage
from grader.widgets.panels.secondary import curves
from tests.modules.honest.person import Page, Solvers

SOLVERS = Solvers()


def in_unit(page: Page, value: float, sizes: dict[str, tuple[float, int]]) -> str:
    """The answer in his own unit: how many of it make one of ours, and to how many places he writes it."""
    size, places = sizes[page.unit]
    return page.write(value * size, places)


def kilovolts(page: Page, value: float, places: int = 1) -> str:
    return in_unit(page, value, {"kV": (1, places), "V": (1000, 0)})


def law(page: Page, reach_cm: float) -> float:
    """24.22 x + 6.08 root x, as the lesson prints it."""
    return 24.22 * reach_cm + 6.08 * page.keep(sqrt(reach_cm), 4)


def rotor_kv(page: Page, gap_mm: float) -> float:
    """1 kV at 0.5 mm, 3 kV at 1.0 mm, evenly between."""
    return page.keep(1 + 2 * (gap_mm - 0.5) / 0.5, 2)


@SOLVERS.works("m05.limits.renew")
def limits(page: Page) -> str:
    millimetres, inches = page.figures(r"lead is (#) mm \((#) in\)")
    feet = page.keep(page.random.choice((millimetres / 304.8, inches / 12)), 2)
    kohm = min(30.0, page.figure("at most ", " kΩ for each foot") * feet)
    return in_unit(page, kohm, {"kΩ": (1, 1), "Ω": (1000, 0)})


@SOLVERS.works("m05.lead_cost.before")
def before(page: Page) -> str:
    kv, us = page.figures(r"rises to (#) kV in (#) µs")
    charging_ma = page.keep(page.figure("lie ", " pF") * kv / us, 2)
    return in_unit(page, charging_ma * page.figure("lead has ", " kΩ"), {"V": (1, 0), "kV": (0.001, 3)})


@SOLVERS.works("m05.lead_cost.during")
def during(page: Page) -> str:
    volts = page.figure("After that ", " mA") * page.figure("lead has ", " kΩ")
    return in_unit(page, volts, {"V": (1, 0), "kV": (0.001, 3)})


@SOLVERS.works("m05.air_in_way.taken")
def air_in_way(page: Page) -> str:
    broken = page.figure("ends stand ", " mm") / 10
    taken = page.keep(0.69 * law(page, broken), 2)
    return kilovolts(page, rotor_kv(page, page.figure("rotor and cap is ", " mm")) + taken, 2)


@SOLVERS.works("m05.induced.lifted")
def lifted(page: Page) -> str:
    metres = page.figure(r"for ", " mm") / 1000
    between, ground = page.figures(r"there are (#) pF for each metre, from the second lead to the block (#) pF")
    shared, down = page.keep(between * metres, 2), page.keep(ground * metres, 2)
    kv = page.figure("first lead rises to ", " kV") * shared / (shared + down + page.figure("plug adds ", " pF"))
    return kilovolts(page, kv, 2)


@SOLVERS.works("m05.longest_run.run")
def longest_run(page: Page) -> str:
    between, ground = page.figures(r"there are (#) pF for each metre, from the second lead to the block (#) pF")
    allowed = page.keep(page.figure("allow ", " per cent") / 100 * page.figure("spark at ", " kV"), 2)
    above = allowed * page.figure("plug adds ", " pF")
    below = page.figure("first lead rises to ", " kV") * between - allowed * (between + ground)
    millimetres = 1000 * page.keep(above / below, 3)
    return in_unit(page, millimetres, {"mm": (1, 0), "cm": (0.1, 1), "m": (0.001, 3), "in": (1 / 25.4, 1)})


@SOLVERS.works("m05.polarity.asks")
def asks(page: Page) -> str:
    healthy = page.figure("ask for ", " kV under load")
    return f"{kilovolts(page, 1.15 * healthy)} to {kilovolts(page, 1.30 * healthy)}"


@SOLVERS.works("m05.reserve.required")
def required(page: Page) -> str:
    bar, gas_c = page.figures(r"holds (#) bar \(absolute\) at (#) °C")
    millimetres, inches = page.figures(r"plug gap is (#) mm \((#) in\)")
    centimetres = page.random.choice((millimetres / 10, inches * 2.54))
    reach = page.keep(centimetres * page.keep(bar / 1.013 * 293 / (gas_c + 273), 3), 4)
    kv = page.figure("together make ", " of the lesson") * law(page, reach)
    return kilovolts(page, kv * (1.225 if "wrong way round" in page.text else 1), 2)


@SOLVERS.works("m05.reserve.reserve")
def reserve(page: Page) -> str:
    own = page.own["m05.reserve.required"]
    asked = own / 1000 if own > 100 else own  # he knows in which unit he wrote it
    left = page.figure("coil gives ", " kV") - asked - rotor_kv(page, page.figure("rotor gap is ", " mm"))
    return kilovolts(page, left)


def edge(page: Page, place: int) -> str:
    """The ruler laid on the edge of a hatched zone of the panel, to the pixel, and read off its scale."""
    gap_in, _ = page.figures(r"plug gap (#) in \((#) mm\)")
    late = (
        page.figure("spark ", "° late")
        if "° late," in page.text
        else -page.figure("spark ", "° early")
        if "early" in page.text
        else 0
    )
    coil_percent, rotor_mm = page.figures(r"coil (#) per cent, lead sound, rotor gap (#) mm")
    shown = curves.compute(
        gap=round(1000 * gap_in), load=1.0, late=int(late), shunt=voltage.CLEAN_MOHM, coil=int(coil_percent), break_mm=0.0,
        rotor_mm=rotor_mm, speed=1000,
    )  # fmt: skip
    seen = shown.zones[0][1] if place == 0 else shown.zones[-1][0]
    pixel = voltage.FASTEST_RPM / voltage.PLOT_PIXELS
    pointed = 10 * round((seen + page.random.uniform(-2, 2) * pixel) / 10)
    return f"{pointed}"


@SOLVERS.works("m05.zone.slow")
def slow_end(page: Page) -> str:
    return edge(page, 0)


@SOLVERS.works("m05.zone.fast")
def fast_end(page: Page) -> str:
    return edge(page, 1)
