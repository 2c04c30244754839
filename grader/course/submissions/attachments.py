"""What lies beside an answer sheet: the issue of numbers and the receipt. Our own record wins over both."""

from __future__ import annotations

import hmac
import re
from collections.abc import Sequence

from grader import files
from grader.course.issue import channels
from grader.errors import BadFile
from grader.exercise import issued
from grader.exercise.sheet import Sheet
from grader.records.term.term import Term

_DEEPEST = 4


def notes(term: Term, record: str, sheet: Sheet, sha256: str, company: Sequence[bytes]) -> list[str]:
    """Sentences about attachments that do not agree with the record or the answers.

    Parameters
    ----------
    term : Term
    record : str
        The issue as the term keeps it.
    sheet : Sheet
    sha256 : str
        Of the answer sheet.
    company : list of bytes

    Returns
    -------
    list of str
        Empty where everything agrees or nothing was there.
    """
    ours = issued.parse(record.encode())
    remarks = []
    if sheet.altered:
        remarks.append(
            "Its answers were changed after the lesson saved them: their digest in the file does not fit. They were taken as "
            "they are; ask who changed them."
        )
    for content in company:
        try:
            value = files.from_json(content, what="The file beside the answers")
        except BadFile as problem:
            remarks.append(f"{problem} The answers were taken; the term's own record of numbers counts.")
            continue
        if value.get("format") == issued.FORMAT:
            remarks += _issue_note(term, ours, content, sheet)
        else:
            remarks += _receipt_note(value, sheet, sha256, alone=len(company) <= 2)
    return remarks


def vouches(term: Term, record: str, company: Sequence[bytes]) -> bool:
    """Whether an issue of numbers that we made for just this work lies beside it."""
    ours = issued.parse(record.encode())
    for content in company:
        try:
            theirs = issued.parse(content)
        except BadFile:
            continue
        same = (theirs.trainee, theirs.module, theirs.attempt) == (ours.trainee, ours.module, ours.attempt)
        if same and (theirs == channels.without_answers(ours) or _ours(term, theirs)):
            return True
    return False


def owner(company: Sequence[bytes]) -> tuple[str, str, int] | None:
    """(trainee, module, attempt) that an issue beside an unreadable sheet names, or None."""
    for content in company:
        try:
            record = issued.parse(content)
        except BadFile:
            continue
        return record.trainee, record.module, record.attempt
    return None


def _issue_note(term, ours, content, sheet):
    try:
        theirs = issued.parse(content)
    except BadFile as problem:
        return [f"{problem} The answers were taken; the term's own record of numbers counts."]
    if (theirs.trainee, theirs.module, theirs.attempt) != (sheet.trainee, sheet.module, sheet.attempt):
        return []  # of somebody else whose files lie in the same folder
    if theirs == channels.without_answers(ours):  # from a folder for all, or an exchange
        return []
    if theirs.exercises != ours.exercises:
        return ["The issued.json beside it has other numbers than were issued. The term's own record counts."]
    if theirs != ours and not _ours(term, theirs):  # ours from before another due time has a token that fits it
        return ["The issued.json beside it was changed (its token does not fit). The term's own record counts."]
    return []


def _ours(term, theirs):
    return hmac.compare_digest(issued.seal(theirs, term.key), theirs.token)


def _receipt_note(value, sheet, sha256, *, alone):
    digests = _digests(value, _DEEPEST)
    if not digests or any(sha256.startswith(digest) for digest in digests):
        return []
    names = [value.get(key) for key in ("trainee", "module")]
    # In a folder shared by many, a receipt without a name belongs to whoever's answers it fits.
    if names != [None, None] and names != [sheet.trainee, sheet.module] or names == [None, None] and not alone:
        return []
    return [
        "The receipt beside it was given for other answers than these. They were taken as they are; ask whether the file "
        "was changed after handing in."
    ]


def _digests(value, depth):
    """Every SHA-256 (or beginning of one) under a name with sha256 in it, at any place of a small document."""
    digests = []
    if depth and isinstance(value, dict):
        for key, entry in value.items():
            if "sha256" in key.lower() and isinstance(entry, str) and re.fullmatch(r"[0-9a-f]{8,64}", entry.lower()):
                digests.append(entry.lower())
            digests += _digests(entry, depth - 1)
    elif depth and isinstance(value, list):
        for entry in value:
            digests += _digests(entry, depth - 1)
    return digests
