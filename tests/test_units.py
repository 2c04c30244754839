"""The units table against a library of units, and the kinds that it keeps apart."""

import pint
import pytest

from grader import units
from grader.errors import Unreadable

# ours -> what the library calls it; the base of each kind is on the right
PAIRS = {
    "mm": ("mm", "mm"), "cm": ("cm", "mm"), "m": ("m", "mm"), "in": ("inch", "mm"), "ft": ("foot", "mm"),
    "s": ("s", "ms"), "ms": ("ms", "ms"), "µs": ("us", "ms"), "min": ("minute", "ms"),
    "psi": ("psi", "kPa"), "inHg": ("inHg", "kPa"), "mmHg": ("mmHg", "kPa"), "bar": ("bar", "kPa"), "mbar": ("mbar", "kPa"),
    "kV": ("kV", "V"), "mA": ("mA", "A"), "kΩ": ("kohm", "ohm"), "MΩ": ("Mohm", "ohm"), "J": ("J", "mJ"),
    "nF": ("nF", "uF"), "pF": ("pF", "uF"), "H": ("H", "mH"), "oz": ("force_ounce", "N"),
    "°F": ("degF", "degC"), "K": ("kelvin", "degC"),
}  # fmt: skip


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@pytest.mark.parametrize("ours", PAIRS)
def test_factor_agrees_with_the_library(registry, ours):
    """Source: pint, which takes its factors from published definitions."""
    theirs, base = PAIRS[ours]
    mine = units.unit(ours)
    for number in (1.0, 12.5, 300.0):
        expected = registry.Quantity(number, theirs).to(base).magnitude
        assert mine.factor * number + mine.offset == pytest.approx(expected, rel=2e-6)


def test_every_unit_has_one_meaning_by_every_spelling():
    for text, found in {**units._EXACT, **units._FOLDED}.items():
        assert units.find(text) in (found, units._EXACT.get(text)), text


@pytest.mark.parametrize(
    ("typed", "asked"), [("psi abs", "psi gauge"), ("inHg vac", "inHg abs"), ("ms", "° crank"), ("° crank", "rev/min")]
)
def test_kinds_that_only_look_alike_stay_apart(typed, asked):
    with pytest.raises(Unreadable, match="is asked"):
        units.convert(1.0, units.unit(typed), units.unit(asked))


def test_crank_and_distributor_convert_only_when_stated():
    crank, dist, bare = units.unit("° crank"), units.unit("° dist"), units.unit("°")
    assert units.convert(8, dist, crank) == 16
    assert units.convert(16, crank, dist) == 8
    assert units.convert(8, bare, crank) == 8 and units.convert(8, bare, dist) == 8


def test_capitals_decide_where_they_must():
    assert units.find("MΩ").factor == 1e6
    assert units.find("mΩ") is None or units.find("mΩ").factor != 1e6
    assert units.find("RPM") == units.find("rpm") == units.unit("rev/min")
