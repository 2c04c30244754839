"""Putting a policy in force in a class, and saying what is in force."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from pathlib import Path

from sqlalchemy import Connection

from grader import catalogue, files
from grader.errors import Refused
from grader.records import database, ledger, session
from grader.records.term import policy
from grader.records.term.term import Term

_CALLED = "policy: "
_DECIDING = (
    "pass_percent",
    "late_basis",
    "late_percent_per_day",
    "late_days_until_nothing",
    "late_grace_minutes",
    "missing_counts_zero",
    "attempts",
)
_NONE = f"{_CALLED}none"


def adopt(opened: Sequence[Term], path: str | Path, *, reason: str) -> list[Term]:
    """Keep a policy file in each term folder and note it in the ledgers; where it is in force already nothing is written.

    Parameters
    ----------
    opened : sequence of Term
    path : path
    reason : str

    Returns
    -------
    list of Term
        Those in which it is new.

    Raises
    ------
    BadFile
        The file cannot be used; nothing was changed in any class.
    Refused
        No reason.
    CannotWrite
        The disk refuses.
    """
    content = files.read_bytes(path, most=policy.LARGEST_FILE, what="The policy")
    policy.parse(content, path)
    if not reason.strip():
        raise Refused(
            "A policy is put in force with a reason; it stands in the ledger. Add --reason; nothing was changed."
        )
    new = [term for term in opened if not is_in_force(term, path)]
    for term in new:
        with session.begin(term, "taking a policy") as held:
            connection = held.connection
            entry = ledger.Entry(
                "settings", old=_noted(connection), new=_name(content), reason=reason.strip(), kind=ledger.POLICY
            )
            ledger.append(connection, [entry])
            files.write_bytes(term.folder / policy.NAME, content)
    return new


def is_in_force(term: Term, path: str | Path) -> bool:
    """Whether a policy file is the one in the term's folder, and the one that the ledger notes last."""
    content, place = files.read_bytes(path, most=policy.LARGEST_FILE, what="The policy"), term.folder / policy.NAME
    if not place.exists() or files.read_bytes(place, most=policy.LARGEST_FILE, what="The policy") != content:
        return False
    with database.reading(term) as connection:
        return _noted(connection) == _name(content)


def note_settings(opened: Sequence[Term], *, reason: str) -> None:
    """Note what each term.toml says now in the ledger, as what shall stand.

    Parameters
    ----------
    opened : sequence of Term
    reason : str

    Raises
    ------
    Refused
        No reason; nothing was noted.
    """
    if not reason.strip():
        raise Refused("Changed settings need a reason; it stands in the ledger. Add --reason; nothing was changed.")
    for term in opened:
        with session.begin(term, "noting settings") as held:
            ledger.append(held.connection, [settings_entry(term, reason.strip())])


def settings_entry(term: Term, reason: str) -> ledger.Entry:
    """The row of the ledger that says by which settings a term is marked."""
    return ledger.Entry("settings", new=json.dumps(_deciding(term)), reason=reason, kind=ledger.SETTINGS)


def _deciding(term):
    """Settings that decide about marks and passes; those of title, zone and place do not."""
    return {name: getattr(term.settings, name) for name in _DECIDING}


def _compare_settings(term, connection):
    """Terms made by an earlier version have nothing noted until their settings are noted once."""
    noted = [e["new"] for _, _, e in ledger.entries(connection, "settings") if e["kind"] == ledger.SETTINGS]
    if not noted:
        return
    before = json.loads(noted[-1])
    for name, value in _deciding(term).items():
        if name in before and before[name] != value:
            yield (
                f"term.toml says {name} {value}, and the ledger notes {before[name]} last. If it shall stand, run "
                "'term policy --reason ...'; otherwise put the old value back."
            )


def compare(term: Term, connection: Connection) -> list[str]:
    """What is in force must be what the ledger notes last: a file changed by hand leaves no reason there.

    Returns
    -------
    list of str
    """
    place = term.folder / policy.NAME
    there = _name(files.read_bytes(place, most=policy.LARGEST_FILE, what="The policy")) if place.exists() else _NONE
    noted = _noted(connection)
    settings = list(_compare_settings(term, connection))
    if there == noted:
        return settings
    return settings + [
        f"{policy.NAME} is not the one that the ledger notes last ({noted}; in the folder {there}). "
        f"If it shall stand, put it in force with 'term policy {policy.NAME} --reason ...'; otherwise put the old one back."
    ]


def _noted(connection):
    named = [entry["new"] for _, _, entry in ledger.entries(connection, "settings") if entry["kind"] == ledger.POLICY]
    return named[-1] if named else _NONE


def lines(term: Term) -> Iterator[str]:
    """What is in force in a class, as sentences."""
    rules = term.policy
    yield (
        f"Pass from {term.settings.pass_percent:g} %"
        + "".join(f"; {module} from {share:g} %" for module, share in rules.pass_percents.items())
        + "."
    )
    yield (
        f"An objective is met from {rules.threshold} %"
        + "".join(f"; {code} from {share} %" for code, share in rules.thresholds.items())
        + "."
    )
    must = ", ".join(code for code in catalogue.objectives() if code in rules.must_pass) if rules.must_pass else ""
    yield f"Must be met for a pass: {must or 'none'}."
    yield {
        policy.POINTS: "In totals a module counts by its marks.",
        policy.EQUAL: "In totals all modules count alike.",
        policy.GIVEN: "In totals modules weigh: "
        + ", ".join(f"{module} {weight:g} %" for module, weight in rules.weights.items())
        + ".",
    }[rules.totals]


def _name(content):
    """What the ledger calls a policy: enough to tell which file it was."""
    return f"{_CALLED}{hashlib.sha256(content).hexdigest()[:12]}"
