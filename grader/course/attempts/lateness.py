"""What late work costs, computed afresh each time from the settings of the term; and work that comes after the return."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from sqlalchemy import Connection, select

from grader import clock
from grader.exercise.model import PRACTICE
from grader.records import adjustments, ledger, schema
from grader.records.schema import ACCEPTED, AFTER_RETURN
from grader.records.term.term import Settings


def late_days(settings: Settings, due: datetime | None, received: datetime) -> int:
    """Days past the due time: 0 up to and including the due second, then 1, 2, ...

    A day ends at the same time of the clock on the wall, also where the clock
    is put forward or back in between.

    Parameters
    ----------
    settings : Settings
    due, received : datetime or None
        Aware. No due time: never late.

    Returns
    -------
    int
    """
    if due is None:
        return 0
    zone = clock.zone(settings.zone)
    limit = due + timedelta(minutes=settings.late_grace_minutes)
    if received <= limit:
        return 0
    wall = limit.astimezone(zone).replace(tzinfo=None)
    days = max(1, (received - limit).days)
    while received > (wall + timedelta(days=days)).replace(tzinfo=zone).astimezone(received.tzinfo):
        days += 1
    return days


def penalty(settings: Settings, raw: int, most: int, days: int) -> int:
    """Hundredths of a mark taken off.

    Parameters
    ----------
    settings : Settings
    raw, most : int
        Hundredths earned and obtainable.
    days : int
        From `late_days`.

    Returns
    -------
    int
        At most `raw`.
    """
    if days == 0 or settings.late_percent_per_day == 0:
        return 0
    if days > settings.late_days_until_nothing:
        return raw
    base = raw if settings.late_basis == "mark" else most
    per_day = Decimal(str(settings.late_percent_per_day))  # 0.7 as it is written, not as binary has it
    return min(raw, int(base * per_day * days / 100 + Decimal("0.5")))


def cost(settings: Settings, days: int) -> str:
    """What being so many days late costs, in words; empty where it costs nothing."""
    if days == 0:
        return ""
    if settings.late_percent_per_day == 0:
        return "which costs nothing"
    share = Decimal(str(settings.late_percent_per_day)) * days
    if days > settings.late_days_until_nothing or share >= 100:
        return "no marks"
    of = "mark earned" if settings.late_basis == "mark" else "maximum"
    return f"{share.normalize():f} % of the {of}"


def returned(connection: Connection) -> dict[tuple[str, str, int], tuple[str, str]]:
    """Attempts whose sheet went back, practice too: (trainee, module, attempt) -> (first return, digest of the last page).

    A sheet that was taken back is not among them.

    Parameters
    ----------
    connection : Connection

    Returns
    -------
    dict of (str, str, int) to (str, str)
    """
    latest: dict[tuple[str, str, int], tuple[str, str]] = {}
    for _, at, entry in ledger.entries(connection, "returned"):
        owner = (entry["trainee"], entry["module"], entry["attempt"])
        if entry["kind"] == ledger.TAKEN_BACK:
            latest.pop(owner, None)
        else:
            latest[owner] = (latest.get(owner, (at, ""))[0], entry["sha256"])
    return latest


def closed(connection: Connection) -> dict[tuple[str, str, int], tuple[str, str]]:
    """Attempts whose sheet went back: (trainee, module, attempt) -> (first return, accepted until).

    A returned sheet shows the right answers. What arrives afterwards counts only up to
    the moment that an extension granted since then names; the second is empty without
    one. Practice shows its answers at once, so returning it closes nothing.

    Parameters
    ----------
    connection : Connection

    Returns
    -------
    dict of (str, str, int) to (str, str)
        Moments as the records keep them, which are in order as texts.
    """
    table = schema.assignment
    practice = set(connection.execute(select(table.c.module).where(table.c.mode == PRACTICE)).scalars())
    first = {owner: at for owner, (at, _) in returned(connection).items() if owner[1] not in practice}
    until = {
        adjustments.owner(row): row.until
        for row in connection.execute(select(adjustments.extension))
        if row.at > first.get(adjustments.owner(row), row.at)
    }
    return {owner: (at, until.get(owner, "")) for owner, at in first.items()}


def too_late(known: Mapping[tuple[str, str, int], tuple[str, str]], owner: tuple[str, str, int], received: str) -> bool:
    """Whether a hand-in came after its sheet went back and nobody accepted it.

    Parameters
    ----------
    known : dict
        From `closed`.
    owner : (str, str, int)
    received : str
        Moment as the records keep it.
    """
    if owner not in known:
        return False
    returned, until = known[owner]
    return returned < received and until < received


def settle_arrivals(connection: Connection, owner: tuple[str, str, int], reason: str) -> None:
    """Let a decision about one attempt decide which of its hand-ins may count, in the caller's transaction.

    Nothing is taken away: a hand-in that may not count stays kept, with its finding.
    """
    known, table = closed(connection), schema.hand_in
    for row in connection.execute(select(table).where(*adjustments.of(table, owner))).all():
        if not _may_be_decided(row):
            continue
        barred = too_late(known, owner, row.received_at)
        if barred == (not row.usable):
            continue
        kind = AFTER_RETURN if barred else ACCEPTED
        connection.execute(table.update().where(table.c.id == row.id).values(usable=not barred, kind=kind))
        word = "no longer accepted" if barred else "accepted"
        entry = ledger.Entry(
            "handed-in",
            trainee=owner[0],
            module=owner[1],
            attempt=owner[2],
            sha256=row.sha256,
            new=row.received_at,
            reason=f"after the return, {word}: {reason}",
            kind=kind,
        )
        ledger.append(connection, [entry])


def barred(connection: Connection) -> set[tuple[str, str, int]]:
    """Attempts with a hand-in that arrived after the return and was not accepted.

    Returns
    -------
    set of (str, str, int)
    """
    rows = connection.execute(select(schema.hand_in).where(schema.hand_in.c.kind == AFTER_RETURN))
    return {adjustments.owner(row) for row in rows}


def compare(connection: Connection) -> Iterator[str]:
    """Sentences about hand-ins that count, or do not, otherwise than returns and extensions say."""
    known = closed(connection)
    for row in connection.execute(select(schema.hand_in).order_by(schema.hand_in.c.id)):
        owner = adjustments.owner(row)
        if not _may_be_decided(row) or too_late(known, owner, row.received_at) != row.usable:
            continue
        who = f"{row.trainee}, {row.module}, attempt {row.attempt}: the hand-in of {row.received_at}"
        if row.usable:
            yield f"{who} came after the return and counts, and nobody accepted it. Extend the due time, or look who changed it."
        else:
            yield f"{who} may count and is held to have come too late."


def _may_be_decided(row):
    """A sheet that can be read: whether it counts is a question of time alone."""
    return row.usable or row.kind == AFTER_RETURN
