"""From the owner's words to a shortlist, and what one reading does to it."""

from functools import cache
from types import MappingProxyType

from grader.bench.instruments import instruments
from grader.bench.owner import complaint_words
from grader.errors import OutOfRange
from grader.exercise import listing
from grader.exercise.kinds import Choices
from grader.exercise.model import Absolute, Choice, Exercise, Line, Number, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.diagnosis.table import (
    ENGINES,
    LETTERS,
    MANY,
    STRIDES,
    by_complaint,
    few,
    looks,
    measured,
    name,
    one_of,
    result,
    sound_word,
    title,
    word,
)

_CONDITIONS = MappingProxyType({
    "night": "Cold, after a night's standing: start it",
    "damp": "Insulation damp with mist",
    "soak": "Hot, after a hard run and 20 minutes' standing",
    "key": "Key let go as soon as it fires",
    "idle": "Warm and idling",
    "load": "Pulling hard uphill",
    "speed": "Held at high speed",
    "cruise": "Rolling along on little throttle",
    "guess": "With the part renewed that he names",
})  # fmt: skip
_REPRODUCED = MappingProxyType({
    "hard_start_cold": ("night",), "hard_start_hot": ("soak",), "hard_start_damp": ("damp",), "dies_on_release": ("key",),
    "rough_idle": ("idle",), "misfire_load": ("load",), "misfire_speed": ("speed",), "cuts_out_cruise": ("cruise",),
    "misfire_hot": ("soak", "load"), "misfire_damp": ("damp", "load"), "idles_fast": ("idle",), "stalls": ("idle",),
    "thirsty": ("cruise",), "pings": ("load",), "points_again": (), "plugs_again": (),
})  # fmt: skip
_OPINIONS = (
    "A friend says it is the coil.", "The last garage said plugs.", "I think it is the points.", "My brother says condenser.",
    "I am sure it is the leads.", "They told me the distributor is finished.",
)  # fmt: skip


def _conditions(*complaints):
    wanted = {condition for complaint in complaints for condition in _REPRODUCED[complaint]}
    return tuple(key for key in _CONDITIONS if key in wanted)


# Two complaints that ask for two or three conditions between them.
_PAIRS = tuple(
    (first, second)
    for first in _REPRODUCED
    for second in _REPRODUCED
    if first != second and _REPRODUCED[first] and 2 <= len(_conditions(first, second)) <= 3
)


def _pair(v):
    return one_of(_PAIRS, v.which)


def _why_condition(v):
    reasons = {}
    for complaint in _pair(v):
        for condition in _REPRODUCED[complaint]:
            reasons[condition] = f"He says: “{complaint_words()[complaint]}”"
    return {**reasons, "guess": "That is a guess at the cause; to fit it now would prove nothing."}


WORDS = Exercise(
    key="m06.words",
    version=1,
    marking=1,
    title="What must you bring about?",
    text=(
        "{engine}. The owner says:{said}Before you test, you want to meet with your own eyes and ears what he means. "
        "Tick every condition that you must bring about."
    ),
    draw={"engine": Pick(ENGINES), "which": MANY, "opinion": Steps(0, len(_OPINIONS) - 1), "place": Steps(0, 2)},
    show=lambda v: {
        "engine": title(v.engine),
        "said": listing.lines(_said(v)),
    },
    parts=(
        Choices(
            key="conditions", prompt="Conditions to bring about", marks=3, objectives=("G1",), options=_CONDITIONS,
            answer=lambda v: _conditions(*_pair(v)),
            because=_why_condition,
            slips=(
                Slip("words-for-cause",
                     "You took his guess at the cause for a condition. Ask when it happens; what it is, you find.",
                     lambda v: (*_conditions(*_pair(v)), "guess")),
                Slip("first-only",
                     "You stopped at the first thing he said. Each of his sentences may name a condition of its own.",
                     lambda v: _conditions(_pair(v)[0]) if _conditions(_pair(v)[0]) != _conditions(*_pair(v)) else None),
            ),
        ),
    ),
    route=lambda v: tuple(
        Line(
            f"“{complaint_words()[complaint]}” asks for: "
            + ("; ".join(_CONDITIONS[key] for key in _REPRODUCED[complaint]) or "nothing to drive, it is history")
            + ".",
            "conditions",
        )
        for complaint in _pair(v)
    ),
)  # fmt: skip


