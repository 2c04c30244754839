"""A session with one car: a log of acts as pure data, and its replay.

    case = cases.drawn("anstow-v8", level=2, number=17)      # or cases.from_plain(own numbers)
    log = session.EMPTY                                      # the JSON text that is the answer
    log = session.append(log, session.test("bonnet"))        # an instrument or a look
    log = session.append(log, session.run("idle"))           # off, key, idle, warm, cool
    log = session.append(log, session.unsafe("hand_near_fan"))  # is stopped, and noted
    log = session.append(log, session.name("lead", at=3))    # a suspicion
    log = session.append(log, session.action("fit_lead", at=3, marked=True))
    log = session.append(log, session.hand_over(["lead"], proved=["lead_gap"], compared="lead_gap", left="Nothing."))
    bench = session.replay(case, log)                        # the same on every machine
    bench.steps[-1].sentences, bench.minutes, bench.bay, bench.closed, bench.came_back
    session.possible(bench)                                  # what can be done now, and why not

Every act gives a step, also one that is refused (no minutes, one sentence why) and one that
is stopped because it would hurt somebody. Scatter and mishaps come from the case's own seed
under the name of the instrument or action and how often it was used, so that a log replays.
A hand-over ends the session unless the owner comes back: after 3,000 miles he does if a
complaint is there that a sound car of the same miles has not; then the log goes on.
"""

import json
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from grader.bench import actions as acting
from grader.bench import instruments as reading
from grader.bench.atoms import CYLINDER_GROUPS, SOUND_GROUP, Atom, complaints_of, group_of, groups
from grader.bench.cases import Case
from grader.bench.draws import Draws
from grader.bench.owner import complaint_words, complaints
from grader.bench.signs import Examined
from grader.errors import Refused, Stopped, Unknown, Unreadable
from grader.units import grouped
from grader.vehicle.car import COLD, HOT_SOAKED, WARM, Car
from grader.vehicle.faults import fault, faults
from grader.vehicle.state import sound_car
from grader.vehicle.wear import driven

EMPTY = '{"acts":[]}'
MOST_ACTS = 200
COMEBACK_MILES = 3000.0
MOST_STOPPED = 3  # unsafe acts that end a case
RUN, TEST, ACTION, UNSAFE, NAME, HAND_OVER = KINDS = ("run", "test", "action", "unsafe", "name", "hand over")
OFF, KEY, IDLE, WARM_UP, COOL = RUNS = ("off", "key", "idle", "warm", "cool")
RUN_WORDS = MappingProxyType(
    {
        OFF: "Stop the engine, key off",
        KEY: "Key on, engine standing",
        IDLE: "Start it and let it idle",
        WARM_UP: "Let it run until it is warm",
        COOL: "Let it stand until it is cold",
    }
)
RUN_MINUTES = MappingProxyType({OFF: 0.0, KEY: 0.0, IDLE: 0.0, WARM_UP: 10.0, COOL: 60.0})
DONE, REFUSED, STOPPED, READ, NAMED, HANDED_OVER = ("done", "refused", "stopped", "read", "named", "handed over")
_FIELDS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        RUN: frozenset({"to"}),
        TEST: frozenset({"with", "part", "at", "flexed"}),
        ACTION: frozenset({"what", "at", "marked", "gapped"}),
        UNSAFE: frozenset({"what"}),
        NAME: frozenset({"groups", "at"}),
        HAND_OVER: frozenset({"found", "at", "proved", "compared", "left"}),
    }
)
_LONGEST_TEXT = 2000


