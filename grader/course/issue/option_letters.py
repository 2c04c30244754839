"""What stands on paper and what answers.json holds: letters for options and steps, k r u for a batch."""

import re

from grader.errors import Unreadable
from grader.exercise import listing
from grader.exercise.kinds import Choices
from grader.exercise.model import Choice
from grader.exercise.sorting import KEEP, REJECT, UNDECIDED, Batch, Order
from grader.exercise.variant import in_shown_order

AS_IT_STANDS = "!"  # before an answer that cannot be read and yet stands on the paper
DECISIONS = {"k": KEEP, "r": REJECT, "u": UNDECIDED, "-": ""}


def lettered(part, given):
    """(letter, key, wording) of a part's options or steps as its sheet shows them; empty for other kinds.

    Parameters
    ----------
    part : Number, Choice, ... of any kind
    given : namespace
        The trainee's parameters.
    """
    if not isinstance(part, (Choice, Choices, Order)):
        return ()
    shown = enumerate(in_shown_order(part, given))
    return tuple((chr(ord("A") + place), key, words) for place, (key, words) in shown)


def raw(part, given, text):
    """The text for answers.json of what somebody reads off a sheet.

    Parameters
    ----------
    part : Number, Choice, ... of any kind
    given : namespace
    text : str
        "B"; "A C" or "none"; "C A B"; "k r u k"; else what was written, word for word.

    Returns
    -------
    str

    Raises
    ------
    Unreadable
        A letter that the sheet does not show, or not the number of decisions asked.
    """
    text = text.strip()
    if isinstance(part, Batch):
        return _batch(part, given, text)
    keys = {letter: key for letter, key, _ in lettered(part, given)}
    if not keys or not text:
        return text
    if isinstance(part, Choices) and text.lower() == listing.NONE:
        return listing.NONE
    found = re.findall(r"[^\W\d_]", text.upper())
    if not re.fullmatch(r"[A-Za-z\s,;>.-]+", text) or not found or set(found) - set(keys):
        raise Unreadable(f"“{text[:30]}” are not letters of this sheet. Its letters are {', '.join(keys)}.")
    if len(set(found)) < len(found):
        raise Unreadable(f"“{text[:30]}” names a letter twice. Type each once.")
    if isinstance(part, Choice):
        if len(found) > 1:
            raise Unreadable(f"“{text[:30]}” are {len(found)} letters; one box may be ticked.")
        return keys[found[0]]
    return part.typed([keys[letter] for letter in found])


def as_it_stands(text):
    """The words behind the mark for an answer that cannot be read, or None without that mark."""
    text = text.strip()
    return text[len(AS_IT_STANDS) :].strip() if text.startswith(AS_IT_STANDS) else None


def _batch(part, given, text):
    if "=" in text or not text:
        return text
    labels, found = part.items(given), re.sub(r"[\s,;]", "", text.lower())
    if len(found) != len(labels) or set(found) - set(DECISIONS):
        raise Unreadable(
            f"{len(labels)} decisions are asked, for {', '.join(labels)}: type k, r or u for each, - where nothing is "
            "ticked, such as " + " ".join("kru-"[place % 4] for place in range(len(labels))) + "."
        )
    decisions = zip(labels, (DECISIONS[letter] for letter in found), strict=True)
    return ";".join(f"{label}={decision}" for label, decision in decisions if decision)
