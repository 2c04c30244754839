"""Late work, by both published bases and over the nights when clocks change."""

from dataclasses import replace
from datetime import timedelta

import pytest

from grader import clock
from grader.course.work import late


@pytest.fixture
def settings(empty_term):
    return empty_term.settings


def days(settings, due, received):
    return late.late_days(settings, clock.parse(due, settings.zone), clock.parse(received, settings.zone))


@pytest.mark.parametrize(
    ("received", "expected"),
    [
        ("2026-03-10 16:59", 0),
        ("2026-03-10 17:00", 0),
        ("2026-03-10 17:00:01", 1),  # a minute past is day 1 (University of Warwick)
        ("2026-03-11 17:00", 1),
        ("2026-03-11 17:00:01", 2),
        ("2026-03-17 17:00", 7),
    ],
)
def test_days(settings, received, expected):
    assert days(settings, "2026-03-10 17:00", received) == expected


def test_a_day_lasts_until_the_same_time_on_the_wall(settings):
    """On 29 March 2026 the clock in Lisbon goes forward, on 25 October back."""
    assert days(settings, "2026-03-28 23:59", "2026-03-29 23:59") == 1
    assert days(settings, "2026-03-28 23:59", "2026-03-29 23:59:01") == 2
    assert days(settings, "2026-10-24 12:00", "2026-10-25 12:00") == 1
    assert days(settings, "2026-10-24 12:00", "2026-10-25 12:00:01") == 2


def test_grace_and_no_due_time(settings):
    kind = replace(settings, late_grace_minutes=60)
    assert days(kind, "2026-03-10 17:00", "2026-03-10 18:00") == 0
    assert days(kind, "2026-03-10 17:00", "2026-03-10 18:00:01") == 1
    assert late.late_days(settings, None, clock.now() + timedelta(days=900)) == 0


def test_share_of_the_mark_awarded(settings):
    """CPEE PC003: 65, two days at 10 % of the mark -> 52. Sheffield English: 70, four days at 5 % -> 56."""
    assert 6500 - late.penalty(replace(settings, late_percent_per_day=10), 6500, 10000, 2) == 5200
    assert 7000 - late.penalty(replace(settings, late_percent_per_day=5), 7000, 10000, 4) == 5600


def test_share_of_the_maximum(settings):
    """Griffith: 5 % of the item's weight for each day, none after seven."""
    griffith = replace(settings, late_basis="maximum", late_percent_per_day=5, late_days_until_nothing=7)
    assert late.penalty(griffith, 7000, 10000, 2) == 1000
    assert late.penalty(griffith, 7000, 10000, 7) == 3500
    assert late.penalty(griffith, 7000, 10000, 8) == 7000
    assert late.penalty(griffith, 300, 10000, 2) == 300  # never below zero


def test_no_penalty(settings):
    assert late.penalty(replace(settings, late_percent_per_day=0), 6500, 10000, 99) == 0
    assert late.penalty(settings, 6500, 10000, 0) == 0