@dataclass(frozen=True, slots=True)
class Step:
    """What one act came to.

    number: place in the log, from 1. act: as it stands in the log. outcome: one of done,
    refused, stopped, read, named, handed over. sentences: in a mechanic's words. minutes of
    this act, parts: cost of parts in minutes. results: sign to word of its limits (of a trial part:
    action to "cured" or "not"). figures, places: as `instruments.Reading`. car: how many changes
    were made before. again: the instrument was still connected. came_back: the owner did after this hand-over.
    """

    number: int
    act: Mapping[str, Any]
    outcome: str
    sentences: tuple[str, ...]
    minutes: float = 0.0
    parts: float = 0.0
    results: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    figures: tuple[reading.Figure, ...] = ()
    places: Mapping[str, tuple[int, ...]] = field(default_factory=lambda: MappingProxyType({}))
    car: int = 0
    again: bool = False
    came_back: bool = False

    @property
    def kind(self) -> str:
        """run, test, action, unsafe, name or hand over."""
        return self.act["do"]

    @property
    def instrument(self) -> str:
        """Of a test."""
        return self.act.get("with", "")


@dataclass(frozen=True, slots=True)
class Bench:
    """A session after its last act.

    steps: one for each act. car: as it stands now. bay: likewise. drove_in: the engine kept running
    when it was brought, else it was towed. closed: handed over for
    good. came_back: how often the owner came back. named: groups named last. cylinder: number named with them.
    """

    case: Case
    steps: tuple[Step, ...]
    car: Car
    bay: reading.Bay
    drove_in: bool
    closed: bool = False
    came_back: int = 0
    named: tuple[str, ...] = ()
    cylinder: int = 0

    @property
    def minutes(self) -> float:
        """Minutes of all acts."""
        return sum(step.minutes for step in self.steps)

    @property
    def parts(self) -> float:
        """Parts fitted, in minutes."""
        return sum(step.parts for step in self.steps)

    @property
    def stopped(self) -> int:
        """Unsafe acts that were stopped."""
        return sum(step.outcome == STOPPED for step in self.steps)


@dataclass(frozen=True, slots=True)
class Way:
    """Something that can be done now, or not.

    act: to append to the log. title: in words. minutes, parts: what it costs. refused: why it
    cannot be done as the car stands, or empty. per_cylinder: it wants the number of a cylinder
    in "at" (1 to n, or "coil lead" for a lead).
    """

    act: Mapping[str, Any]
    title: str
    minutes: float = 0.0
    parts: float = 0.0
    refused: str = ""
    per_cylinder: bool = False


# The acts, as they stand in a log.


def run(to: str) -> dict[str, Any]:
    """Another running condition: off, key, idle, warm or cool."""
    return {"do": RUN, "to": to}


def test(instrument: str, part: str = "", at: int | str = 0, flexed: bool = True) -> dict[str, Any]:
    """An instrument or a look; a trial of a known-good part wants the action that fits it, and for a lead its number."""
    act: dict[str, Any] = {"do": TEST, "with": instrument}
    return act | ({"part": part} if part else {}) | ({"at": at} if at else {}) | ({} if flexed else {"flexed": False})


def action(what: str, at: int | str = 0, marked: bool = False, gapped: bool = True) -> dict[str, Any]:
    """Something adjusted, cleaned, mended or fitted, with the care that is taken."""
    act: dict[str, Any] = {"do": ACTION, "what": what}
    return (
        act | ({"at": at} if at else {}) | ({"marked": True} if marked else {}) | ({} if gapped else {"gapped": False})
    )


def unsafe(what: str) -> dict[str, Any]:
    """An act that is stopped."""
    return {"do": UNSAFE, "what": what}


def name(*named: str, at: int | str = 0) -> dict[str, Any]:
    """The suspicion: one group or more, with the cylinder where one is concerned."""
    return {"do": NAME, "groups": list(named)} | ({"at": at} if at else {})


def hand_over(
    found: Sequence[str], at: int = 0, proved: Sequence[str] = (), compared: str = "", left: str = ""
) -> dict[str, Any]:
    """The car back to its owner: groups found (with the cylinder), instruments that proved it, the one read before and
    after, and in a sentence what was left."""
    act = {"do": HAND_OVER, "found": list(found), "proved": list(proved), "compared": compared, "left": left}
    return act | ({"at": at} if at else {})


