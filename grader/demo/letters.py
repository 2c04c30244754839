"""A seeded model of short letters and of an instructor who reads them.

Each point of a rubric is met well, vaguely or not at all: well with the chance of
the trainee's skill, of the rest half vaguely and half not. For the demo's own letter
the sentences stand here in five trainees' ways of writing; for another written
answer a trainee keeps the model answer's first sentences, the more the better he is.

The instructor gives a point that is met well its full marks (95 in 100) or half of
them; a vague one half (70 in 100), none (20) or all; one that is missing nothing.
His comment speaks of the first point that is not met well. He knows what a point
is worth from the rubric alone; he never sees the trainee's skill.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random
from types import SimpleNamespace

from grader.exercise.part import Part

WELL, VAGUE, MISSING = "well", "vaguely", "missing"

_OPENINGS = ("Good morning.", "Thank you for asking.", "I understand that this looks odd.", "", "Dear customer.")
_CAUSE = {
    WELL: (
        "The engine ran too fast when that figure was read. Little weights had already pushed the spark forward, so it looked "
        "right and was late everywhere else.",
        "At {fast_rpm} turns the weights inside help the mark along. Take that help away at the proper idle and the spark comes "
        "too late, at every speed.",
        "On the old bill the light showed two things added together, the setting and the weights that swing out with speed. "
        "The setting alone was too late.",
    ),
    VAGUE: (
        "It was set at the wrong speed, so it was not right.",
        "The idle was too high then and that changes the timing.",
    ),
}
_DONE = {
    WELL: (
        "We brought the idle down to {idle_rpm}, set it to {initial_deg:g}° there and checked it again higher up. Anybody can "
        "be caught out by a fast idle.",
        "I measured it with the light at {idle_rpm} turns, set {initial_deg:g}° and wrote both figures on your bill. The other "
        "shop surely read what its light showed.",
    ),
    VAGUE: ("We set it properly now.", "I have adjusted it and it runs better."),
}
_BANK = {"m01.letter.text": (_CAUSE, _DONE)}
_PRAISE = ("Clear and fair. I would send it like this.", "The owner will understand this. Well done.")
_ASK = (
    "Say it once more in plain words, as to a neighbour: “{point}”.",
    "Here I looked for: “{point}”. Add one sentence.",
)


@dataclass(frozen=True, slots=True)
class Letter:
    """What was written, and how each point of the rubric is met."""

    text: str
    met: tuple


def write(random: Random, skill: float, path: str, part: Part, given: SimpleNamespace, model: str) -> Letter:
    """A letter of one trainee.

    Parameters
    ----------
    random : Random
    skill : float
    path : str
    part : Part
        One that an instructor reads.
    given : namespace
        His own numbers.
    model : str
        The model answer.

    Returns
    -------
    Letter
    """
    met = tuple(_met(random, skill) for _ in part.rubric)
    if path not in _BANK:
        sentences = model.split(". ")
        kept = [s for s, m in zip(_shared(sentences, len(met)), met, strict=True) if m != MISSING]
        return Letter(" ".join(kept) or sentences[0], met)
    templates = [random.choice(_OPENINGS)]
    templates += [random.choice(bank[how]) for bank, how in zip(_BANK[path], met, strict=True) if how != MISSING]
    text = " ".join(sentence.format(**vars(given)) for sentence in templates if sentence)
    return Letter(text or "I am not sure how to put it.", met)


def read(random: Random, part: Part, met: Sequence[str]) -> tuple[tuple[str, ...], str]:
    """What the simulated instructor gives.

    Parameters
    ----------
    random : Random
    part : Part
        One that an instructor reads.
    met : tuple of str
        How each point of the rubric is met.

    Returns
    -------
    (tuple of str, str)
        Marks for each point, as an instructor types them, and his comment.
    """
    points = tuple(
        f"{_given(random, how, most * 100) / 100:g}" for how, (_, most) in zip(met, part.rubric, strict=True)
    )
    weak = next((says for how, (says, _) in zip(met, part.rubric, strict=True) if how != WELL), "")
    return points, random.choice(_ASK).format(point=weak) if weak else random.choice(_PRAISE)


def _met(random, skill):
    if random.random() < skill:
        return WELL
    return VAGUE if random.random() < 0.5 else MISSING


def _given(random, how, most):
    chance = random.random()
    if how == MISSING:
        return 0
    if how == WELL:
        return most if chance < 0.95 else most // 2
    return most // 2 if chance < 0.70 else 0 if chance < 0.90 else most


def _shared(sentences, count):
    """The sentences in so many runs of about the same length, in their order."""
    size = -(-len(sentences) // count)
    return [". ".join(sentences[n * size : (n + 1) * size]) for n in range(count)]
