"""Figures of one vehicle must fit together: each rule with a case on either side."""

import dataclasses

import pytest

from grader.vehicle import plausible
from grader.vehicle.own import PLUGGED, OwnVehicle, from_content
from grader.vehicle.spec import vehicle, vehicles


def judged(**known):
    return [(said.name, said.fault) for said in plausible.judge(known)]


def known_of(spec):
    return {
        "cylinders": spec.cylinders, "layout": spec.layout, "firing_order": spec.firing_order, "dwell_deg": spec.dwell_deg,
        "gap_mm": 25.4 * spec.gap_in, "idle_rpm": spec.idle_rpm, "line": PLUGGED, "port": spec.port,
        "centrifugal": spec.centrifugal, "vacuum": spec.vacuum,
    }  # fmt: skip


@pytest.mark.parametrize("key", vehicles())
def test_teaching_vehicles_pass_without_a_word(key):
    assert plausible.judge(known_of(vehicle(key))) == []


@pytest.mark.parametrize(
    ("known", "found"),
    [
        ({"firing_order": (1, 3, 3, 2)}, ("firing_order", True)),
        ({"firing_order": (1, 3, 4, 2), "cylinders": 6}, ("firing_order", True)),
        ({"firing_order": (1, 3, 2, 4), "layout": "inline"}, ("firing_order", True)),
        ({"firing_order": (1, 5, 3, 6, 4, 2), "layout": "inline"}, ("firing_order", True)),
        ({"firing_order": (1, 2, 3, 5, 4, 6, 7, 8), "layout": "halves"}, ("firing_order", False)),
        ({"cylinders": 8, "dwell_deg": 45.0}, ("dwell", True)),
        ({"cylinders": 8, "dwell_deg": 36.0}, ("dwell", False)),
        ({"cylinders": 4, "dwell_deg": 50.0, "open_deg": 42.0}, ("open", True)),
        ({"cylinders": 4, "dwell_deg": 40.0, "gap_mm": 0.30}, ("gap", True)),
        ({"cylinders": 8, "dwell_deg": 33.0, "gap_mm": 0.64}, ("gap", True)),
        ({"gap_mm": 0.30}, ("gap", False)),
        ({"centrifugal": ((500, 0),)}, ("centrifugal", True)),
        ({"centrifugal": ((500, 0), (400, 5), (1000, 10))}, ("centrifugal", True)),
        ({"centrifugal": ((500, 0), (800, 9), (1000, 8))}, ("centrifugal", True)),
        ({"centrifugal": ((500, 1), (1000, 10))}, ("centrifugal", True)),
        ({"centrifugal": ((500, 0), (1000, 0))}, ("centrifugal", True)),
        ({"centrifugal": ((500, 0), (7000, 10))}, ("centrifugal", True)),
        ({"centrifugal": ((500, 0), (1000, 31))}, ("centrifugal", True)),
        ({"centrifugal": ((500, 0), (1000, 5))}, ("centrifugal", False)),
        ({"vacuum": ((5, 0), (12, 2))}, ("vacuum", False)),
        ({"idle_rpm": 1200, "centrifugal": ((500, 0), (1000, 10))}, ("at_speed", True)),
        ({"line": "connected", "port": "manifold"}, ("vacuum_line", False)),
    ],
)
def test_what_does_not_fit_is_named(known, found):
    assert found in judged(**known)


def test_open_angle_and_dwell_share_the_firing_interval():
    for cylinders, dwell, opened in ((4, 50, 40), (6, 37, 23), (8, 30, 15)):
        assert judged(cylinders=cylinders, dwell_deg=float(dwell), open_deg=float(opened)) == []


def test_usual_orders_of_v_engines_pass():
    """Handbook of the project: odd and even banks, and halves (practice)."""
    for layout, order in (("odd-even", (1, 8, 4, 3, 6, 5, 7, 2)), ("halves", (1, 5, 4, 2, 6, 3, 7, 8)),
                          ("halves", (1, 3, 7, 2, 6, 5, 4, 8)), ("odd-even", (1, 2, 3, 4, 5, 6))):  # fmt: skip
        assert judged(cylinders=len(order), layout=layout, firing_order=order) == []


def test_nothing_known_nothing_said():
    assert plausible.judge({}) == []


def test_a_vehicle_survives_the_records_and_every_change_shows_in_the_digest():
    own = OwnVehicle(dataclasses.replace(vehicle("tolmere-six"), key="mine"), PLUGGED, "Manual", "p. 3", "A. B.")
    assert from_content(own.content) == own
    changes = [{"line": "connected"}, {"manual": "Other"}, {"page": "4"}, {"entered_by": "C."},
               {"vehicle": dataclasses.replace(own.vehicle, dwell_deg=37.5)}]  # fmt: skip
    assert len({own.digest, *(dataclasses.replace(own, **change).digest for change in changes)}) == 6
