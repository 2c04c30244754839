"""What a person has to look at: one sentence, and beside it what kind of thing it is and whom or what it is about."""

from __future__ import annotations


class Finding(str):
    """A sentence for a person that also says, for a program, what it found and where.

    Parameters
    ----------
    kind : str
        One of the words below.
    subject : str
        A trainee, a file, a vehicle; stands before the sentence with a colon.
    words : str
    """

    __slots__ = ("kind", "subject", "words")

    kind: str
    subject: str
    words: str

    def __new__(cls, kind: str, subject: str, words: str) -> Finding:
        made = super().__new__(cls, f"{subject}: {words}")
        made.kind, made.subject, made.words = kind, subject, words
        return made

    def __getnewargs__(self):
        return self.kind, self.subject, self.words


# What formgrader shows and the records do not hold.
EXTRA_CREDIT, NOTHING_MARKED, OUT_OF_RANGE = "extra credit", "nothing marked", "mark out of range"
AUTOMATIC_MARK, NOT_TAKEN_OVER = "automatic mark changed", "not taken over"
# About a hand-in or a mark.
UNREADABLE, MISPLACED, AFTER_RETURN, WAITS = "unreadable", "misplaced", "after the return", "waits for a decision"
BESIDE = "what lies beside it"  # numbers or a receipt that do not fit
CANNOT_MARK, FAULT, NOTE = "cannot be marked", "fault of the program", "note on a sheet"
HELD = "held back"
# What 'term verify' compares.
LEDGER, MARK, GRADEBOOK, DECISION, ARRIVAL, ORIGIN = "ledger", "mark", "gradebook", "decision", "arrival", "origin"
