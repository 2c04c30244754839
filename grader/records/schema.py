"""Our own tables, in the same database as nbgrader's but never touching them."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Index, Integer, MetaData, String, Table, Text, UniqueConstraint

# 2: extensions, excuses, marks by hand; 3: answers that wait and are read, witnessed tasks; 4: own vehicles;
# 5: what became of a hand-in, why a verdict was given, and how numbers were delivered, each in columns of its own.
VERSION = 5

# What became of a hand-in, and which of these let it count.
COUNTS, UNREADABLE, AFTER_RETURN, ACCEPTED = "", "unreadable", "after the return", "accepted"
WAITS, SET_ASIDE = "waits", "set aside"
USABLE = (COUNTS, ACCEPTED)

metadata = MetaData()

version = Table(
    "tm_schema",
    metadata,
    Column("version", Integer, primary_key=True),
    Column("applied_at", String(32), nullable=False),
)

trainee = Table(
    "tm_trainee",
    metadata,
    Column("id", String(63), primary_key=True),
    Column("college_id", Text, nullable=False, unique=True),
    Column("last_name", Text, nullable=False),
    Column("first_name", Text, nullable=False),
    Column("group_name", Text, nullable=False, default=""),
    Column("status", String(16), nullable=False),  # enrolled, withdrawn
)

assignment = Table(
    "tm_assignment",
    metadata,
    Column("module", String(63), primary_key=True),
    Column("mode", String(16), nullable=False),
    Column("due", String(32), nullable=False),  # empty: no due time
    Column("assigned_at", String(32), nullable=False),
    Column("most", Integer, nullable=False),  # hundredths
    Column("withdrawn", Text, nullable=False, default=""),  # why; empty while it stands
)

issue = Table(
    "tm_issue",
    metadata,
    Column("trainee", String(63), primary_key=True),
    Column("module", String(63), primary_key=True),
    Column("attempt", Integer, primary_key=True),
    Column("issued_at", String(32), nullable=False),
    Column("due", String(32), nullable=False),
    Column("record", Text, nullable=False),  # issued.json, word for word
)

delivery = Table(
    "tm_delivery",
    metadata,
    Column("trainee", String(63), primary_key=True),
    Column("module", String(63), primary_key=True),
    Column("attempt", Integer, primary_key=True),
    Column("channel", String(16), primary_key=True),  # zips, folder, exchange, paper
    Column("at", String(32), nullable=False),
)

hand_in = Table(
    "tm_hand_in",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("trainee", String(63), nullable=False),
    Column("module", String(63), nullable=False),
    Column("attempt", Integer, nullable=False),
    Column("received_at", String(32), nullable=False),
    Column("source", Text, nullable=False),  # the file it came in
    Column("sha256", String(64), nullable=False),
    Column("usable", Boolean, nullable=False),
    Column("kind", String(24), nullable=False),  # what became of it, as above
    Column("arrival", String(32), nullable=False),  # when it came, together with others
    Column("saved_at", String(40), nullable=False),  # as the sheet says itself; a claim
    Column(
        "vouched", Boolean, nullable=False
    ),  # the numbers as we issued them lay beside it, or the exchange brought it
    Column("finding", Text, nullable=False),  # in words, what was found when it came
    UniqueConstraint("trainee", "module", "attempt", "sha256"),
)

mark = Table(
    "tm_mark",
    metadata,
    Column("trainee", String(63), primary_key=True),
    Column("module", String(63), primary_key=True),
    Column("attempt", Integer, primary_key=True),
    Column("state", String(16), nullable=False),  # marked, partly marked
    Column("raw", Integer, nullable=False),  # hundredths, as all marks here
    Column("penalty", Integer, nullable=False),
    Column("mark", Integer, nullable=False),
    Column("most", Integer, nullable=False),
    Column("late_days", Integer, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("handed_in_at", String(32), nullable=False),
    Column("marked_at", String(32), nullable=False),
    Column("engine", Text, nullable=False),
    Column("key_version", Text, nullable=False),
    Column("notes", Text, nullable=False),
    Column("pending", Integer, nullable=False, default=0),  # hundredths that wait for the instructor
)

answer = Table(
    "tm_answer",
    metadata,
    Column("trainee", String(63), primary_key=True),
    Column("module", String(63), primary_key=True),
    Column("attempt", Integer, primary_key=True),
    Column("part", String(120), primary_key=True),
    Column("exercise", String(120), nullable=False),
    Column("raw", Text, nullable=False),
    Column("unit", Text, nullable=False),
    Column("read_as", Text, nullable=False),
    Column("expected", Text, nullable=False),
    Column("verdict", String(24), nullable=False),
    Column("slip", String(63), nullable=False),
    Column("hundredths", Integer),  # null while the answer waits to be read
    Column("most", Integer, nullable=False),
    Column("chosen", Text, nullable=False),  # the unit chosen beside the answer; empty for the asked one
    Column("why", Text, nullable=False),  # a sentence, where the verdict needs one
    Column("own", Text, nullable=False),  # JSON: what was read
    Column("target", Text, nullable=False),  # JSON: what was right for this answer, carried values included
    Column("width", Text, nullable=False),  # JSON: how far from it is still right
)
Index("tm_answer_by_exercise", answer.c.module, answer.c.exercise)

ledger = Table(
    "tm_ledger",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("at", String(32), nullable=False),
    Column("event", String(24), nullable=False),
    Column("payload", Text),  # who, what, old, new, why; null once the person is deleted
    Column("salt", String(32)),
    Column("digest", String(64), nullable=False),  # of salt and payload
    Column("previous", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
)


def text(words: str) -> str:
    """Words of a sheet as the records keep them: PostgreSQL cannot hold the zero character."""
    return words.replace("\0", "\ufffd")
