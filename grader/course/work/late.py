"""What late work costs, computed afresh each time from the settings of the term."""

from datetime import timedelta

from grader import clock


def late_days(settings, due, received):
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


def penalty(settings, raw, most, days):
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
    return min(raw, int(base * settings.late_percent_per_day * days / 100 + 0.5))
