"""Units a trainee may write, and which kind of quantity each belongs to.

Kinds keep apart what only looks alike: crank and distributor degrees, gauge,
absolute and vacuum pressure, engine and distributor speed. A bare "°", "psi" or
"rpm" belongs to the family and takes the kind that the exercise asks for.
"""

from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from grader.errors import Unreadable


class Unit(NamedTuple):
    """One unit: base value = factor * number + offset."""

    text: str
    kind: str
    factor: float = 1.0
    offset: float = 0.0


FAMILY = MappingProxyType(
    {
        "crank angle": "angle",
        "distributor angle": "angle",
        "gauge pressure": "pressure",
        "absolute pressure": "pressure",
        "vacuum": "pressure",
        "engine speed": "speed",
        "distributor speed": "speed",
    }
)

# A kind that the trainee states outright converts to its sister; pressure does not,
# since that needs the barometer of the day.
_SISTERS = {
    ("crank angle", "distributor angle"): 0.5,
    ("distributor angle", "crank angle"): 2.0,
    ("engine speed", "distributor speed"): 0.5,
    ("distributor speed", "engine speed"): 2.0,
}

MM_PER_IN, M_PER_FT, KM_PER_MILE = 25.4, 0.3048, 1.609344
KPA_PER_INHG, KPA_PER_PSI = 3.38638864, 6.894757293
GROUPED_FROM = 10_000  # a text keeps the thousands of smaller numbers together without a space


def _pressures(kind, suffix):
    return [
        Unit(f"kPa{suffix}", kind),
        Unit(f"psi{suffix}", kind, KPA_PER_PSI),
        Unit(f"inHg{suffix}", kind, KPA_PER_INHG),
        Unit(f"mmHg{suffix}", kind, 0.1333223684),
        Unit(f"bar{suffix}", kind, 100.0),
        Unit(f"mbar{suffix}", kind, 0.1),
    ]


_ALL = [
    Unit("°", "angle"),
    Unit("° crank", "crank angle"),
    Unit("° dist", "distributor angle"),
    Unit("rev/min", "speed"),
    Unit("engine rev/min", "engine speed"),
    Unit("dist rev/min", "distributor speed"),
    Unit("s", "time", 1000.0),
    Unit("ms", "time"),
    Unit("µs", "time", 0.001),
    Unit("min", "time", 60000.0),
    Unit("mm", "length"),
    Unit("cm", "length", 10.0),
    Unit("m", "length", 1000.0),
    Unit("in", "length", MM_PER_IN),
    Unit("ft", "length", 1000.0 * M_PER_FT),
    Unit("km", "length", 1e6),
    Unit("mi", "length", 1e6 * KM_PER_MILE),
    Unit("V", "voltage"),
    Unit("kV", "voltage", 1000.0),
    Unit("A", "current"),
    Unit("mA", "current", 0.001),
    Unit("Ω", "resistance"),
    Unit("kΩ", "resistance", 1000.0),
    Unit("MΩ", "resistance", 1e6),
    Unit("mJ", "energy"),
    Unit("J", "energy", 1000.0),
    Unit("µF", "capacitance"),
    Unit("nF", "capacitance", 0.001),
    Unit("pF", "capacitance", 1e-6),
    Unit("mH", "inductance"),
    Unit("H", "inductance", 1000.0),
    Unit("°C", "temperature"),
    Unit("°F", "temperature", 5 / 9, -160 / 9),
    Unit("K", "temperature", 1.0, -273.15),
    Unit("%", "share"),
    Unit("Hz", "frequency"),
    Unit("/s", "frequency"),
    Unit("N", "force"),
    Unit("oz", "force", 0.2780138510),
    Unit("", "number"),
    *_pressures("pressure", ""),
    *_pressures("gauge pressure", " gauge"),
    *_pressures("absolute pressure", " abs"),
    Unit("inHg vac", "vacuum", KPA_PER_INHG),
    Unit("kPa vac", "vacuum"),
]

