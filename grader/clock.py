"""Moments: aware UTC inside, ISO text in records, the term's zone on screens."""

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from grader.errors import Refused

_ISO = re.compile(r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?(?:Z|[+-]\d{2}:\d{2})?)?\Z")
_YEARS = (1900, 9998)


def now() -> datetime:
    """This moment, aware, UTC."""
    return datetime.now(UTC)


def to_text(moment: datetime) -> str:
    """A moment as records keep it: sortable, UTC, milliseconds."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z"


def from_text(text: str) -> datetime:
    """A moment as records keep it, read back."""
    return datetime.fromisoformat(text)


def zone(name: str) -> ZoneInfo:
    """A time zone by its IANA name.

    Raises
    ------
    Refused
        No such zone.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise Refused(
            f"There is no time zone {name!r}. Write it as area and city, such as Europe/Lisbon, or UTC."
        ) from None


def parse(text: str, zone_name: str) -> datetime:
    """A date or moment that a person wrote, in the term's zone unless it says another.

    A date alone means the last second of that day.

    Raises
    ------
    Refused
        Not written as 2026-03-31 or 2026-03-31 17:00; an hour that the clock skips.
    """
    text = text.strip()
    if not _ISO.match(text):
        raise Refused(
            f"“{text[:40]}” is not a date as needed here. Write year-month-day, such as 2026-03-31 or 2026-03-31 17:00; "
            "other orders mean different days in different countries."
        )
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as problem:
        raise Refused(f"“{text}” is no date: {problem}. Check day, month and hour.") from None
    _check_year(moment.year, text)
    if len(text) == 10:
        moment = moment.replace(hour=23, minute=59, second=59)
    if moment.tzinfo is not None:
        return moment.astimezone(UTC)
    local = moment.replace(tzinfo=zone(zone_name))
    if local.astimezone(UTC).astimezone(local.tzinfo).replace(tzinfo=None) != moment:
        raise Refused(
            f"{text} does not exist in {zone_name}: the clock goes forward over it. Choose an hour earlier or later."
        )
    return local.astimezone(UTC)


def _check_year(year, text):
    """Near the ends of the calendar a moment has no equal in another zone."""
    if not _YEARS[0] <= year <= _YEARS[1]:
        raise Refused(
            f"“{text}” is in the year {year:04d}; years from {_YEARS[0]} to {_YEARS[1]} are read. Look at the year and write "
            "it again; nothing was changed."
        )


def arrival(text: str, zone_name: str) -> datetime:
    """`parse` for when something came in, which cannot be on a day still to come: a slip in the year would make it late.

    The day of today alone means its end; nothing came in later than now.

    Raises
    ------
    Refused
        As `parse`; a day after today.
    """
    moment, here = parse(text, zone_name), zone(zone_name)
    today = now().astimezone(here).date()
    if moment.astimezone(here).date() > today:
        raise Refused(
            f"{text.strip()} is still to come; today is {today}. Write when the work came in, or leave it out; "
            "nothing was taken."
        )
    return min(moment, now())


def shown(moment: datetime, zone_name: str) -> str:
    """A moment for a person: "2026-03-31 17:00 Europe/Lisbon"."""
    return f"{moment.astimezone(zone(zone_name)):%Y-%m-%d %H:%M} {zone_name}"
