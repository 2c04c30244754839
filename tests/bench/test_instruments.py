"""An instrument reads what is there, with its own scatter, and refuses what cannot or must not be done."""

import csv
import hmac
from collections import Counter
from statistics import mean, pstdev

import pytest
from scipy.special import ndtri

from grader import paths
from grader.bench import actions
from grader.bench.draws import STEADY, Draws
from grader.bench.instruments import (
    SWAP,
    Bay,
    How,
    instruments,
    phrase,
    read,
    refusal,
    stop,
    unsafe_acts,
)
from grader.bench.signs import UNREADABLE, sign, signs
from grader.errors import Refused, Stopped, Unknown
from grader.vehicle.car import COLD, HOT_SOAKED
from grader.vehicle.faults import THIRD, cylinder_at, plant
from grader.vehicle.state import sound_car
from tests.bench.cars import ENGINES, FOUR, SIX, V8, examined

KEY = b"a reading of the tests"


def test_a_log_replays_bit_by_bit():
    """The same session, instrument and count give the same reading; another count another."""
    x = examined("coil_weak", V8)
    for key in instruments():
        if key != SWAP:
            again = [read(key, x, Draws(KEY, key, 1)) for _ in range(2)]
            assert again[0] == again[1], key
    voltages = {read("coil_gap", x, Draws(KEY, "coil_gap", count)).figures[0].value for count in range(20)}
    assert len(voltages) > 5


def test_words_of_a_session_are_anybodys_to_draw():
    """A session's chance is HMAC-SHA-512 (RFC 2104, RFC 6234) over instrument, count and block: checked with hmac."""
    draws, key = Draws(KEY, "dwell", 7), KEY
    for block in range(2):
        names = b"".join(len(name).to_bytes(4, "big") + name for name in (b"dwell", b"7", str(block).encode()))
        digest = hmac.new(key, names, "sha512").digest()
        for place in range(8):
            assert draws.word() == int.from_bytes(digest[8 * place : 8 * place + 8], "big")
    draws = Draws(KEY, "dwell", 7)
    first = Draws(KEY, "dwell", 7).word()
    assert draws.normal() == pytest.approx(float(ndtri((first + 0.5) / 2**64)), abs=1e-9)


def test_scatter_is_as_wide_as_the_table_says_and_about_the_truth():
    """Read a hundred times, dwell scatters by its 0.7 degrees about the true figure."""
    x = examined("gap_wide", FOUR)
    for tool, name, index in (("dwell", "dwell", 0), ("crank_volts", "crank_v", 0), ("condenser", "condenser", 0)):
        truth = float(sign(name).figures(x)[index])
        sd = sign(name).sds[0] + sign(name).share * truth
        readings = []
        for count in range(150):
            reading = read(tool, x, Draws(KEY, tool, count))
            readings.append(next(figure.value for figure in reading.figures if figure.sign == name))
        width = (sd**2 + sign(name).resolution ** 2 / 12) ** 0.5
        assert mean(readings) == pytest.approx(truth, abs=4 * width / 150**0.5), name
        assert pstdev(readings) == pytest.approx(width, rel=0.25), name


def test_figures_are_rounded_as_the_scale_is_read():
    """Dwell to the half degree, the coil to half a kilovolt, idle to 25 rev/min."""
    x = examined("none", SIX)
    for tool in instruments():
        if tool in (SWAP, "ask"):
            continue
        for figure in read(tool, x, Draws(KEY, tool, 3)).figures:
            steps = figure.value / sign(figure.sign).resolution
            assert steps == pytest.approx(round(steps), abs=1e-6), figure


@pytest.mark.campaign
def test_a_sound_car_is_seldom_called_faulty():
    """Scatter alone seldom condemns a good part; a fine gap with 5,000 miles on it lies near its limit, and is read again."""
    for engine in ENGINES:
        x = examined("none", engine)
        for tool, row in instruments().items():
            if tool in (SWAP, "ask"):
                continue
            sound = {name: signs()[name].results[0] for name in row.signs}
            good = sum(dict(read(tool, x, Draws(KEY, engine, tool, count)).results) == sound for count in range(60))
            assert good >= (42 if tool == "plug_tester" else 50), (engine, tool, good)


def test_a_look_misses_now_and_then_and_never_invents():
    """In the dark one leaking lead in four goes unseen; nothing is ever seen on a sound car."""
    seen = Counter(
        read("dark_mist", examined("lead_leaky", V8), Draws(KEY, "dark", count)).results["dark"] for count in range(400)
    )
    assert set(seen) == {"lead", "none"} and seen["lead"] / 400 == pytest.approx(0.75, abs=0.09)
    for tool in ("bonnet", "points_look", "cap_rotor", "dark_mist", "plug_look", "leak_hunt"):
        for count in range(30):
            reading = read(tool, examined("none", V8), Draws(KEY, tool, count))
            assert all(signs()[name].results[0] == word for name, word in reading.results.items())


