"""Which statements of an attempt are sent again as they were, which are voided, and which are new."""

import hashlib
import json
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from grader.records.sent import Sent


@dataclass(frozen=True, slots=True)
class Draft:
    """A statement without id and moment.

    `fixed` is the moment of what it tells, if that belongs to what it says; else the
    moment is `at` of the first time that it was sent.
    """

    thing: str
    body: dict
    at: str = ""
    fixed: str = ""


def settle(
    before: Sent, drafts: Sequence[Draft], name: Callable[[str, str, int], str], now: str
) -> tuple[list[tuple[Draft, str, str]], Sent]:
    """What is to be sent of one attempt, and what is to be remembered of it.

    Only what says something else than when it was sent is voided and issued afresh.

    Parameters
    ----------
    before : Sent
    drafts : sequence of Draft
        Everything that stands now.
    name : callable
        (thing, digest, number) -> id of a statement; the number counts those voided before it.
    now : str
        When what is voided came to its end.

    Returns
    -------
    (list of (Draft, str, str), Sent)
        Each draft with its id and moment, and what to remember.
    """
    voided = [list(entry) for entry in before.voided]

    def count(object_key):
        return sum(entry[0] == object_key for entry in voided)

    made = {draft.thing: _digest(draft) for draft in drafts}
    for object_key, (digest, _) in before.standing.items():
        if made.get(object_key) != digest:
            voided.append([object_key, name(object_key, digest, count(object_key)), now])
    to_send, standing = [], {}
    for draft in drafts:
        digest = made[draft.thing]
        old = before.standing.get(draft.thing)
        at = old[1] if old and old[0] == digest else draft.at
        standing[draft.thing] = [digest, at]
        to_send.append((draft, name(draft.thing, digest, count(draft.thing)), draft.fixed or at))
    return to_send, Sent(standing, voided)


def statement_id(room: uuid.UUID, *what: object) -> str:
    """Id of a statement: the same for the same, and found out by nobody who lacks the room."""
    return str(uuid.uuid5(room, json.dumps(what)))


def _digest(draft):
    canonical = json.dumps([draft.fixed, draft.body], ensure_ascii=False, sort_keys=True)
    return hashlib.sha256(canonical.encode()).hexdigest()[:24]
