"""Each data file is as its entry in datasets/README.md says."""

import csv
import re
from pathlib import Path

import pytest

from grader.vehicle.spec import COLUMNS, vehicles

FOLDER = Path(__file__).parent.parent / "datasets"
ENTRIES = dict(
    re.findall(r"^\*\*([\w/]+\.\w+)\*\* — (\d+) rows", (FOLDER / "README.md").read_text(encoding="utf-8"), re.M)
)
COMPUTED = "likelihoods"  # tables of arrays, one file for each vehicle; tests/bench/test_plan.py holds them to the cars
FILES = sorted(
    str(path.relative_to(FOLDER))
    for path in FOLDER.rglob("*")
    if path.is_file() and path.name != "README.md" and path.parent.name != COMPUTED
)


def test_every_file_has_an_entry_and_every_entry_a_file():
    assert sorted(ENTRIES) == FILES


def test_every_vehicle_has_its_computed_table():
    assert {path.name for path in (FOLDER / COMPUTED).iterdir()} == {f"{key}.npz" for key in vehicles()}


@pytest.mark.parametrize("name", FILES)
def test_rows_are_counted_and_every_row_is_as_wide_as_the_header(name):
    with (FOLDER / name).open(encoding="utf-8", newline="") as stream:
        table = list(csv.reader(stream, strict=True))
    assert len(table) - 1 == int(ENTRIES[name])
    assert {len(row) for row in table} == {len(table[0])}
    assert all(column and column == column.strip() for column in table[0])


def test_engines_lie_inside_the_ranges_of_common_practice():
    """Dwell, gap and advance by the ranges of the trade; nothing here is a maker's figure."""
    dwell = {4: (45, 60), 6: (34, 42), 8: (26, 33)}
    for engine in vehicles().values():
        assert dwell[engine.cylinders][0] <= engine.dwell_deg <= dwell[engine.cylinders][1]
        assert 0.014 <= engine.gap_in <= 0.025
        assert 0 <= engine.initial_deg <= 12 and 450 <= engine.idle_rpm <= 850
        assert 16 <= 2 * engine.centrifugal[-1][1] <= 28 and 1800 <= 2 * engine.centrifugal[-1][0] <= 4000
        assert 4 <= engine.vacuum[0][0] <= 8 and 12 <= engine.vacuum[-1][0] <= 16
        assert 10 <= 2 * engine.vacuum[-1][1] <= 24
        assert 100 <= engine.pulley_mm <= 210 and engine.battery_v in (6, 12)


def test_engines_show_the_variety_a_workshop_meets():
    found = list(vehicles().values())
    assert len(found) >= 6 and len(COLUMNS) == 17
    assert {engine.cylinders for engine in found} == {4, 6, 8}
    assert {engine.battery_v for engine in found} == {6, 12} and {engine.earth for engine in found} == {
        "negative",
        "positive",
    }
    assert {"boat", "tractor"} <= {engine.use for engine in found}
    assert {engine.rotor for engine in found} == {"clockwise", "anticlockwise"}