def test_a_lead_that_is_not_flexed_reads_good_every_second_time():
    """A broken core touches while the lead lies straight."""
    x = examined("lead_open", V8)
    for how, share, width in ((How(), 0.95, 0.05), (How(flexed=False), 0.5, 0.11)):
        found = sum(
            read("lead_ohms", x, Draws(KEY, "ohms", count), how=how).results["lead_ohm"] == "one↑"
            for count in range(300)
        )
        assert found / 300 == pytest.approx(share, abs=width)


def test_a_look_says_where():
    """The cylinder is part of what is found: without it no lead and no plug can be named."""
    for key, tool, name in (
        ("lead_leaky", "dark_mist", "dark"),
        ("plug_oil", "plug_look", "plugs"),
        ("plug_bridged", "plug_look", "plugs"),
        ("manifold_leak", "leak_hunt", "air_leak"),
    ):
        third = cylinder_at(sound_car(V8).spec, THIRD)
        reading = read(tool, examined(key, V8))
        assert reading.places[name] == (third,), key
        assert f"number {third}" in " ".join(reading.sentences)


def test_oil_raises_rings_and_not_valves():
    """Low dry and better with oil: rings. Low and the same with oil: a valve."""
    for key, rises in (("plug_oil", True), ("valve_low", False)):
        reading = read("compression", examined(key, V8))
        third = cylinder_at(sound_car(V8).spec, THIRD)
        dry, oiled = (
            next(figure.value for figure in reading.figures if figure.label == f"number {third} {how}")
            for how in ("dry", "oiled")
        )
        assert reading.results["compression"] == "one↓" and (oiled - dry >= 10) == rises


def test_a_known_good_part_cures_or_does_not():
    """A good coil in for a trial cures the weak coil and not the open condenser."""
    assert read(SWAP, examined("coil_weak", SIX), how=How(part="fit_coil")).results["fit_coil"] == "cured"
    assert read(SWAP, examined("condenser_open", SIX), how=How(part="fit_coil")).results["fit_coil"] == "not"
    car = plant(sound_car(V8), "coil_weak")
    before = car
    driven = read(SWAP, car, how=How(part="fit_coil"))
    assert car == before and driven.minutes >= 4 + actions.action("fit_coil").minutes_on(car)
    with pytest.raises(Refused, match="which part"):
        read(SWAP, car)


def test_what_needs_a_running_engine_is_refused_without_one():
    """No vacuum, no cut-out, no rise on an engine that does not run: one sentence, and no minute lost."""
    x = examined("condenser_shorted", V8)
    for tool in ("cut_out", "vacuum", "timing_rise", "timing_line", "leak_hunt", "road"):
        with pytest.raises(Refused, match="the engine must run for it, and this one does not"):
            read(tool, x)
    assert read("dwell", x).results["dwell"] == "full"
    assert read("timing_idle", examined("tooth_out", V8)).results["mark"] == "off"


def test_what_must_stand_still_is_refused_on_a_turning_engine():
    """Hands go nowhere near an engine that turns, and the points not with the key on."""
    x = examined("none", V8)
    for tool, row in instruments().items():
        turning = refusal(tool, x, Bay(turning=True))
        assert bool(turning) == (row.engine in ("off", "key", "crank")), tool
        assert "\n" not in turning and turning.count(". ") == 0
        assert bool(refusal(tool, x, Bay(key_on=True))) == (row.engine == "off"), tool
        assert bool(refusal(tool, x, Bay(engine=COLD))) == (row.engine in ("run", "turn")), tool
    for tool in ("plug_look", "plug_tester", "compression"):
        assert "too hot to touch" in refusal(tool, x, Bay(engine=HOT_SOAKED))


def test_unsafe_acts_are_stopped_with_the_reason():
    """Fourteen acts that hurt people are never done, and each says why."""
    assert len(unsafe_acts()) == 14
    for key, act in unsafe_acts().items():
        with pytest.raises(Stopped) as stopped:
            stop(key)
        assert act["reason"] in str(stopped.value) and str(stopped.value).startswith("Stopped: ")
        assert act["at"] and set(act["at"]) <= set(instruments()) | set(actions.actions()), key
    with pytest.raises(Unknown):
        stop("whistling")


def test_every_result_has_words_and_every_instrument_minutes():
    """Whatever can be found can be said; the tables of the bench name each other rightly."""
    for name, row in signs().items():
        for word in (*row.results, UNREADABLE):
            assert phrase(name, word)
        assert row.instrument == "" or row.instrument in instruments()
    with (paths.datasets() / "reading_words.csv").open(encoding="utf-8", newline="") as stream:
        assert sum(1 for _ in csv.reader(stream)) - 1 == sum(len(row.results) for row in signs().values())
    for tool in instruments().values():
        for again in (False, True):
            assert 0 < tool.minutes_on(sound_car(V8), again) <= 40
        assert tool.minutes_on(sound_car(V8), again=True) <= tool.minutes_on(sound_car(V8))
    with pytest.raises(Unknown):
        read("crystal ball", sound_car(V8), STEADY)
