"""What a trainee's numbers were drawn from, as his issue says: which variant, which engine, what was kept."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from grader.exercise import issued
from grader.exercise.variant import DIGEST, ENGINE
from grader.records import vehicles

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True, slots=True)
class Drawn:
    """One exercise of one issue.

    `vehicle` is the key of the engine, of an own vehicle with its revision; empty where
    none was drawn. `own` is the digest of an own vehicle. `kept` says that numbers and
    answers come from an earlier attempt.
    """

    variant: str
    vehicle: str
    own: str
    kept: bool


def lines(connection: Connection) -> dict[str, str]:
    """Digest of every own vehicle of a term -> its key and revision in words."""
    return {revision.digest: revision.line for revision in vehicles.revisions(connection)}


def of_issue(record: str, own_lines: Mapping[str, str]) -> dict[str, Drawn]:
    """What was drawn, by exercise key.

    Parameters
    ----------
    record : str
        As tm_issue holds it.
    own_lines : dict
        From `lines`.

    Returns
    -------
    dict of str to Drawn
    """
    return {
        key: _drawn(entry.get("parameters", {}), entry, own_lines)
        for key, entry in json.loads(record).get("exercises", {}).items()
    }


def _drawn(parameters, entry, own_lines):
    # What a resit adds to the entry is no part of the numbers.
    numbers = {name: entry[name] for name in ("version", "parameters") if name in entry}
    variant = hashlib.sha256(json.dumps(numbers, sort_keys=True).encode()).hexdigest()[:8]
    own, engine = parameters.get(DIGEST, ""), parameters.get(ENGINE, "")
    return Drawn(variant, own_lines.get(own, engine) if own else engine, own, issued.KEPT in entry)
