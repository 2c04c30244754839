"""The set of own tables: CSV files, the settings behind them, and a description for machines."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from grader import files
from grader.course.attempts import passing, standing
from grader.errors import Unknown
from grader.pages import csv_file
from grader.pages.csv_file import Manner, Written
from grader.records import vehicles
from grader.records.term.term import Term
from grader.reports.export import pseudonym
from grader.reports.tables import grades, item_analysis, people, scope, statistics, variants
from grader.reports.tables.columns import DAY, MOMENT, SHAPES

_PERSONAL = {"grades": grades.table, "items": people.items, "objectives": people.objectives,
             "witnessed": people.witnessed, "changes": people.changes}  # fmt: skip
_BY_PERSON = ("grades", "items", "objectives")  # long tables, which can be read in the order of the codes


def rows(opened: Sequence[Term], name: str, *, pseudonymous: bool = False) -> Iterator[dict[str, str]]:
    """The rows of one table over several terms, one after the other.

    Parameters
    ----------
    opened : sequence of Term
    name : str
        A key of `SHAPES`.
    pseudonymous : bool

    Yields
    ------
    dict of str to str
    """
    shape = SHAPES[name]
    if name in _PERSONAL:
        for term, connection in scope.each(opened):
            if not pseudonymous:
                yield from _PERSONAL[name](term, connection)
            elif name in _BY_PERSON:
                figures = _PERSONAL[name](term, connection, by=pseudonym.by_code(term))
                yield from pseudonym.person_rows(term, connection, shape, figures, in_order=True)
            else:
                yield from pseudonym.person_rows(term, connection, shape, _PERSONAL[name](term, connection))
        return
    pooled = item_analysis.pools(opened, drawn=name == "variants")
    figures = {"analysis": item_analysis.analysis, "variants": variants.rows, "modules": item_analysis.modules}[name](
        pooled
    )
    yield from pseudonym.figure_rows(shape, figures) if pseudonymous else figures


def folder_for(opened: Sequence[Term], *, pseudonymous: bool = False) -> Path:
    """Where exports go if nobody says otherwise: the first term's own folder."""
    place = opened[0].folder / "exports"
    return place / "pseudonymous" if pseudonymous else place


def write(
    opened: Sequence[Term],
    name: str,
    path: Path | None = None,
    *,
    how: Manner | None = None,
    pseudonymous: bool = False,
) -> Written:
    """Write one table and note it in the ledger.

    Returns
    -------
    stream.Written

    Raises
    ------
    Unknown
        No such table.
    CannotWrite
        The old file stands.
    """
    if name not in SHAPES:
        raise Unknown(f"There is no table {name!r}; there are {', '.join(SHAPES)}.")
    how = how or csv_file.Manner()
    path = Path(path) if path else folder_for(opened, pseudonymous=pseudonymous) / f"{name}.csv"
    written = csv_file.write_table(path, SHAPES[name], rows(opened, name, pseudonymous=pseudonymous), how)
    scope.note_export(opened, path.name, [path])
    return written


def write_all(
    opened: Sequence[Term], folder: Path | None = None, *, how: Manner | None = None, pseudonymous: bool = False
) -> list[Written]:
    """Write every table, policy.json and datapackage.json into one folder.

    Returns
    -------
    list of stream.Written
        The tables.
    """
    how = how or csv_file.Manner()
    folder = Path(folder) if folder else folder_for(opened, pseudonymous=pseudonymous)
    written = {}
    for name, shape in SHAPES.items():
        table_rows = rows(opened, name, pseudonymous=pseudonymous)
        written[name] = csv_file.write_table(folder / f"{name}.csv", shape, table_rows, how)
    files.write_text(folder / "policy.json", files.to_json(policy(opened, how, pseudonymous)), mode=files.PRIVATE)
    described = files.to_json(description(opened, written, how, pseudonymous))
    files.write_text(folder / "datapackage.json", described, mode=files.PRIVATE)
    name = "tables, pseudonymous" if pseudonymous else "tables"
    scope.note_export(opened, name, [table.path for table in written.values()])
    return list(written.values())