def _said(v):
    spoken = [complaint_words()[complaint] for complaint in _pair(v)]
    spoken.insert(v.place, _OPINIONS[v.opinion])
    return [f"“{sentence}”" for sentence in spoken]


@cache
def _shortlists():
    """(complaint, sign, reading, faults that go on, faults that are excluded), measured first, looks apart."""
    rows_of = {"measured": [], "look": []}
    for complaint, keys in by_complaint().items():
        for kind, names in (("measured", measured()), ("look", looks())):
            for sign in names:
                shown = {key: words for key in keys if (words := word(key, sign))}
                readings = {sound_word(sign)} if kind == "look" else set(shown.values())
                for reading in sorted(readings):
                    same = tuple(key for key in shown if shown[key] == reading)
                    other = tuple(key for key in shown if shown[key] != reading)
                    if len(other) >= 2 and len(same) >= 3 and len(same) + len(other) >= 8:
                        rows_of[kind].append((complaint, sign, reading, same, other))
    return {kind: tuple(rows) for kind, rows in rows_of.items()}


_LISTED = 8


def _eight(parameters):
    complaint, sign, reading, same, other = one_of(_shortlists()[parameters["kind"]], parameters["which"])
    most = min(len(other), 5)
    count = max(2, min(most, parameters["out"]), _LISTED - len(same))
    keys = few(other, parameters["start"], parameters["stride"], count)
    keys += few(same, parameters["start"], parameters["stride"], _LISTED - len(keys))
    keys = few(keys, parameters["turn"], parameters["stride"], _LISTED)
    return {"complaint": complaint, "sign": sign, "reading": reading, "faults": keys}


def _excluded(v):
    if v.kind == "look":
        return ()
    return tuple(LETTERS[at] for at, key in enumerate(v.faults) if word(key, v.sign) != v.reading)


def _others(v):
    return tuple(letter for letter in LETTERS[:_LISTED] if letter not in _excluded(v))


def _why_excluded(v):
    if v.kind == "look":
        miss = round(100 * (1 - instruments()[_tool(v)].hit))
        sentence = f"About {miss} looks in a hundred miss what is there, so this one excludes nothing."
        return dict.fromkeys(LETTERS[:_LISTED], sentence)
    return {
        LETTERS[at]: f"With this fault you would read: {result(v.sign, word(key, v.sign)).lower()}."
        for at, key in enumerate(v.faults)
    }


def _tool(v):
    return next(key for key, tool in instruments().items() if v.sign in tool.signs)


EXCLUDED = Exercise(
    key="m06.excluded",
    version=1,
    marking=1,
    title="What does this reading exclude?",
    text=(
        "{engine}. The owner says: “{words}” These faults are on your shortlist, each bad enough for that:{list}"
        "You take one reading. {tool}: {reading}. Suppose one fault alone. Which of the eight does it exclude?"
    ),
    draw={
        "engine": Pick(ENGINES), "kind": Pick(("measured",) * 8 + ("look",)), "which": MANY, "out": Steps(2, 5),
        "start": MANY, "stride": Pick(STRIDES), "turn": MANY,
    },
    fill=_eight,
    show=lambda v: {
        "engine": title(v.engine),
        "words": complaint_words()[v.complaint],
        "tool": instruments()[_tool(v)].title,
        "reading": result(v.sign, v.reading).lower(),
        "list": listing.lines(f"{LETTERS[at]}: {name(key)}" for at, key in enumerate(v.faults)),
    },
    parts=(
        Choices(
            key="out", prompt="Excluded by it", marks=3, objectives=("G4",), order="fixed",
            options=MappingProxyType({letter: f"Fault {letter}" for letter in LETTERS[:_LISTED]}),
            answer=_excluded,
            because=_why_excluded,
            slips=(
                Slip("look-misses",
                     "You let a look that shows nothing exclude a fault. A look can miss: the fault is less likely now, not out.",
                     lambda v: tuple(LETTERS[at] for at, key in enumerate(v.faults) if word(key, v.sign) != v.reading)
                     if v.kind == "look" else None),
                Slip("turned-round",
                     "You ticked the faults that agree with the reading. Excluded are those that would read otherwise.",
                     lambda v: _others(v) if v.kind == "measured" and set(_others(v)) != set(_excluded(v)) else None),
            ),
        ),
    ),
    route=lambda v: (
        "Ask of each fault: what would I read if it were this one?",
        Line(
            "This is a look, and it shows nothing: it may have missed. It excludes none of them."
            if v.kind == "look"
            else "Excluded, since they would read otherwise: " + ", ".join(_excluded(v)) + ".",
            "out",
        ),
    ),
)  # fmt: skip

