"""The cases of the bench: which car, what is wrong with it, and what its owner says.

A case is drawn from a number, an engine and a level, and is complete in itself: its plain
form stands among a trainee's own numbers, so that later tables change nothing about it.
What is wrong is sealed there against a glance, not against somebody who reads this file.
"""

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType, SimpleNamespace
from typing import Any

from grader.bench import owner
from grader.bench.atoms import (
    KMILES,
    PAIRS_SHARE,
    SOUND_GROUP,
    SOUND_SHARE,
    Atom,
    car_of,
    common,
    of_key,
)
from grader.bench.draws import Draws
from grader.bench.likelihood import complaints_of, idles, table
from grader.errors import Refused, Unknown
from grader.units import grouped
from grader.vehicle.car import Car
from grader.vehicle.faults import HIGH, LOW, MID, SOUND, cylinder_at, fault
from grader.vehicle.spec import Vehicle, vehicle

LEVELS = (1, 2, 3, 4)
NO_START, PRIMARY, POINTS, ADVANCE, SECONDARY, PLUGS, NOT_IGNITION = FAMILIES = (
    "no start",
    "primary",
    "points",
    "advance",
    "secondary",
    "plugs",
    "not ignition",
)
LEVEL_WORDS = MappingProxyType(
    {
        1: "one fault, severe; the owner leaves nothing out",
        2: "one fault, of middle severity; the owner leaves something out",
        3: "one fault, slight or middle; one word of the owner is wrong",
        4: "one fault or two, or an ignition that is sound",
    }
)
_SEVERITIES = {1: (HIGH,), 2: (MID,), 3: (LOW, MID), 4: (MID,)}
_WORDS_OF_NO_START = {"no_start", "dies_on_release"}
_HOT_OR_DAMP = {"hard_start_hot", "hard_start_damp", "misfire_hot", "misfire_damp"}
_TRIES = 400
_KEY = hashlib.sha256(b"Timing Mark bench cases").digest()


@dataclass(frozen=True, slots=True)
class Case:
    """One car on the bench.

    engine: key of the vehicle. level: 1 to 4. atom: what is wrong. place: of the firing order,
    where one cylinder is concerned. kmiles [thousand miles] on the plugs. words: complaints that
    the owner names on the job card. seed: from which scatter and mishaps are drawn.
    """

    engine: str
    level: int
    atom: Atom
    place: int
    kmiles: float
    words: tuple[str, ...]
    seed: str

    @property
    def spec(self) -> Vehicle:
        """Its manual."""
        return vehicle(self.engine)

    @property
    def car(self) -> Car:
        """The car as it is brought in."""
        return car_of(self.engine, self.atom, self.kmiles, self.place)

    @property
    def cylinder(self) -> int:
        """Number of the cylinder where a fault of one cylinder sits."""
        return cylinder_at(self.spec, self.place)

    @property
    def family(self) -> str:
        """Which of `FAMILIES` it belongs to."""
        return family_of(self.engine, self.atom, self.kmiles)

    @property
    def key(self) -> bytes:
        """From which all chance in a session is drawn."""
        return bytes.fromhex(self.seed)

    @property
    def plain(self) -> dict[str, Any]:
        """The case as plain JSON values, for a trainee's own numbers; `from_plain` reads it."""
        hidden = json.dumps({"atom": self.atom.key, "place": self.place}, separators=(",", ":"))
        return {
            "engine": self.engine,
            "level": self.level,
            "kmiles": self.kmiles,
            "words": list(self.words),
            "seed": self.seed,
            "sealed": base64.b64encode(_masked(hidden.encode(), self.key)).decode(),
        }


@dataclass(frozen=True, slots=True)
class JobCard:
    """What stands on the job card: vehicle, how it came, miles on the plugs, what was done last, the owner's words."""

    vehicle: str
    arrived: str
    plugs: str
    last_work: str
    words: tuple[str, ...]


def from_plain(values: Mapping[str, Any] | SimpleNamespace) -> Case:
    """A case from its plain form, or from a namespace of a trainee's own numbers that holds it.

    Raises
    ------
    Unknown
        It names a vehicle or a fault that does not exist.
    """
    values = values if isinstance(values, Mapping) else vars(values)
    hidden = json.loads(_masked(base64.b64decode(values["sealed"]), bytes.fromhex(values["seed"])))
    vehicle(values["engine"])
    atom = of_key(hidden["atom"])
    for key in atom.faults:
        fault(key)
    return Case(
        engine=values["engine"],
        level=values["level"],
        atom=atom,
        place=hidden["place"],
        kmiles=values["kmiles"],
        words=tuple(values["words"]),
        seed=values["seed"],
    )


