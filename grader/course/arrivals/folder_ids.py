"""From a college's id to a name that folders, nbgrader and every system can carry."""

import hashlib
import re
import unicodedata

from grader.errors import Refused
from grader.records.term import term


def folder_id(college_id):
    """The id in small letters where that is safe; else a slug with 8 figures of its SHA-256.

    Parameters
    ----------
    college_id : str

    Returns
    -------
    str
        The same for spellings that differ only in capitals or in how an
        accent is written.
    """
    folded = unicodedata.normalize("NFC", unicodedata.normalize("NFC", college_id).casefold())
    try:
        return term.check_id(folded, "Trainee id")
    except Refused:
        bare = unicodedata.normalize("NFKD", folded).encode("ascii", "ignore").decode()
        slug = re.sub(r"[^a-z0-9]+", "-", bare).strip("-")[:40].strip("-") or "t"
        return f"{slug}-{hashlib.sha256(folded.encode()).hexdigest()[:8]}"