# A look and what it may find.
_LOOKS = (
    ("dark_mist", "lead_leaky", "One plug lead leaks"),
    ("cap_rotor", "cap_track", "A carbon track in the cap"),
    ("cap_rotor", "rotor_burnt", "A rotor tip burnt short"),
    ("points_look", "pigtail_broken", "A pigtail that breaks"),
    ("bonnet", "hose_off", "A split vacuum hose"),
    ("plug_look", "plug_bridged", "A bridged plug"),
    ("leak_hunt", "manifold_leak", "A manifold that leaks air"),
    ("vacuum", "valve_low", "A valve that leaks"),
)


def _hundred(parameters):
    tool, key, words = _LOOKS[parameters["look"]]
    return {"tool": tool, "what": words}


def _share_left(before, hit):
    """Per cent that have it all the same where a look that finds `hit` per cent shows nothing."""
    missed = before * (100 - hit) / 100
    return 100 * missed / (missed + 100 - before)


def _still(v):
    return _share_left(v.prior, v.hit)


def _after_second(v, left):
    if abs(left - _still(v)) < 1e-9:  # as it is drawn; an own earlier answer leads where it leads
        return _plainly(_share_left(left, v.hit), v)
    return _share_left(left, v.hit)


def _plainly(asked, v):
    """An answer whose figure stands in no line of the route as another quantity."""
    missed = v.prior * (100 - v.hit) / 100
    printed = (v.prior, 100 - v.prior, 100 - v.hit, missed, missed + 100 - v.prior)
    if min(abs(asked - figure) for figure in printed) < 1:
        raise OutOfRange("Another quantity on the way has the same figure.")
    return asked


POINTS = Absolute(1, "whole cars of a hundred")

OF_100 = Exercise(
    key="m06.of_100",
    version=1,
    marking=1,
    title="Of a hundred such cars",
    text=(
        "Of 100 cars that come with this complaint, {prior} have this: {what}. “{tool}”, done in a hurry, finds it on {hit} "
        "of 100 cars that have it, and shows nothing on all others. On this car it shows nothing. Of 100 cars on which it "
        "shows nothing, how many have the fault all the same? Then a colleague looks again, without knowing your result, and "
        "finds as many of 100 as you do. He sees nothing either. How many of 100 have it now?"
    ),
    draw={"look": Steps(0, len(_LOOKS) - 1), "prior": Steps(50, 95), "hit": Steps(35, 85)},
    fill=_hundred,
    show=lambda v: {"tool": instruments()[v.tool].title, "what": v.what[0].lower() + v.what[1:]},
    parts=(
        Number(
            key="left", prompt="Have it all the same, of 100", unit="", marks=2, step=1, answer=lambda v: _plainly(_still(v), v), within=POINTS,
            possible=(0.0, 100.0), objectives=("G2", "G4"),
            slips=(
                Slip("as-before",
                     "You left the share as it was before the look. Cars on which it was found have dropped out of the hundred.",
                     lambda v: float(v.prior)),
                Slip("misses-only",
                     "That is how often the look misses. How many of the cars had the fault to begin with counts as well.",
                     lambda v: 100.0 - v.hit),
                Slip("missed-cars",
                     "That is how many of the first hundred it missed. Asked is their share among those where it shows nothing.",
                     lambda v: v.prior * (100 - v.hit) / 100),
            ),
        ),
        Number(
            key="again", prompt="After the second look, of 100", unit="", marks=1, step=1,
            answer=_after_second, uses=("m06.of_100.left",), within=POINTS,
            possible=(0.0, 100.0), objectives=("G2",),
            slips=(
                Slip("second-for-nothing",
                     "You left the share as it was. The second look missed on some only; on the others it would have shown something.",
                     lambda v, left: left),
                Slip("missed-twice",
                     "That is how many of your hundred the second look missed. Asked is their share among those where it shows nothing.",
                     lambda v, left: left * (100 - v.hit) / 100),
            ),
        ),
    ),
    route=lambda v: (
        f"Of 100 cars {v.prior} have it; the look misses it on {v.prior} × {100 - v.hit} ÷ 100 = "
        f"{v.prior * (100 - v.hit) / 100:.2f} of them.",
        f"It shows nothing on these and on the {100 - v.prior} others: "
        f"{v.prior * (100 - v.hit) / 100:.2f} + {100 - v.prior} = {v.prior * (100 - v.hit) / 100 + 100 - v.prior:.2f} cars.",
        Line(
            f"Share: {v.prior * (100 - v.hit) / 100:.2f} ÷ {v.prior * (100 - v.hit) / 100 + 100 - v.prior:.2f} "
            f"= {_still(v):.0f} per cent.",
            "left",
        ),
        Line(
            f"The second look begins with these {_still(v):.0f} of 100 and goes the same way: "
            f"{_share_left(_still(v), v.hit):.0f} per cent.",
            "left", "again",
        ),
    ),
)  # fmt: skip