def append(log: str, act: Mapping[str, Any]) -> str:
    """The log with one more act.

    Raises
    ------
    Unreadable
        As `acts`.
    """
    return written([*acts(log), act])


def written(all_acts: Sequence[Mapping[str, Any]]) -> str:
    """A log of acts as JSON text, the same text for the same acts."""
    return json.dumps(
        {"acts": [dict(act) for act in all_acts]}, ensure_ascii=False, sort_keys=True, separators=(",", ":")
    )


def acts(log: str) -> tuple[dict[str, Any], ...]:
    """The acts of a log.

    Raises
    ------
    Unreadable
        It is no log of a session, or holds an act of a kind that does not exist; says which.
    """
    try:
        read = json.loads(log)["acts"]
    except (ValueError, KeyError, TypeError, RecursionError):
        raise Unreadable("This is no log of a session at the bench. Go back to the last one that was saved.") from None
    if not isinstance(read, list) or len(read) > MOST_ACTS:
        raise Unreadable(f"A log holds a list of at most {MOST_ACTS} acts. Go back to the last one that was saved.")
    for number, act in enumerate(read, 1):
        problem = _problem(act)
        if problem:
            raise Unreadable(f"Act {number} of the log {problem}. Go back to the last log that was saved.")
    return tuple(read)


def _problem(act: Any) -> str:
    """What is wrong with an act, or nothing."""
    if not isinstance(act, dict) or act.get("do") not in KINDS:
        return f"is of no kind that exists; there are {', '.join(KINDS)}"
    kind = act["do"]
    strange = set(act) - _FIELDS[kind] - {"do"}
    if strange:
        return f"says {', '.join(map(str, sorted(strange)))[:40]}, which does not belong to “{kind}”"
    known = {
        RUN: ("to", RUNS),
        TEST: ("with", reading.instruments()),
        ACTION: ("what", acting.actions()),
        UNSAFE: ("what", reading.unsafe_acts()),
    }
    if kind in known:
        word, allowed = known[kind]
        if not isinstance(act.get(word), str) or act[word] not in allowed:
            return f"names “{str(act.get(word))[:30]}”, which “{kind}” does not know"
    if act.get("part") and act["part"] not in acting.actions():
        return f"tries a part “{str(act['part'])[:30]}” that does not exist"
    every_group = {group_of(key) for key in faults()}
    for word, allowed in (("groups", every_group), ("found", every_group), ("proved", set(reading.instruments()))):
        listed = act.get(word, [])
        if not isinstance(listed, list) or not all(isinstance(key, str) for key in listed) or set(listed) - allowed:
            return f"holds in “{word}” what does not exist"
    if not isinstance(act.get("left", ""), str) or len(act.get("left", "")) > _LONGEST_TEXT:
        return f"says in “left” no text of at most {_LONGEST_TEXT} letters"
    if act.get("compared") and act["compared"] not in reading.instruments():
        return "compares readings of an instrument that does not exist"
    if type(act.get("at", 0)) not in (int, str):
        return "holds in “at” neither a number nor a lead"
    return ""


# The replay.


_KEPT: OrderedDict[tuple[Case, str], "Bench"] = OrderedDict()  # sessions of late, each after each of its acts
_MOST_KEPT = 256


def replay(case: Case, log: str) -> Bench:
    """The session after the last act of its log; a log that has grown goes on where it was.

    Parameters
    ----------
    case : Case
    log : str
        JSON text, as `append` gives it.

    Returns
    -------
    Bench

    Raises
    ------
    Unreadable
        As `acts`.
    """
    listed = acts(log)
    texts = [written(listed[:count]) for count in range(len(listed) + 1)]
    known = next((count for count in range(len(listed), -1, -1) if (case, texts[count]) in _KEPT), -1)
    bench = _KEPT[case, texts[known]] if known >= 0 else begin(case)
    for count in range(max(known, 0), len(listed)):
        bench = _KEPT[case, texts[count + 1]] = after(bench, listed[count])
    while len(_KEPT) > _MOST_KEPT:
        _KEPT.popitem(last=False)
    return bench