def policy(opened: Iterable[Term], how: Manner | None = None, pseudonymous: bool = False) -> dict[str, Any]:
    """Every setting behind the figures, as an object for JSON. The database's address is left out."""
    how = how or csv_file.Manner()
    classes = []
    for term, connection in scope.each(opened):
        settings = term.settings
        classes.append(
            {
                "class": pseudonym.HIDDEN if pseudonymous and pseudonym.is_small(connection) else term.id,
                "title": "" if pseudonymous else settings.title,
                "zone": settings.zone,
                "pass_percent": settings.pass_percent,
                "pass_percent_of_modules": _numbers(term.policy.pass_percents),
                "objectives": {
                    "met_from_percent": term.policy.threshold,
                    "met_from_percent_of": dict(term.policy.thresholds),
                    "must_be_met": sorted(term.policy.must_pass),
                },
                "totals": {"weights": term.policy.totals, "weight_of_modules": _numbers(term.policy.weights)},
                "missing_counts_zero": settings.missing_counts_zero,
                "late": {
                    "basis": settings.late_basis,
                    "percent_per_day": settings.late_percent_per_day,
                    "days_until_nothing": settings.late_days_until_nothing,
                    "grace_minutes": settings.late_grace_minutes,
                },
                "vehicles": [] if pseudonymous else _vehicles(connection),
                "attempts": {"allowed": settings.attempts, "counting": "best", "statistics": "first"},
                "retention": {
                    "years": settings.retention_years,
                    "keep_until": scope.keep_until(term, connection).isoformat(),
                },
            }
        )
    return {
        "format": "timing-mark policy",
        "schema": 2,
        "classes": classes,
        "marks": {
            "kept_as": "hundredths, whole numbers",
            "pass": "the pass mark, decided on the unrounded mark, and every objective that must be met",
            "practice": "is not passed or failed, and counts in no total",
            "totals": "excused work is left out; work not handed in counts 0 only after the due time",
            "shown": "half rounded up, but cut off where rounding would reach a limit that was missed",
            "absent": "blank, never 0",
        },
        "objectives": {
            "fewest_items": passing.FEWEST_ITEMS,
            "attempt": "the one that counts in the module; else the latest that examined the objective",
            "must_be_met": "in the attempt that counts; one that passes counts before one that does not",
        },
        "statistics": {
            "missing_marks": "listwise",
            "counts_only_below_n": statistics.FEW,
            "groups": f"upper and lower 27 % from n = {statistics.OUTER_FROM}, halves below",
            "interval_percent": 95,
            "variants": f"named if they differ by {statistics.UNLIKE} and by {statistics.ERRORS} standard errors",
        },
        "files": {"separator": how.separator, "decimal": how.decimal, "encoding": how.encoding},
        "pseudonymous": pseudonymous,
        "smallest_cell": pseudonym.SMALLEST_CELL if pseudonymous else None,
    }


def _numbers(shares):
    """Shares by module as numbers of JSON."""
    return {key: int(share) if share == int(share) else float(share) for key, share in shares.items()}


def _vehicles(connection):
    """Every own vehicle in all revisions, with the source of its figures and the modules assigned with it."""
    modules = {}
    for key in standing.assigned_modules(connection):
        for revision in vehicles.assigned(connection, key):
            modules.setdefault(revision.digest, []).append(key)
    return [
        {
            "key": revision.key,
            "revision": revision.revision,
            "title": revision.own.vehicle.title,
            "manual": revision.own.manual,
            "page": revision.own.page,
            "sha256": revision.digest,
            "modules": modules.get(revision.digest, []),
        }
        for revision in vehicles.revisions(connection)
    ]


def description(
    opened: Sequence[Term], written: Mapping[str, Written], how: Manner, pseudonymous: bool
) -> dict[str, Any]:
    """A Frictionless data package that describes the tables."""
    return {
        "name": "timing-mark-pseudonymous"
        if pseudonymous
        else "-".join(["timing-mark", *(term.id for term in opened)])[:100],
        "profile": "tabular-data-package",
        "resources": [_resource(SHAPES[name], table, how, pseudonymous) for name, table in written.items()],
    }


def _resource(shape, table, how, pseudonymous):
    return {
        "name": shape.name,
        "description": shape.says,
        "path": table.path.name,
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": how.encoding,
        "bytes": table.size,
        "hash": f"sha256:{table.sha256}",
        "dialect": {"delimiter": how.separator, "lineTerminator": "\r\n", "doubleQuote": True, "header": True},
        "schema": {
            "fields": [_field(column, how, pseudonymous) for column in shape.columns],
            "primaryKey": list(shape.key),
            "missingValues": [""],
        },
    }


def _field(column, how, pseudonymous):
    field = {"name": column.name, "type": column.kind, "description": column.says}
    constraints = {}
    if column.needed:
        constraints["required"] = True
    if column.words:
        constraints["enum"] = list(column.words)
    if column.kind == MOMENT:
        if pseudonymous and column.private == DAY:
            field["type"] = "date"
        else:
            field["format"] = "%Y-%m-%dT%H:%M:%S.%fZ"
    if column.kind == "number" and how.decimal != ".":
        field["decimalChar"] = how.decimal
    if constraints:
        field["constraints"] = constraints
    return field