_TESTS = (
    ("Coil output at the adjustable gap", 5), ("Volts at the coil supply", 4), ("Drop across the closed points", 4),
    ("Look under the bonnet", 4), ("In the dark, then with mist", 6), ("Dwell at two speeds", 6), ("Cap and rotor off", 6),
    ("Timing light at idle", 7), ("Output at each lead end", 14), ("Ohms of each lead", 12), ("Plugs out and read", 20),
    ("Compression of each cylinder", 30),
)  # fmt: skip
CLEARLY, APART = 1.15, 1.6  # of cars for each minute; minutes
_SHARES = ((40, 30, 20, 10), (50, 25, 15, 10), (35, 30, 20, 15), (45, 30, 15, 10), (30, 28, 24, 18), (55, 20, 15, 10))


def _tree(parameters):
    tests = few(_TESTS, parameters["start"], parameters["stride"], 4)
    shares = few(_SHARES[parameters["shares"]], parameters["turn"], parameters["step"], 4)
    return {"tests": [[words, minutes, share] for (words, minutes), share in zip(tests, shares, strict=True)]}


def _left_before(v):
    """Cars of 100 that come as far as each test."""
    left, rows = 100, []
    for _, _, share in v.tests:
        rows.append(left)
        left -= share
    return rows


def _mean_minutes(v):
    return sum(minutes * left for (_, minutes, _), left in zip(v.tests, _left_before(v), strict=True)) / 100


def _in_order(v, worth):
    """Mean minutes of a car where the tests are taken by falling worth, a function of minutes and cars."""
    tests = sorted(((minutes, share) for _, minutes, share in v.tests), key=lambda test: -worth(*test))
    left, total = 100, 0.0
    for minutes, share in tests:
        total += minutes * left
        left -= share
    return total / 100


def _least_minutes(v):
    return _in_order(v, lambda minutes, share: share / minutes)


def _quickest_minutes(v):
    led = _in_order(v, lambda minutes, share: -minutes)
    return led if led - _least_minutes(v) > APART else None


def _likeliest_minutes(v):
    led, quickest = _in_order(v, lambda minutes, share: share), _quickest_minutes(v)
    return led if led - _least_minutes(v) > APART and (quickest is None or abs(led - quickest) > APART) else None


def _best_first(v):
    """The test that settles most cars for each minute, clearly ahead of the next."""
    worth = [share / minutes for _, minutes, share in v.tests]
    best, second = sorted(worth, reverse=True)[:2]
    if best < CLEARLY * second:
        raise OutOfRange("Two of the tests settle almost as many cars for each minute.")
    return LETTERS[worth.index(best)]


def _cheapest(v):
    return LETTERS[min(range(4), key=lambda at: v.tests[at][1])]


def _likeliest(v):
    return LETTERS[max(range(4), key=lambda at: v.tests[at][2])]