def remember(bench: Bench) -> str:
    """The log of a session that stands here already, so that its replay need not be worked again."""
    log = written([step.act for step in bench.steps])
    _KEPT[bench.case, log] = bench
    while len(_KEPT) > _MOST_KEPT:
        _KEPT.popitem(last=False)
    return log


def begin(case: Case) -> Bench:
    """The session before the first act: the engine warm if it runs, for then it was driven in."""
    return Bench(case, (), case.car, _brought_in(case.car), examined(case.car).idles)


@lru_cache(maxsize=32)
def examined(car: Car) -> Examined:
    """A car under examination; cars of late are kept with what was solved for them."""
    return Examined(car)


def after(bench: Bench, act: Mapping[str, Any]) -> Bench:
    """The session after one more act."""
    done = {
        RUN: _run,
        TEST: _test,
        ACTION: _action,
        UNSAFE: _unsafe,
        NAME: _name,
        HAND_OVER: _hand_over,
    }[act["do"]]
    try:
        if bench.closed:
            raise Refused(_closed(bench))
        return done(bench, act)
    except Stopped as reason:
        is_last = bench.stopped + 1 >= MOST_STOPPED
        told = (str(reason), *(("That was the third: the instructor ends the case.",) * is_last))
        return replace(_with(bench, act, STOPPED, told), closed=is_last)
    except (Refused, Unknown) as reason:
        return _with(bench, act, REFUSED, (str(reason),))


def _closed(bench: Bench) -> str:
    if bench.stopped >= MOST_STOPPED:
        return "The instructor has ended the case after three unsafe acts."
    return "The car was handed over and has not come back; the session is closed."


def _with(bench: Bench, act: Mapping[str, Any], outcome: str, sentences: Sequence[str], **said: Any) -> Bench:
    changes = sum(step.kind == ACTION and step.outcome == DONE for step in bench.steps)
    step = Step(len(bench.steps) + 1, MappingProxyType(dict(act)), outcome, tuple(sentences), car=changes, **said)
    return replace(bench, steps=(*bench.steps, step))


def _count(bench: Bench, kind: str, key: str) -> int:
    """How often an instrument was read, or an action done, before."""
    word = "with" if kind == TEST else "what"
    return sum(step.kind == kind and step.act.get(word) == key and step.outcome in (READ, DONE) for step in bench.steps)


def _run(bench: Bench, act: Mapping[str, Any]) -> Bench:
    to, bay, idles = act["to"], bench.bay, examined(bench.car).idles
    if to in (IDLE, WARM_UP) and not idles:
        raise Refused("The engine does not keep running.")
    if to == COOL:
        bay = reading.Bay(COLD)
    elif to == WARM_UP:
        bay = reading.Bay(WARM, turning=True, key_on=True)
    else:
        bay = replace(bay, turning=to == IDLE, key_on=to in (KEY, IDLE))
    sentence = {
        OFF: "The engine stands, key off.",
        KEY: "The key is on, the engine stands.",
        IDLE: f"It idles, {bay.engine}.",
        WARM_UP: "It has run until it is warm, and idles.",
        COOL: "It has stood until it is cold.",
    }[to]
    if to in (OFF, KEY, IDLE) and bay == bench.bay:
        sentence = "So it stands already."
    return replace(_with(bench, act, DONE, (sentence,), minutes=RUN_MINUTES[to]), bay=bay)


def _test(bench: Bench, act: Mapping[str, Any]) -> Bench:
    key = act["with"]
    last = bench.steps[-1] if bench.steps else None
    again = last is not None and last.outcome == READ and last.instrument == key and key != reading.SWAP
    how = reading.How(flexed=act.get("flexed", True), again=again, part=act.get("part", ""), at=act.get("at", 0))
    draws = Draws(bench.case.key, "read", key, _count(bench, TEST, key))
    got = reading.read(key, examined(bench.car), draws, bench.bay, how)
    changed = _with(
        bench,
        act,
        READ,
        got.sentences,
        minutes=got.minutes,
        results=got.results,
        figures=got.figures,
        places=got.places,
        again=again,
    )
    return replace(changed, bay=_bay_after(key, bench))


