"""Every fault shows on a car what a mechanic expects of it, and no reading that proves it fits its look-alikes."""

from dataclasses import replace
from functools import cache

import pytest

from grader.bench import actions, checks
from grader.bench.instruments import SWAP, How, instruments, read
from grader.bench.owner import complaint_words, complaints, worn_to_complaint
from grader.bench.signs import Examined, signs
from grader.errors import BadTable, Refused, Unknown
from grader.vehicle.car import Surroundings
from grader.vehicle.car import check as check_car
from grader.vehicle.faults import HIGH, LOW, MID, SEVERITIES, THIRD, applies, cylinder_at, fault, faults, plant
from grader.vehicle.state import sound_car
from grader.vehicle.wear import driven
from tests.bench.cars import ENGINES, FOUR, SIX, V8, examined

OTHER_SIDE = {}
for one_side, other_side in (
    ("H", "L"), ("R", "A"), ("lo", "hi"), ("+", "-less"), ("↓", "↑"), ("low", "high"), ("slow", "fast"),
    ("crater_minus", "crater_plus"), ("open", "large"),
):  # fmt: skip
    OTHER_SIDE |= {one_side: other_side, other_side: one_side}
TWO_SIDED = [
    name for name, sign in signs().items() if any(OTHER_SIDE.get(word) in sign.results for word in sign.results)
]


@cache
def outcome(key, engine, severity=MID):
    x = examined(key, engine, severity)
    return {name: x.word(name) for name in signs()}


def on(engine):
    return [key for key in faults() if applies(key, engine)]


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.campaign
def test_every_sign_of_every_fault_is_as_a_mechanic_expects(engine):
    """Fault by fault, each test of the bench finds what the trade says it finds."""
    wrong = [
        f"{key}: {name} should be {'|'.join(words)}, found {outcome(key, engine)[name]}"
        for key in on(engine)
        for name, words in checks.expected()[key].signs.items()
        if outcome(key, engine)[name] not in words
    ]
    assert wrong == []


@pytest.mark.campaign
def test_the_table_forgives_nothing_that_no_engine_shows():
    """A second word in the table stands there because some engine shows it."""
    idle_words = [
        f"{key}: {name} is {word} on no engine"
        for key, row in checks.expected().items()
        for name, words in row.signs.items()
        for word in words
        if word not in {outcome(key, engine)[name] for engine in ENGINES if applies(key, engine)}
    ]
    assert idle_words == []


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.campaign
def test_slight_or_severe_a_fault_never_reads_on_the_other_side(engine):
    """A narrow gap can be missed or stop the engine, but it never reads as a wide one."""
    wrong = []
    for key in on(engine):
        for severity in (LOW, HIGH) if fault(key).severities else ():
            x = examined(key, engine, severity)
            for name in TWO_SIDED:
                words, word = checks.expected()[key].signs[name], x.word(name)
                if OTHER_SIDE.get(word) in words and word not in words:
                    wrong.append(f"{key} {severity}: {name} is {word} where {'|'.join(words)} is expected")
    assert wrong == []


@pytest.mark.campaign
def test_owners_complain_of_what_the_table_says():
    """With each fault owners of some car have just these complaints, the others join later or in another severity."""
    wrong = []
    for key, row in checks.expected().items():
        engines = [engine for engine in ENGINES if applies(key, engine)]
        found = {word for engine in engines for word in complaints(examined(key, engine), (key,))}
        listed = {*row.complaints, *fault(key).history}
        if found != listed:
            wrong.append(f"{key}: {sorted(found)} instead of {sorted(listed)}")
        missing = set(row.later)
        for engine in engines:
            for severity in (LOW, HIGH) if missing and fault(key).severities else ():
                missing -= set(complaints(examined(key, engine, severity)))
        for miles in (7000, 15000):
            for engine in engines if missing else ():
                missing -= set(complaints(Examined(driven(examined(key, engine).car, miles))))
        if missing:
            wrong.append(f"{key}: {sorted(missing)} never come")
    assert wrong == []