def _masked(text: bytes, key: bytes) -> bytes:
    stream = b"".join(hashlib.sha256(key + bytes([block])).digest() for block in range(len(text) // 32 + 1))
    return bytes(byte ^ mask for byte, mask in zip(text, stream, strict=False))


def job_card(case: Case) -> JobCard:
    """The job card of a case."""
    sentences = owner.complaint_words()
    runs = idles(case.engine, case.kmiles)[table(case.engine).atoms.index(case.atom)]
    history = [sentences[word] for word in case.words if word.endswith("_again")]
    return JobCard(
        vehicle=case.spec.title,
        arrived="It was driven in." if runs else "It was towed in.",
        plugs=f"{grouped(1000 * case.kmiles)} miles on the plugs",
        last_work=" ".join(history) or "Nothing is known of the last work.",
        words=tuple(sentences[word] for word in case.words if not word.endswith("_again")),
    )


def family_of(engine: str, atom: Atom, kmiles: float) -> str:
    """Which of `FAMILIES` a car belongs to: it will not start, or the system of its first fault.

    Two faults of different systems belong to the system of the first.
    """
    if atom.groups == {SOUND_GROUP}:
        return NOT_IGNITION
    if _WORDS_OF_NO_START & set(complaints_of(engine, atom, kmiles)):
        return NO_START
    return atom.system


def drawn(engine: str, level: int, number: int, families: Sequence[str] = FAMILIES) -> Case:
    """The case of a number: the same number gives the same case on every machine.

    Only cars whose owner has something to complain of are drawn; miles are added until he has.

    Parameters
    ----------
    engine : str
    level : int
        1 to 4, as `LEVEL_WORDS` tells.
    number : int
    families : sequence of str
        From which it may come.

    Raises
    ------
    Unknown
        No such engine, level or family.
    Refused
        No car of these families and this level has an owner who complains.
    """
    vehicle(engine)
    if level not in LEVELS or not families or set(families) - set(FAMILIES):
        raise Unknown(
            f"Level {level} and families {', '.join(families)}: allowed are 1 to 4 and {', '.join(FAMILIES)}."
        )
    draws = Draws(_KEY, "case", engine, level, number)
    fit = _fitting(engine, level)
    for turn in range(_TRIES):
        turned = draws.uniform()
        atom = _weighted(next(some for upto, some in fit if turned < upto or upto == 1.0), draws)
        kmiles = _complaining(engine, atom, int(draws.uniform(0, len(KMILES))))
        if kmiles is None or family_of(engine, atom, kmiles) not in families:
            continue
        true = complaints_of(engine, atom, kmiles)
        if level == 3 and turn < _TRIES // 20 and not _HOT_OR_DAMP & set(true):
            continue  # first of all those that show themselves hot or damp only
        return Case(
            engine=engine,
            level=level,
            atom=atom,
            place=int(draws.uniform(0, vehicle(engine).cylinders)),
            kmiles=kmiles,
            words=_said(true, level, draws),
            seed=f"{draws.word():016x}",
        )
    raise Refused(f"No car of level {level} on {engine} belongs to {', '.join(families)}. Take in another family.")


def _fitting(engine: str, level: int) -> list[tuple[float, list[Atom]]]:
    """What may be on the car: of the highest level first whether it has two faults, a sound ignition, or one fault."""
    allowed = _SEVERITIES[level]
    fit = [
        atom
        for atom in table(engine).atoms
        if SOUND not in atom.faults and (atom.severity in allowed or fault(atom.faults[0]).severities is None)
    ]
    single = [atom for atom in fit if len(atom.faults) == 1]
    if level < 4:
        return [(1.0, single)]
    return [
        (PAIRS_SHARE, [atom for atom in fit if len(atom.faults) > 1]),
        (PAIRS_SHARE + SOUND_SHARE, [atom for atom in single if atom.groups == {SOUND_GROUP}]),
        (1.0, [atom for atom in single if atom.groups != {SOUND_GROUP}]),
    ]


def _weighted(fit: list[Atom], draws: Draws) -> Atom:
    """One of them, by how common it is; the root, so that a class sees the seldom ones too."""
    weights = [common(atom) ** 0.5 for atom in fit]
    left = draws.uniform(0, sum(weights))
    for atom, weight in zip(fit, weights, strict=True):
        left -= weight
        if left < 0:
            return atom
    return fit[-1]


def _complaining(engine: str, atom: Atom, start: int) -> float | None:
    """Miles on the plugs from which the owner complains, beginning at one of `KMILES`."""
    return next((kmiles for kmiles in KMILES[start:] if complaints_of(engine, atom, kmiles)), None)


def _said(true: Sequence[str], level: int, draws: Draws) -> tuple[str, ...]:
    if level == 1:
        return tuple(true)
    heard = {key: draws.chance(owner.SAID if key in true else 0.0) for key in owner.complaint_words()}
    if level == 4:
        return tuple(owner.listen(true, draws))
    if not any(heard.values()):
        heard[true[int(draws.uniform(0, len(true)))]] = True
    if level == 3:
        others = [key for key in owner.complaint_words() if key not in true and not key.endswith("_again")]
        heard[others[int(draws.uniform(0, len(others)))]] = True
    return tuple(key for key, is_said in heard.items() if is_said)