_ALSO = {
    "°": ("deg", "degs", "degree", "degrees", "º"),
    "° crank": (
        "crank °", "crank deg", "crank degrees", "deg crank", "degrees crank", "crankdeg",
        "deg btdc", "° btdc", "degrees btdc", "btdc",
    ),
    "° dist": (
        "dist °", "dist deg", "dist degrees", "deg dist", "degrees dist", "distributor degrees",
        "degrees distributor", "° distributor", "distdeg",
    ),
    "rev/min": ("rpm", "r/min", "revs", "1/min"),
    "engine rev/min": ("engine rpm", "crank rpm", "crank rev/min"),
    "dist rev/min": ("dist rpm", "distributor rpm", "distributor rev/min"),
    "s": ("sec", "second", "seconds"),
    "ms": ("msec", "millisecond", "milliseconds"),
    "µs": ("us", "μs", "microseconds"),
    "min": ("minutes", "minute"),
    "mm": ("millimetre", "millimetres", "millimeter", "millimeters"),
    "cm": ("centimetre", "centimetres", "centimeter", "centimeters"),
    "m": ("metre", "metres", "meter", "meters"),
    "in": ("inch", "inches", '"', "”", "″", "''"),
    "ft": ("feet", "foot"),
    "km": ("kilometre", "kilometres", "kilometer", "kilometers"),
    "mi": ("mile", "miles"),
    "V": ("volt", "volts"),
    "kV": ("kilovolt", "kilovolts"),
    "A": ("amp", "amps", "ampere", "amperes"),
    "mA": ("milliamp", "milliamps"),
    "Ω": ("ohm", "ohms", "Ω"),
    "kΩ": ("kohm", "kohms", "kilohm", "kilohms", "kΩ"),
    "MΩ": ("megohm", "megohms", "megaohm", "MΩ"),
    "µF": ("uf", "μF", "mfd", "microfarad"),
    "°C": ("c", "degc", "deg c", "celsius"),
    "°F": ("f", "degf", "deg f", "fahrenheit"),
    "%": ("per cent", "percent", "pct"),
    "/s": ("per second", "1/s", "sparks/s"),
    "psi gauge": ("psig",),
    "psi abs": ("psia", "psi absolute"),
    "kPa gauge": ("kpag",),
    "kPa abs": ("kpaa", "kpa absolute"),
    "bar gauge": ("barg",),
    "bar abs": ("bara", "bar absolute"),
    "inHg abs": ("inhg absolute",),
    "inHg": ("in hg", "in. hg", "inches of mercury", '"hg', "inches hg"),
    "inHg vac": ("inhg vacuum", "in hg vac", "in hg vacuum"),
    "kPa vac": ("kpa vacuum",),
}  # fmt: skip


def _table():
    by_text = {unit.text: unit for unit in _ALL}
    table = dict(by_text)
    for text, others in _ALSO.items():
        for other in others:
            table[other] = by_text[text]
    # Lower case serves as a second chance, but only where it is not ambiguous (mΩ is not MΩ).
    folded = {}
    for text, unit in table.items():
        if text[0:1] == "M":
            continue
        folded.setdefault(text.lower(), set()).add(unit)
    return table, {text: found.pop() for text, found in folded.items() if len(found) == 1}


_EXACT, _FOLDED = _table()
_OF_KIND = {(unit.kind, unit.factor, unit.offset): unit for unit in _ALL if unit.kind in FAMILY}


@lru_cache(maxsize=1024)  # the same few spellings come again and again
def find(text: str) -> Unit | None:
    """The unit a trainee wrote, or None.

    Spaces are free; capitals count only where they decide (mA, MA).
    """
    text = " ".join(text.split())
    for form in (text, text.rstrip(".")):
        unit = _EXACT.get(form) or _FOLDED.get(form.lower()) or _FOLDED.get(form.lower().replace(" ", ""))
        if unit is not None:
            return unit
    return None


def unit(text: str) -> Unit:
    """A unit of ours by its own text.

    Raises
    ------
    Unreadable
        Not in the table.
    """
    known = find(text)
    if known is None:
        raise Unreadable(f"“{text}” is not a unit of this workbook.")
    return known


def agrees(typed: Unit, asked: Unit) -> bool:
    """True if a typed unit is of the asked kind, of its family, or of a sister that converts."""
    return (
        typed.kind == asked.kind
        or typed.kind == FAMILY.get(asked.kind)
        or FAMILY.get(typed.kind) == asked.kind
        or (typed.kind, asked.kind) in _SISTERS
    )


def convert(number: float, typed: Unit, asked: Unit) -> float:
    """A number in one unit as a number in another.

    Raises
    ------
    Unreadable
        The kinds do not agree: 3 ms is no angle.
    """
    if typed.kind == asked.kind:
        return number if typed == asked else (number * typed.factor + typed.offset - asked.offset) / asked.factor
    if not agrees(typed, asked):
        raise Unreadable(f"{typed.text} measures {typed.kind}; {asked.text or 'a plain number'} is asked.")
    base = number * typed.factor + typed.offset
    base *= _SISTERS.get((typed.kind, asked.kind), 1.0)
    return (base - asked.offset) / asked.factor


def same_kind(typed: Unit, asked: Unit) -> bool:
    """True if a unit measures just what another does; degrees of crank and of distributor do not."""
    return typed.kind == asked.kind or typed.kind == FAMILY.get(asked.kind)


def of_kind(typed: Unit, asked: Unit) -> Unit:
    """A unit of a family as that of the asked kind: "psi" as "psi gauge" where gauge pressure is asked; others as they are."""
    if FAMILY.get(asked.kind) != typed.kind:
        return typed
    return _OF_KIND.get((asked.kind, typed.factor, typed.offset), typed)


def line(typed: Unit, asked: Unit) -> tuple[float, float]:
    """(factor, shift) of the straight line on which `convert` lies, for two units of one kind."""
    return typed.factor / asked.factor, (typed.offset - asked.offset) / asked.factor


def grouped(number: float) -> str:
    """A whole number as a text prints it: 9900, and from 10 000 upwards with a narrow no-break space."""
    return f"{number:,.0f}".replace(",", "\u202f") if abs(number) >= GROUPED_FROM else f"{number:.0f}"


def signed(text: str) -> str:
    """A number's text with the minus of print, which no line parts from its figure: −2.4 for -2.4."""
    return text.replace("-", "−")


def scale(typed: Unit, asked: Unit) -> float:
    """Size of one unit step of `typed`, in `asked`; offsets do not matter for a width."""
    return typed.factor * _SISTERS.get((typed.kind, asked.kind), 1.0) / asked.factor
