"""Moments: aware UTC inside, ISO text in records, the term's zone on screens."""

import os
import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from grader.errors import Refused

_ISO = re.compile(r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?(?:Z|[+-]\d{2}:\d{2})?)?\Z")
_YEARS = (1900, 9998)
_MONTHS = "january february march april may june july august september october november december".split()
_DAY = re.compile(
    r"(?P<year>\d{4})(?P<sign>[-/.])(?P<month>\d{1,2})(?P=sign)(?P<day>\d{1,2})"
    r"|(?P<first>\d{1,2})(?P<sign2>[-/.]) ?(?P<second>\d{1,2})(?P=sign2) ?(?P<year2>\d{4})"
    r"|(?P<day3>\d{1,2})(?:st|nd|rd|th|\.)?[ -](?P<name3>[a-z]{3,9})\.?,?[ -](?P<year3>\d{4})"
    r"|(?P<name4>[a-z]{3,9})\.? (?P<day4>\d{1,2})(?:st|nd|rd|th)?,? (?P<year4>\d{4})",
    re.I,
)
_HOUR = re.compile(r"(?P<hour>\d{1,2})(?::(?P<minute>\d{2})(?P<rest>:\d{2})?)? ?(?P<half>[ap]\.?m\.?)?", re.I)


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


def here() -> str:
    """Name of the zone of this machine's clock, as far as the machine says it; otherwise UTC."""
    named = os.environ.get("TZ", "").removeprefix(":")
    link = os.path.realpath("/etc/localtime")
    for name in (named, link.partition("zoneinfo/")[2]):
        if name:
            try:
                return zone(name).key
            except Refused:
                continue
    return "UTC"


def parse(text: str, zone_name: str) -> datetime:
    """A date or moment that a person wrote, in the term's zone unless it says another.

    A date alone means the last second of that day.

    Raises
    ------
    Refused
        As `as_iso`; an hour that the clock skips.
    """
    text = as_iso(text)
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


def as_iso(text: str) -> str:
    """A date or moment as people write it, as 2026-03-31 or 2026-03-31 17:00.

    Read are 2026-03-31, 31.3.2026, 31/3/2026, 31 March 2026 and March 31, 2026, with or
    without an hour such as 17:00 or 5 pm behind it. With dots the day stands first wherever
    dots are used (common practice); with / or - only where one of the two can be no month.

    Raises
    ------
    Refused
        No such date, or one that means different days in different countries.
    """
    text = " ".join(text.split())
    if _ISO.match(text):
        return text
    day = _DAY.match(text)
    rest = text[day.end() :].removeprefix(",").removeprefix(" at ").strip() if day else ""
    hour = _HOUR.fullmatch(rest) if rest else None
    if day is None or rest and (hour is None or not (hour["minute"] or hour["half"])):
        raise Refused(
            f"“{text[:40]}” is not a date as needed here. Write year-month-day, such as 2026-03-31 or 2026-03-31 17:00."
        )
    return _iso_day(day, text) + (f" {_iso_hour(hour, text)}" if hour else "")


def _iso_day(day: re.Match[str], text: str) -> str:
    if day["year"]:
        return f"{day['year']}-{int(day['month']):02d}-{int(day['day']):02d}"
    if day["year2"]:
        first, second = int(day["first"]), int(day["second"])
        if day["sign2"] != "." and first != second and first <= 12 and second <= 12:
            one, other = (f"{day['year2']}-{m:02d}-{d:02d}" for d, m in ((first, second), (second, first)))
            raise Refused(
                f"“{text[:40]}” can be {first} {_MONTHS[second - 1].capitalize()} or {second} {_MONTHS[first - 1].capitalize()}: "
                f"such orders mean different days in different countries. Write {one} or {other}."
            )
        if day["sign2"] != "." and second > 12:
            first, second = second, first
        return f"{day['year2']}-{second:02d}-{first:02d}"
    named, number, year = (
        (day["name3"], day["day3"], day["year3"]) if day["year3"] else (day["name4"], day["day4"], day["year4"])
    )
    months = [n for n, name in enumerate(_MONTHS, 1) if name.startswith(named.lower())]
    if len(months) != 1:
        raise Refused(f"“{text[:40]}”: {named} is no month. Write year-month-day, such as 2026-03-31.")
    return f"{year}-{months[0]:02d}-{int(number):02d}"


def _iso_hour(hour: re.Match[str], text: str) -> str:
    count, half = int(hour["hour"]), (hour["half"] or "").lower()[:1]
    if count > 23 or half and not 1 <= count <= 12:
        raise Refused(f"“{text[:40]}”: there is no such hour. Write it as 2026-03-31 17:00.")
    if half:
        count = count % 12 + (12 if half == "p" else 0)
    return f"{count:02d}:{hour['minute'] or '00'}{hour['rest'] or ''}"


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
