"""What an owner says: true for the most part, never all of it, now and then wrong."""

from collections import Counter

from grader.bench.draws import Draws
from grader.bench.instruments import read
from grader.bench.owner import FALSE, MOST_KMILES, SAID, complaint_words, complaints, listen, worn_to_complaint
from grader.bench.signs import Examined
from grader.vehicle.faults import LOW
from tests.bench.cars import FOUR, V8, examined

KEY = b"an owner of the tests"


def test_a_true_complaint_is_always_heard():
    """Whoever brings his car says at least one thing that is so."""
    true = ("hard_start_cold", "misfire_load", "sluggish")
    for count in range(500):
        assert set(listen(true, Draws(KEY, "true", count))) & set(true)


def test_he_leaves_some_out_and_invents_few():
    """Two true complaints in three are named, and of the others one in twenty-five."""
    true, times = ("hard_start_cold", "misfire_load", "sluggish"), 1500
    heard = Counter(key for count in range(times) for key in listen(true, Draws(KEY, "share", count)))
    for key in complaint_words():
        share = heard[key] / times
        if key in true:
            assert abs(share - SAID) < 0.06, key  # a little more, for those who would have said nothing
        else:
            assert abs(share - FALSE) < 0.025, key


def test_a_session_hears_the_same_again():
    """The same car, the same session, the same count: the same words, so that a log replays."""
    true = ("pings", "thirsty")
    assert listen(true, Draws(KEY, "ask", 1)) == listen(true, Draws(KEY, "ask", 1))
    heard = {tuple(listen(true, Draws(KEY, "ask", count))) for count in range(40)}
    assert len(heard) > 3


def test_the_sound_car_has_no_complaint_and_history_comes_with_its_fault():
    """No complaint without a cause; burnt points of late speak of the ballast."""
    assert complaints(examined("none", V8)) == ()
    assert complaints(examined("ballast_shorted", V8), ("ballast_shorted",)) == ("points_again",)
    assert complaints(examined("ballast_shorted", V8)) == ()


def test_cold_damp_and_hot_starts_are_told_apart():
    """He names the damp where only damp stops it, the heat where only heat does."""
    assert complaints(examined("leads_damp", FOUR))[:1] == ("hard_start_damp",)
    assert complaints(examined("coil_hot", FOUR))[:1] == ("hard_start_hot",)
    assert complaints(examined("battery_weak", FOUR))[:1] == ("hard_start_cold",)


def test_plugs_run_until_a_slight_fault_is_felt():
    """Slightly weak, a coil is not felt on fresh plugs; some thousand miles on it is."""
    start = examined("coil_weak", V8, LOW).car
    assert complaints(Examined(start)) == ()
    worn = worn_to_complaint(start)
    assert start.kmiles < worn.kmiles <= MOST_KMILES and complaints(Examined(worn))
    sound = examined("none", V8).car
    assert worn_to_complaint(sound, most=6.0).kmiles == 6.0


def test_asking_is_a_reading():
    """The owner is asked like an instrument is read, three minutes each."""
    reading = read("ask", examined("leads_swapped", V8), Draws(KEY, "ask", 1))
    assert reading.minutes == 3 and set(reading.results) <= set(complaint_words()) and len(reading.sentences) >= 1