@pytest.mark.campaign
@pytest.mark.parametrize("altitude_m", [0, 1500])
@pytest.mark.parametrize("air_c", [-5, 5, 20, 35])
def test_a_sound_car_reads_sound_in_any_weather_and_on_the_pass(air_c, altitude_m):
    """Nothing is wrong with it, so nothing is found, in winter, in summer and high up."""
    for engine in ENGINES:
        x = Examined(sound_car(engine), Surroundings(air_c=air_c, altitude_m=altitude_m))
        assert {name: word for name, word in x.words().items() if word != signs()[name].results[0]} == {}, engine
        assert complaints(x) == ()


@pytest.mark.campaign
def test_a_proof_parts_its_fault_from_every_look_alike():
    """What is read as proof reads otherwise on every car that only looks like it."""
    alike = []
    for engine in ENGINES:
        for key in on(engine):
            for other in fault(key).look_alikes:
                if not applies(other, engine) or fault(other).mend == fault(key).mend:
                    continue
                for proof in filter(None, fault(key).proof_by.split("|")):
                    if not _parts(proof, key, other, engine):
                        alike.append(f"{engine}: {proof} reads the same with {key} and {other}")
    assert alike == []


def _parts(proof, key, other, engine):
    if proof == SWAP:
        # What mends the one, put in for a trial, must not cure the other.
        part = next(act for act in fault(key).actions.split("|")[0].split() if act.startswith("fit_"))
        at = cylinder_at(sound_car(engine).spec, THIRD)
        on_own, on_other = (
            read(SWAP, examined(which, engine), how=How(part=part, at=at)).results[part] for which in (key, other)
        )
        sick = bool(complaints(examined(key, engine))) and bool(complaints(examined(other, engine)))
        return on_own != on_other or not sick
    tools = [instruments()[name] for name in proof.split("&")]
    return any(outcome(key, engine)[name] != outcome(other, engine)[name] for tool in tools for name in tool.signs)


@pytest.mark.campaign
def test_a_proof_finds_something_out():
    """What proves a fault shows something that a sound car does not show."""
    for engine in ENGINES:
        for key in on(engine):
            for proof in filter(None, fault(key).proof_by.split("|")):
                if proof == SWAP or key == "none":
                    continue
                read_signs = [name for tool in proof.split("&") for name in instruments()[tool].signs]
                assert any(outcome(key, engine)[name] != signs()[name].results[0] for name in read_signs), (key, engine)


@pytest.mark.campaign
def test_new_plugs_hide_a_weak_system_for_a_while_only():
    """Fresh plugs are no proof: on the V8 the complaint of a weak coil or bad feed comes back, and a dead lead's at once."""
    held = {}
    for key in ("none", "coil_weak", "feed_resistance", "lead_open", "rotor_leak"):
        car = actions.do(examined(key, V8).car, "fit_plugs")
        miles = 0
        while miles < 24000 and not complaints(Examined(car)):
            car, miles = driven(car, 1000), miles + 1000
        held[key] = miles
        printed = checks.expected()[key].new_plugs_hold_miles[0]
        assert abs(miles - printed) <= max(2000, 0.25 * printed), (key, miles, printed)
    assert held["lead_open"] <= held["rotor_leak"] < held["coil_weak"] < held["feed_resistance"] < held["none"]


def test_severities_rise_and_every_car_can_be():
    """Low, middle and high of a fault go one way, and no fault makes a car that cannot exist."""
    for key, row in faults().items():
        for engine in (V8, FOUR, SIX):
            if applies(key, engine):
                for severity in SEVERITIES:
                    check_car(plant(sound_car(engine), key, severity))
        if row.severities and key != "tooth_out":
            low, mid, high = row.severities
            assert low < mid < high or low > mid > high, key


