"""Rich and lean: what the carburettor gives, what spoils it, what it costs."""

import numpy as np
import pytest

from grader.errors import OutOfRange
from grader.reference.timing import mixture


def test_lean_at_cruise_and_rich_uphill():
    cruise, uphill = mixture.road_air_ratio(np.array([0.6, 0.97]))
    assert cruise > 1.0 > uphill


def test_a_shut_choke_makes_rich_and_a_leak_makes_lean():
    assert mixture.disturbed_air_ratio(0.95, choke=1.0) == pytest.approx(0.95 * 0.65)
    assert mixture.disturbed_air_ratio(0.95, leak_share=0.2) == pytest.approx(0.95 * 1.2)


def test_a_starved_engine_idles_as_ever_and_goes_lean_at_speed_under_load():
    idle, hill, speed = mixture.disturbed_air_ratio(
        1.0, starved=0.3, load=np.array([0.3, 0.97, 0.92]), speed_share=np.array([0.15, 0.35, 0.95])
    )
    assert idle == 1.0 and idle < hill < speed == pytest.approx(1.0 / 0.7)


@pytest.mark.parametrize("cylinders", [4, 6, 8])
def test_a_leak_near_one_cylinder_leaves_the_mean_as_it_is(cylinders):
    shares = mixture.leak_shares(cylinders, 2)
    assert shares[1] == 2.0 and shares.mean() == pytest.approx(1.0)
    assert mixture.leak_shares(cylinders, 0).tolist() == [1.0] * cylinders


def test_most_work_is_had_a_little_rich():
    ratios = np.linspace(0.6, 1.3, 71)
    work = mixture.mixture_work_share(ratios)
    assert ratios[np.argmax(work)] == pytest.approx(0.9) and work.max() == 1.0


def test_fuel_and_air_by_weight():
    assert mixture.fuel_g_per_s(14.7, 1.0) == pytest.approx(1.0)
    assert mixture.fuel_g_per_s(14.7, 0.8) == pytest.approx(1.25)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: mixture.road_air_ratio(1.2), "load"),
        (lambda: mixture.disturbed_air_ratio(1.0, choke=1.5), "choke"),
        (lambda: mixture.leak_shares(4, 5), "near the leak"),
        (lambda: mixture.fuel_g_per_s(-1.0, 1.0), "air flow"),
        (lambda: mixture.mixture_work_share(0.1), "air ratio"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(OutOfRange, match=says):
        call()
