"""Writing a OneRoster CSV 1.2.1 package, bulk for a whole programme, delta for a part of it."""

import csv
import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path

from grader import files
from grader.course.attempts import standing
from grader.errors import Refused
from grader.exercise.model import ASSESSED
from grader.records.term.term import Term
from grader.reports.export import package
from grader.reports.export.oneroster import programme as programmes
from grader.reports.export.oneroster import rows
from grader.reports.export.oneroster.programme import Programme
from grader.reports.tables import scope

BULK, DELTA = "bulk", "delta"
# Everything a manifest speaks of, in its order.
_KINDS = (
    "academicSessions",
    "categories",
    "classes",
    "classResources",
    "courses",
    "courseResources",
    "demographics",
    "enrollments",
    "lineItemLearningObjectiveIds",
    "lineItems",
    "lineItemScoreScales",
    "orgs",
    "resources",
    "resultLearningObjectiveIds",
    "results",
    "resultScoreScales",
    "roles",
    "scoreScales",
    "userProfiles",
    "userResources",
    "users",
)
_SYSTEM = ("Timing Mark", "timing-mark")
_EPOCH = (1980, 1, 1, 0, 0, 0)


def write(
    opened: Sequence[Term],
    path: Path | None = None,
    *,
    programme: Programme | None = None,
    bulk: bool = False,
    drop: Iterable[str] = (),
    pseudonymous: bool = False,
) -> Path:
    """Write a package and note it in the ledgers.

    Parameters
    ----------
    opened : sequence of Term
        For bulk, empty: the programme says which.
    path : path or None
    programme : Programme or None
    bulk : bool
        The receiver then deletes whatever is not in the package.
    drop : sequence of str
        Ids of terms that may vanish at the receiver.
    pseudonymous : bool
        Codes in place of names and ids.

    Returns
    -------
    Path

    Raises
    ------
    Refused
        A bulk package of a part, or one that would delete a class; an empty class.
    """
    if bulk and programme is None:
        raise Refused(
            "A bulk package tells the receiver to delete everything that is not in it. Name the whole programme with "
            "--programme, or leave --bulk out to send a delta; nothing was written."
        )
    if bulk and opened:
        raise Refused(
            "A bulk package covers the whole programme, never a part: the other classes would be deleted at the "
            "receiver. Leave --term out, or leave --bulk out to send a delta; nothing was written."
        )
    if programme and not opened:
        opened = programmes.open_whole(programme)
    elif programme:
        programmes.check_part(programme, opened)
    if bulk and programme:
        programmes.check_bulk(programme, opened, drop)
    for term, connection in scope.each(opened):
        if ASSESSED not in standing.modes(connection).values():
            raise Refused(
                f"In {term.id} no assessed work was assigned yet, so there is nothing to send. Nothing was written."
            )
    kind = BULK if bulk else DELTA
    path = path or package.folder_for(opened, pseudonymous=pseudonymous) / f"oneroster-{kind}.zip"
    with files.replacing(path) as target:
        _pack(target, opened, programme or programmes.ALONE, kind, names=not pseudonymous)
        programmes.note_sent(programme or programmes.ALONE, opened, path, bulk=bulk)
    return path


def _pack(target, opened, programme, kind, *, names):
    written = set()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, columns, source in rows.FILES:
            file_rows = _lines(opened, programme, kind, source, names, shared=name in rows.SHARED)
            first = next(file_rows, None)
            if first is None:  # a file without data rows is not permitted
                continue
            written.add(name)
            with archive.open(_member(f"{name}.csv"), "w", force_zip64=True) as raw:
                text = io.TextIOWrapper(raw, encoding="utf-8", newline="")
                writer = csv.writer(text, lineterminator="\r\n")
                writer.writerow(("sourcedId", "status", "dateLastModified", *columns.split(",")))
                writer.writerow(first)
                writer.writerows(file_rows)
                text.flush()
                text.detach()
        with archive.open(_member("manifest.csv"), "w") as raw:
            raw.write(_manifest(written, kind).encode())


def _lines(opened, programme, kind, source, names, *, shared):
    """Rows of one file over all terms; what several terms share comes once."""
    seen = set()
    for term, connection in scope.each(opened):
        part = rows.Part(term, connection, programme, names)
        state = ("", "") if kind == BULK else ("active", scope.last_change(connection))
        for id_, *cells in source(part):
            if id_ not in seen:
                if shared:
                    seen.add(id_)
                yield (id_, *state, *(_cell(cell) for cell in cells))


def _manifest(written, kind):
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(("propertyName", "value"))
    writer.writerow(("manifest.version", "1.0"))
    writer.writerow(("oneroster.version", "1.2"))
    writer.writerows((f"file.{name}", kind if name in written else "absent") for name in _KINDS)
    writer.writerow(("source.systemName", _SYSTEM[0]))
    writer.writerow(("source.systemCode", _SYSTEM[1]))
    return text.getvalue()


def _cell(value):
    """One value: no line break or control character, no more than a receiver has to keep."""
    return re.sub(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+", " ", str(value)).strip()[: rows.LONGEST]


def _member(name):
    member = zipfile.ZipInfo(name, date_time=_EPOCH)
    member.compress_type = zipfile.ZIP_DEFLATED
    return member
