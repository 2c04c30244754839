"""The instruments of the bench: each turns the state of a car into a reading, with its resolution and scatter.

A figure is the true one with the instrument's scatter on it, rounded as its scale is read;
the word for it follows from the figure that was read. A look has a chance to miss what is
there; it never shows what is not. Scatter and misses are drawn from the session's own words
by instrument and count, so that a log replays.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import isnan
from types import MappingProxyType
from typing import Any, NoReturn

import numpy as np

from grader import tables
from grader.bench import actions
from grader.bench.draws import STEADY, Draws, Steady
from grader.bench.owner import complaints, listen
from grader.bench.signs import UNREADABLE, Examined, signs
from grader.errors import BadTable, Refused, Stopped, Unknown
from grader.vehicle.car import COLD, HOT_SOAKED, WARM, Car, Surroundings

COLUMNS = (
    "key",
    "title",
    "reads",
    "condition",
    "engine",
    "minutes",
    "minutes_per_cylinder",
    "again",
    "again_per_cylinder",
    "hit",
    "risk",
    "note",
)
WORD_COLUMNS = ("sign", "result", "words")
UNSAFE_COLUMNS = ("key", "title", "at", "safely", "reason")
ENGINE = ("any", "off", "key", "crank", "turn", "run")  # what the engine must do for an instrument
ASK, SWAP = "ask", "swap"
DRIVEN_MINUTES = 15.0
UNFLEXED_HIT = 0.5
_GAP_SD_MM = 0.02
SEEN_BY_GAUGE = ("worn_all", "narrow_all")  # looks of the plugs that the gap gauge settles


@dataclass(frozen=True, slots=True)
class Instrument:
    """One row of datasets/instruments.csv.

    minutes: (fixed, for each cylinder) with access; again: the same while still connected.
    engine: what the engine must do. hit: chance that a look sees what is there. signs: what it reads.
    """

    key: str
    title: str
    reads: str
    condition: str
    engine: str
    minutes: tuple[float, float]
    again: tuple[float, float]
    hit: float
    risk: str
    note: str
    signs: tuple[str, ...]

    def minutes_on(self, car: Car, again: bool = False) -> float:
        """Minutes that a reading takes on a car."""
        fixed, each = self.again if again else self.minutes
        return fixed + each * car.cylinders


@dataclass(frozen=True, slots=True)
class Bay:
    """How the car stands when a reading is taken: engine cold, warm or hot-soaked; turning or not; key on or off."""

    engine: str = WARM
    turning: bool = False
    key_on: bool = False


@dataclass(frozen=True, slots=True)
class How:
    """How a reading is taken.

    flexed: leads bent while the ohmmeter is on them. again: the instrument is still connected.
    part: action whose known-good part is tried; at: which lead or plug it is. told: complaints on the job card.
    """

    flexed: bool = True
    again: bool = False
    part: str = ""
    at: int | str = 0


@dataclass(frozen=True, slots=True)
class Figure:
    """A number that was read. sign and label say of what; value is rounded as the scale is read."""

    sign: str
    label: str
    value: float
    unit: str

    @property
    def text(self) -> str:
        """As a mechanic notes it."""
        return f"{self.label + ' ' if self.label else ''}{self.value:g} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class Reading:
    """What one use of an instrument gave.

    results: sign to word of the limits. figures: the numbers read. places: sign to the numbers
    of the cylinders where a look saw it. sentences: the whole in a mechanic's words.
    """

    instrument: str
    results: MappingProxyType
    figures: tuple[Figure, ...]
    places: MappingProxyType
    sentences: tuple[str, ...]
    minutes: float


@cache
def instruments() -> Mapping[str, Instrument]:
    """Every instrument by its key.

    Raises
    ------
    BadTable
        A row that the bench cannot use.
    """
    read_by = {}
    for name, sign in signs().items():
        read_by.setdefault(sign.instrument, []).append(name)
    rows = {row["key"]: _instrument(row, read_by) for row in tables.rows("instruments.csv", COLUMNS)}
    unknown = set(read_by) - set(rows) - {""}
    if unknown:
        raise BadTable(f"datasets/readings.csv names instruments without a row: {', '.join(sorted(unknown))}.")
    return MappingProxyType(rows)


def instrument(key: str) -> Instrument:
    """One instrument by its key.

    Raises
    ------
    Unknown
        No such key.
    """
    try:
        return instruments()[key]
    except KeyError:
        raise Unknown(f"No instrument {key!r}; see datasets/instruments.csv.") from None


def _instrument(row, read_by):
    if row["engine"] not in ENGINE:
        raise BadTable(f"datasets/instruments.csv, {row['key']}: engine is {row['engine']!r}; allowed is {ENGINE}.")
    return Instrument(
        key=row["key"],
        title=row["title"],
        reads=row["reads"],
        condition=row["condition"],
        engine=row["engine"],
        minutes=(float(row["minutes"]), float(row["minutes_per_cylinder"])),
        again=(float(row["again"]), float(row["again_per_cylinder"])),
        hit=float(row["hit"]),
        risk=row["risk"],
        note=row["note"],
        signs=tuple(read_by.get(row["key"], ())),
    )


@cache
def _phrases():
    return {(row["sign"], row["result"]): row["words"] for row in tables.rows("reading_words.csv", WORD_COLUMNS)}


def phrase(sign: str, result: str) -> str:
    """A mechanic's words for a result.

    Raises
    ------
    Unknown
        No such sign or result.
    """
    if result == UNREADABLE:
        return f"{signs()[sign].title.lower()}: cannot be read"
    try:
        return _phrases()[sign, result]
    except KeyError:
        raise Unknown(f"No words for result {result!r} of {sign!r}; see datasets/reading_words.csv.") from None


@cache
def unsafe_acts() -> Mapping[str, Mapping[str, Any]]:
    """The acts that are stopped, by key: dictionaries of title, at (instruments and actions), how it is done safely, and reason."""
    return MappingProxyType(
        {row["key"]: {**row, "at": tuple(row["at"].split())} for row in tables.rows("unsafe_acts.csv", UNSAFE_COLUMNS)}
    )


def stop(key: str) -> NoReturn:
    """Stop an unsafe act.

    Raises
    ------
    Stopped
        Always: the reason is its message; no minute is counted.
    Unknown
        No such act.
    """
    if key not in unsafe_acts():
        raise Unknown(f"No unsafe act {key!r}; see datasets/unsafe_acts.csv.")
    act = unsafe_acts()[key]
    raise Stopped(f"Stopped: {act['title'][0].lower()}{act['title'][1:]}. {act['reason']}")


def refusal(key: str, x: Examined, bay: Bay) -> str:
    """Why an instrument cannot be used as the car stands: one sentence, or nothing.

    Parameters
    ----------
    key : str
    x : Examined
    bay : Bay

    Returns
    -------
    str
    """
    tool = instrument(key)
    if tool.engine in ("off", "key", "crank") and bay.turning:
        return f"{tool.title}: the engine turns; stop it first."
    if tool.engine == "off" and bay.key_on:
        return f"{tool.title}: the key is on; turn it off first."
    if tool.engine == "run" and not x.idles:
        return f"{tool.title}: the engine must run for it, and this one does not."
    if tool.engine in ("run", "turn") and x.idles and bay.engine == COLD:
        return f"{tool.title}: the engine is cold and on its choke; let it warm up first."
    if key in ("plug_look", "plug_tester", "compression") and bay.engine == HOT_SOAKED:
        return f"{tool.title}: the head is too hot to touch; let it cool first."
    return ""


def read(
    key: str,
    car: Car | Examined,
    draws: Draws | Steady = STEADY,
    bay: Bay = Bay(),
    how: How = How(),
    surroundings: Surroundings | None = None,
) -> Reading:
    """Use an instrument on a car.

    Parameters
    ----------
    key : str
        Of the instrument.
    car : Car or Examined
    draws : Draws or STEADY
        Of this instrument and count; STEADY reads without scatter and misses nothing.
    bay : Bay
    how : How
    surroundings : Surroundings, optional

    Returns
    -------
    Reading

    Raises
    ------
    Refused
        The instrument cannot be used as the car stands; one sentence says why.
    Unknown
        No such instrument.
    """
    x = car if isinstance(car, Examined) else Examined(car) if surroundings is None else Examined(car, surroundings)
    no = refusal(key, x, bay)
    if no:
        raise Refused(no)
    if key == ASK:
        return _ask(x, draws)
    if key == SWAP:
        return _swap(x, how)
    tool = instrument(key)
    hit = UNFLEXED_HIT if key == "lead_ohms" and not how.flexed else tool.hit
    results, figures, places = {}, [], {}
    for name in tool.signs:
        sign = signs()[name]
        seen = hit >= 1 or draws.chance(hit)
        if sign.is_look:
            results[name], figures_here, places[name] = _look(sign, x, seen, draws)
        else:
            results[name], figures_here = _measure(sign, x, seen, draws)
        figures += figures_here
    sentences = tuple(_sentence(name, results[name], figures, places.get(name, ())) for name in tool.signs)
    return Reading(
        instrument=key,
        results=MappingProxyType(results),
        figures=tuple(figures),
        places=MappingProxyType({name: where for name, where in places.items() if where}),
        sentences=sentences,
        minutes=tool.minutes_on(x.car, how.again),
    )


def _look(sign, x, seen, draws):
    word, figures, where = sign.of(x), [], ()
    if sign.name == "plugs":
        gaps = [_rounded(gap + draws.normal(_GAP_SD_MM), sign.resolution) for gap in x.car.plug_gap_mm]
        figures = [Figure("plugs", f"number {place}", gap, "mm") for place, gap in enumerate(gaps, 1)]
        seen = seen or word in SEEN_BY_GAUGE
    if not seen and word != UNREADABLE:
        return sign.results[0], figures, where
    return word, figures, sign.places(x, word)


def _measure(sign, x, seen, draws):
    if not seen:
        true, x = x, x.as_sound  # what should have been noticed is not: it reads as on the sound car
        if sign.figures(true) is None:
            return UNREADABLE, []
    figures = sign.figures(x)
    if figures is None:
        return UNREADABLE, []
    read = np.array([_scattered(value, index, sign, draws) for index, value in enumerate(figures)])
    labels = sign.labels(x.car)
    told = [
        Figure(sign.name, label, _rounded(value, sign.resolution), sign.unit)
        for index, (label, value) in enumerate(zip(labels, read, strict=False))
        if label is not None and not isnan(value) and (value >= 0 or sign.may_be_negative(index))
    ]  # what is below nothing is no figure on a scale: a shorted condenser has a word and no capacity
    return sign.word(read, x), told


def _scattered(value, index, sign, draws):
    sd = sign.sds[min(index, len(sign.sds) - 1)] + sign.share * abs(value)
    read = value + draws.normal(sd) if sd else value
    return read if sign.may_be_negative(index) or value < 0 else max(read, 0.0)


def _rounded(value, resolution):
    return round(round(value / resolution) * resolution, 6) if resolution else value


def _sentence(name, result, figures, places):
    sign, told = signs()[name], [figure.text for figure in figures if figure.sign == name]
    words = phrase(name, result)
    where = f" (number {' and '.join(map(str, places))})" if places else ""
    if told:
        return f"{sign.title} {', '.join(told)}: {words}{where}."
    return f"{words[0].upper()}{words[1:]}{where}."


def _ask(x, draws):
    said = listen(complaints(x), draws)
    return Reading(
        instrument=ASK,
        results=MappingProxyType(dict.fromkeys(said, "present")),
        figures=(),
        places=MappingProxyType({}),
        sentences=tuple(said.values()),
        minutes=instrument(ASK).minutes_on(x.car),
    )


def _swap(x, how):
    if not how.part:
        raise Refused("Say which part is put in for a trial.")
    before = complaints(x)
    with_part = actions.do(x.car, how.part, STEADY, actions.How(at=how.at, marked=True))
    gone = not complaints(Examined(with_part, x.surroundings))
    part = actions.action(how.part)
    driven = any(word in before for word in _ON_THE_ROAD)
    return Reading(
        instrument=SWAP,
        results=MappingProxyType({how.part: "cured" if gone else "not"}),
        figures=(),
        places=MappingProxyType({}),
        sentences=(f"{part.title}, known good, for a trial: the complaint is {'gone' if gone else 'still there'}.",),
        minutes=instrument(SWAP).minutes_on(x.car) + part.minutes_on(x.car) + DRIVEN_MINUTES * driven,
    )


_ON_THE_ROAD = (
    "misfire_load",
    "misfire_speed",
    "cuts_out_cruise",
    "misfire_hot",
    "misfire_damp",
    "sluggish",
    "thirsty",
    "pings",
    "spits_back",
)