@pytest.mark.campaign
def test_two_faults_join_in_either_order():
    """A narrow gap and early timing hide each other on the mark; every pair brings a complaint before 12,000 miles."""
    sound = sound_car(V8)
    one = plant(plant(sound, "gap_small", MID), "timing_early", LOW)
    other = plant(plant(sound, "timing_early", LOW), "gap_small", MID)
    assert one == other
    x = Examined(one)
    assert x.word("dwell") == "H" and x.word("mark") == "N"
    for first, second in (
        ("coil_weak", "plugs_worn"), ("diaphragm_punctured", "timing_early"), ("condenser_open", "points_burnt"),
        ("lead_open", "plugs_worn"), ("cap_track", "leads_damp"), ("battery_weak", "bypass_dead"),
        ("weights_seized", "plate_seized"), ("shaft_worn", "gap_wide"), ("set_fast_idle", "hose_manifold"),
        ("manifold_leak", "plugs_worn"), ("cap_burnt", "rotor_burnt"), ("low_octane", "timing_early"),
        ("plugs_worn", "leads_crossfire"), ("points_burnt", "valve_low"),
    ):  # fmt: skip
        # On a V8 a worn shaft under a wide gap is felt only when both are bad.
        severity = HIGH if first == "shaft_worn" else MID
        joined = check_car(plant(plant(sound, first, severity), second, severity))
        assert complaints(Examined(worn_to_complaint(joined))), (first, second)


def test_a_fault_sits_where_it_is_put():
    """A dead lead on number one is found on number one."""
    for place in range(8):
        car = plant(sound_car(V8), "lead_open", HIGH, place)
        reading = read("lead_ohms", car)
        high = [figure.label for figure in reading.figures if figure.value > 30]
        assert high == [f"number {cylinder_at(car.spec, place)}"]


def test_parts_that_a_vehicle_has_not_cannot_fail():
    """No ballast, no fault of the ballast; what does not exist is told by name."""
    assert not applies("ballast_open", SIX) and not applies("leads_crossfire", SIX)
    with pytest.raises(Refused, match="no such part"):
        plant(sound_car(SIX), "ballast_open")
    with pytest.raises(Unknown, match="No fault"):
        plant(sound_car(SIX), "gremlins")
    with pytest.raises(Unknown, match="allowed is low, mid, high"):
        plant(sound_car(SIX), "coil_weak", "dreadful")


def test_the_tables_name_each_other_rightly():
    """Proofs, repairs, look-alikes and complaints of a fault are things that exist."""
    for key, row in faults().items():
        proofs = {name for proof in row.proof_by.split("|") for name in proof.split("&")} - {""}
        assert proofs <= set(instruments()), key
        assert {act for repair in row.actions.split("|") for act in repair.split()} <= set(actions.actions()), key
        assert set(row.look_alikes) <= set(faults()) - {key}, key
        expected = checks.expected()[key]
        assert {*expected.complaints, *expected.later, *row.history} <= set(complaint_words()), key
        assert row.system in ("primary", "points", "advance", "secondary", "plugs", "not ignition", "sound")
        assert 1 <= row.common <= 6 and row.source and row.mend and row.repair
        assert bool(row.severity_of) == bool(row.severities)
    with pytest.raises(BadTable, match="cannot be odd"):
        checks._expected({"key": "x", "complaints": "", "later": "", checks.LAST: "", **dict.fromkeys(signs(), "odd")})


def test_the_printed_table_can_fail():
    """A sign that is not as expected is marked in its line, fails its fault, and is counted in the sum."""
    good = checks.examine("coil_weak", SIX)
    spoiled = tuple((name, words, "↑" if name == "coil_kv" else word) for name, words, word in good.signs)
    bad = replace(good, signs=spoiled)
    assert good.disagreeing == () and [line[0] for line in bad.disagreeing] == ["coil_kv"]
    right, wrong, absent, total = checks.lines((good, bad), [("ballast_open", SIX)])
    assert right.startswith("ok ") and wrong.startswith("FAIL") and "coil_kv ↓: ↑ !" in wrong
    assert "does not apply" in absent and "1 not. 1 pairs" in total