ROAD_COST = Exercise(
    key="m06.road_cost",
    version=1,
    marking=1,
    title="What does this order cost?",
    text=(
        "A workshop tests every car with this complaint in this order, and stops as soon as it knows. Minutes of each "
        "test, and on how many of 100 cars it settles the matter, whatever was tested before:{tests}"
        "How long does a car take on average? How long in the best order, and with which test should they begin?"
    ),
    draw={"start": MANY, "stride": Pick(STRIDES), "shares": Steps(0, len(_SHARES) - 1), "turn": MANY, "step": Pick((1, 3))},
    fill=_tree,
    show=lambda v: {
        "tests": listing.lines(
            f"{LETTERS[at]}: {words}, {minutes} minutes, {share} of 100 cars"
            for at, (words, minutes, share) in enumerate(v.tests)
        )
    },
    parts=(
        Number(
            key="minutes", prompt="Time for a car, on average", unit="min", also=("s",), marks=2, step=0.1, answer=_mean_minutes,
            within=Absolute(0.5, "sums of whole minutes and whole cars"), possible=(1.0, 120.0), objectives=("G2",),
            slips=(
                Slip("all-on-all",
                     "You gave every test to every car. A car that is settled takes no further test.",
                     lambda v: float(sum(minutes for _, minutes, _ in v.tests))),
                Slip("own-test-only",
                     "You counted for each car only the test that settles it. It went through the tests before as well.",
                     lambda v: sum(minutes * share for _, minutes, share in v.tests) / 100),
                Slip("plain-mean",
                     "You took the mean of the four times. Count how many cars come as far as each test.",
                     lambda v: sum(minutes for _, minutes, _ in v.tests) / 4),
            ),
        ),
        Number(
            key="least", prompt="Time for a car, on average, in the order that costs least", unit="min", also=("s",), marks=1,
            step=0.1, answer=_least_minutes, within=Absolute(0.5, "sums of whole minutes and whole cars"), possible=(1.0, 120.0),
            objectives=("G2",),
            slips=(
                Slip("quickest-first",
                     "You took the quickest tests first. Take them by the cars that each settles for its minutes.",
                     _quickest_minutes),
                Slip("likeliest-first",
                     "You took the tests first that settle most cars. Take them by the cars that each settles for its minutes.",
                     _likeliest_minutes),
            ),
        ),
        Choice(
            key="first", prompt="Begin with", marks=1, objectives=("G2",), order="fixed",
            options=MappingProxyType({letter: f"Test {letter}" for letter in LETTERS[:4]}),
            signs=MappingProxyType(dict.fromkeys(LETTERS[:4], "Divide the cars that a test settles by its minutes: another one settles more for each minute.")),
            answer=_best_first,
            slips=(
                Slip("cheapest",
                     "You took the quickest test. It settles few cars for its minutes: divide the cars by the minutes.",
                     lambda v: _cheapest(v) if _cheapest(v) != _best_first(v) and _cheapest(v) != _likeliest(v) else None),
                Slip("likeliest",
                     "You took the test that settles most cars. It takes long: divide the cars by the minutes.",
                     lambda v: _likeliest(v) if _likeliest(v) != _best_first(v) and _cheapest(v) != _likeliest(v) else None),
            ),
        ),
    ),
    route=lambda v: (
        "Cars of 100 that come as far as each test: " + ", ".join(map(str, _left_before(v))) + ".",
        Line(
            "Minutes of 100 cars: "
            + " + ".join(f"{minutes} × {left}" for (_, minutes, _), left in zip(v.tests, _left_before(v), strict=True))
            + f" = {100 * _mean_minutes(v):.0f}.",
            "minutes",
        ),
        Line(f"For one car: {100 * _mean_minutes(v):.0f} ÷ 100 = {_mean_minutes(v):.1f} minutes.", "minutes"),
        Line(
            "Cars settled for each minute: "
            + ", ".join(f"{LETTERS[at]} {share / minutes:.1f}" for at, (_, minutes, share) in enumerate(v.tests))
            + f". Test {_best_first(v)} settles most for each minute.",
            "first",
        ),
        Line(f"In the order of these figures a car takes {_least_minutes(v):.1f} minutes.", "least", "first"),
    ),
)  # fmt: skip