def _bay_after(key: str, bench: Bench) -> reading.Bay:
    """How the car stands after a reading: an instrument leaves the engine as it wanted it."""
    idles, engine = examined(bench.car).idles, reading.instrument(key).engine
    if key == "soak":
        return reading.Bay(HOT_SOAKED if idles else bench.bay.engine)
    if key == "road":
        return reading.Bay(WARM if idles else bench.bay.engine)
    if engine == "run" or (engine == "turn" and idles):
        return replace(bench.bay, turning=True, key_on=True)
    if engine == "key":
        return replace(bench.bay, turning=False, key_on=True)
    if engine == "crank":
        return replace(bench.bay, turning=False, key_on=False)
    return bench.bay


def _action(bench: Bench, act: Mapping[str, Any]) -> Bench:
    key = act["what"]
    done = acting.action(key)
    no = action_refusal(bench, key)
    if no:
        raise Refused(no)
    how = acting.How(at=act.get("at", 0), marked=act.get("marked", False), gapped=act.get("gapped", True))
    car = acting.do(bench.car, key, Draws(bench.case.key, "do", key, _count(bench, ACTION, key)), how)
    minutes, parts = done.minutes_on(bench.car, how.marked), done.parts_on(bench.car)
    where = f" ({how.at if isinstance(how.at, str) else f'number {how.at}'})" if how.at else ""
    changed = _with(bench, act, DONE, (f"{done.title}{where}: done.",), minutes=minutes, parts=parts)
    running = key in _RUNNING_ACTIONS and examined(car).idles
    return replace(changed, car=car, bay=replace(bench.bay, turning=running, key_on=running))


_RUNNING_ACTIONS = ("set_timing", "set_idle")
_HOT_ACTIONS = ("fit_plugs", "clean_plugs")


def action_refusal(bench: Bench, key: str) -> str:
    """Why an action cannot be done as the car stands: one sentence, or nothing."""
    title = acting.action(key).title
    if key in _HOT_ACTIONS and bench.bay.engine == HOT_SOAKED:
        return f"{title}: the head is too hot to touch; let it cool first."
    if key in _RUNNING_ACTIONS:
        return ""
    if bench.bay.turning:
        return f"{title}: the engine turns; stop it first."
    if bench.bay.key_on:
        return f"{title}: the key is on; turn it off first."
    return ""


def _unsafe(bench: Bench, act: Mapping[str, Any]) -> Bench:
    reading.stop(act["what"])
    return bench


def _where(bench: Bench, act: Mapping[str, Any]) -> int:
    at = act.get("at", 0)
    if at and at not in range(1, bench.car.cylinders + 1):
        raise Refused(f"Say which cylinder: a number from 1 to {bench.car.cylinders}.")
    return at


def _named_groups(bench: Bench, act: Mapping[str, Any], word: str) -> tuple[str, ...]:
    named = tuple(dict.fromkeys(act.get(word, ())))
    strange = set(named) - set(groups(bench.case.engine))
    if not named:
        raise Refused("Name at least one thing.")
    if strange:
        raise Refused(f"This vehicle has no such part: {', '.join(sorted(strange))}.")
    return named


def _name(bench: Bench, act: Mapping[str, Any]) -> Bench:
    named, at = _named_groups(bench, act, "groups"), _where(bench, act)
    told = " and ".join(group_words(group, at) for group in named)
    return replace(_with(bench, act, NAMED, (f"Suspected: {told}.",)), named=named, cylinder=at)


def group_words(group: str, at: int = 0) -> str:
    """A group in words."""
    if group == SOUND_GROUP:
        return "the ignition is sound"
    return f"{group} of number {at}" if at and group in CYLINDER_GROUPS else group


def _hand_over(bench: Bench, act: Mapping[str, Any]) -> Bench:
    found, at = _named_groups(bench, act, "found"), _where(bench, act)
    words = comes_back(bench, found)
    told = " and ".join(group_words(group, at) for group in found)
    sentences = [f"Handed over. Found: {told}."]
    if words:
        complaint = " ".join(complaint_words()[word] for word in words)
        sentences.append(f"After {grouped(COMEBACK_MILES)} miles the owner is back: “{complaint}” Find out why.")
    else:
        sentences.append(f"After {grouped(COMEBACK_MILES)} miles the owner has nothing to complain of.")
    if found == (SOUND_GROUP,) and not words:
        sentences[-1] = "The car goes to another hand, with what was read."
    changed = _with(bench, act, HANDED_OVER, sentences, came_back=bool(words))
    return replace(
        changed,
        named=found,
        cylinder=at,
        closed=not words,
        came_back=bench.came_back + bool(words),
        car=driven(bench.car, COMEBACK_MILES) if words else bench.car,
        bay=_brought_in(bench.car) if words else bench.bay,
    )


def _brought_in(car: Car) -> reading.Bay:
    """How a car stands that was just brought in."""
    return reading.Bay(WARM if examined(car).idles else COLD)


def comes_back(bench: Bench, found: Sequence[str]) -> tuple[str, ...]:
    """With which complaints the owner returns after 3,000 miles; with none if another hand mends what was found.

    What a sound car with the same plugs shows too is wear and no comeback.
    """
    elsewhere = [key for key in bench.case.atom.faults if group_of(key) == SOUND_GROUP]
    if SOUND_GROUP in found and len(elsewhere) == len(bench.case.atom.faults):
        return ()
    later = driven(bench.car, COMEBACK_MILES)
    # However often he comes back: on older plugs than that every car complains, a sound one too.
    sound = driven(sound_car(bench.case.engine), min(60_000.0, 1000.0 * max(0.0, later.kmiles - 5.0)))
    usual = set(complaints(examined(sound)))
    mended_elsewhere = set(_mended_elsewhere(bench, elsewhere)) if SOUND_GROUP in found else set()
    return tuple(word for word in complaints(examined(later)) if word not in usual | mended_elsewhere)


def _mended_elsewhere(bench: Bench, keys: Sequence[str]) -> tuple[str, ...]:
    """Complaints that come from those faults of the case alone which another hand will mend."""
    if not keys:
        return ()
    return complaints_of(bench.case.engine, Atom(tuple(keys), bench.case.atom.severity), bench.case.kmiles)


# What can be done now.


def possible(bench: Bench) -> tuple[Way, ...]:
    """Every run, test, action and unsafe act, in the order of their tables, with what each costs and why it cannot be done."""
    closed = _closed(bench) if bench.closed else ""
    x, car = examined(bench.car), bench.car
    last = bench.steps[-1] if bench.steps else None
    ways = []
    for to in RUNS:
        no = "The engine does not keep running." if to in (IDLE, WARM_UP) and not x.idles else ""
        ways.append(Way(run(to), RUN_WORDS[to], RUN_MINUTES[to], refused=closed or no))
    for key, tool in reading.instruments().items():
        again = last is not None and last.outcome == READ and last.instrument == key and key != reading.SWAP
        no = closed or reading.refusal(key, x, bench.bay)
        ways.append(Way(test(key), tool.title, tool.minutes_on(car, again), refused=no))
    for key, act in acting.actions().items():
        if key == SOUND_GROUP:
            continue  # said at the hand-over
        no = closed or action_refusal(bench, key)
        ways.append(Way(action(key), act.title, act.minutes_on(car), act.parts_on(car), no, key == "fit_lead"))
    for key, stopped in reading.unsafe_acts().items():
        ways.append(Way(unsafe(key), stopped["title"], refused=closed))
    return tuple(ways)


def truth_of(case: Case) -> tuple[str, ...]:
    """The faults of a case in words, for the debrief."""
    return tuple(fault(key).title for key in case.atom.faults)
