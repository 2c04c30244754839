"""export: tables, workbook, packages and reports for the coordinator."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from grader.cli.output import findings, say

if TYPE_CHECKING:
    from grader.records.term.term import Term

app = typer.Typer(no_args_is_help=True, help="Tables, workbook, packages and reports for the coordinator.")

Terms = Annotated[
    list[Path] | None, typer.Option("--term", help="A term folder; may be given several times. Otherwise this folder.")
]
Spreadsheet = Annotated[bool, typer.Option("--spreadsheet", help="Made safe for opening in a spreadsheet.")]
Separator = Annotated[str, typer.Option(help="With --spreadsheet: , or ; (with decimal commas) or tab.")]
NoNames = Annotated[bool, typer.Option("--pseudonymous", help="Codes, no names, no free text, small cells hidden.")]
To = Annotated[Path | None, typer.Argument(help="Where to; otherwise exports/ in the (first) term folder.")]


def _opened(term: list[Path] | None) -> "list[Term]":
    from grader.reports.tables import scope

    return scope.open_all(term or [Path(".")])


def _table(name: str, says: str) -> None:
    def command(
        path: To = None,
        spreadsheet: Spreadsheet = False,
        separator: Separator = ",",
        pseudonymous: NoNames = False,
        term: Terms = None,
    ):
        from grader.pages import csv_file
        from grader.reports.export import package

        how = csv_file.manner(spreadsheet=spreadsheet, separator=separator)
        table = package.write(_opened(term), name, path, how=how, pseudonymous=pseudonymous)
        say(f"Written: {table.path} ({table.rows} rows)")

    command.__doc__ = says
    app.command(name)(command)


_table("grades", "Write grades.csv: a row for each trainee and module; absent is blank.")
_table("items", "Write items.csv: a row for each answered part of each attempt.")
_table("objectives", "Write objectives.csv: a row for each trainee and learning objective.")
_table("witnessed", "Write witnessed.csv: a row for each task seen on a real vehicle.")
_table("analysis", "Write analysis.csv: how hard each question is, how well it separates, its commonest slip.")
_table("variants", "Write variants.csv: whether the numbers drawn make a question easier or harder.")
_table("modules", "Write modules.csv: mean, spread, alpha with interval and standard error of each module.")
_table("changes", "Write changes.csv: the ledger, with reasons.")


@app.command("tables")
def tables(
    folder: To = None,
    spreadsheet: Spreadsheet = False,
    separator: Separator = ",",
    pseudonymous: NoNames = False,
    term: Terms = None,
) -> None:
    """Write all tables, policy.json and datapackage.json into one folder."""
    from grader.pages import csv_file
    from grader.reports.export import package

    how = csv_file.manner(spreadsheet=spreadsheet, separator=separator)
    written = package.write_all(_opened(term), folder, how=how, pseudonymous=pseudonymous)
    for table in written:
        say(f"Written: {table.path} ({table.rows} rows)")
    say(f"With their settings and their description: policy.json, datapackage.json in {written[0].path.parent}")


@app.command("workbook")
def workbook(
    path: To = None,
    layout: Annotated[Path | None, typer.Option(help="A saved layout, as the first sheet.")] = None,
    pseudonymous: NoNames = False,
    term: Terms = None,
) -> None:
    """Write programme.xlsx: all tables as sheets. Ids stay text; no text can act as a formula."""
    from grader.reports.export import layout as layouts
    from grader.reports.export import workbook as books

    saved = layouts.read(layout) if layout else None
    say(f"Written: {books.write(_opened(term), path, layout=saved, pseudonymous=pseudonymous)}")


@app.command("layout")
def layout(
    saved: Annotated[Path, typer.Argument(help="The saved layout, such as registry.toml.")],
    path: To = None,
    example: Annotated[bool, typer.Option("--example", help="Write an explained layout to begin with.")] = False,
    spreadsheet: Spreadsheet = False,
    separator: Separator = ",",
    term: Terms = None,
) -> None:
    """Write a table by a saved layout: your columns, headings, order and grade words."""
    from grader import files
    from grader.pages import csv_file
    from grader.reports.export import layout as layouts
    from grader.reports.export import package

    if example:
        files.write_new(saved, layouts.EXAMPLE)
        say(f"Written: {saved}. Change it as you like; then run the command without --example.")
        return
    how = csv_file.manner(spreadsheet=spreadsheet, separator=separator)
    opened = _opened(term)
    target = path or package.folder_for(opened) / f"{saved.stem}.csv"
    table = layouts.write(opened, layouts.read(saved), target, how)
    say(f"Written: {table.path} ({table.rows} rows)")


@app.command("programme")
def programme(
    path: Annotated[Path, typer.Argument(help="The file to write, such as programme.toml.")],
    centre: Annotated[str, typer.Option(help="Name of the training centre.")],
    year_starts: Annotated[str, typer.Option(help="Month-day on which a school year begins.")] = "09-01",
    term: Terms = None,
) -> None:
    """Write down which classes make up the whole programme, for OneRoster packages."""
    from grader.reports.export.oneroster import programme as programmes

    made = programmes.create(path, term or [Path(".")], centre=centre, year_starts=year_starts)
    count = len(made.folders)
    say(f"Written: {made.path}, with {count} {'class' if count == 1 else 'classes'}.")


@app.command("oneroster")
def oneroster(
    path: To = None,
    programme: Annotated[Path | None, typer.Option(help="The file that lists the whole programme.")] = None,
    bulk: Annotated[
        bool, typer.Option("--bulk", help="The whole programme; the receiver deletes what is not in it.")
    ] = False,
    drop: Annotated[list[str] | None, typer.Option(help="With --bulk: a class that may be deleted there.")] = None,
    pseudonymous: Annotated[bool, typer.Option("--pseudonymous", help="Codes in place of names and ids.")] = False,
    term: Terms = None,
) -> None:
    """Write a OneRoster CSV 1.2.1 package: a delta of some classes, or with --bulk the whole programme."""
    from grader.reports.export.oneroster import programme as programmes
    from grader.reports.export.oneroster import writer
    from grader.reports.export.oneroster.check import checker

    whole = programmes.read(programme) if programme else None
    opened = _opened(term) if term or not whole and not bulk else []
    made = writer.write(opened, path, programme=whole, bulk=bulk, drop=drop or (), pseudonymous=pseudonymous)
    say(f"Written: {made}")
    findings(checker.check(made, complete=True))


@app.command("check-oneroster")
def check_oneroster(package: Annotated[Path, typer.Argument(help="A OneRoster CSV 1.2.1 package.")]) -> None:
    """Check a OneRoster package, whoever wrote it."""
    from grader.reports.export.oneroster.check import checker

    faults = checker.check(package)
    say(f"{package.name}: {len(faults) or 'no'} findings.")
    findings(faults)


@app.command("evidence")
def evidence(
    trainee: Annotated[str, typer.Argument(help="One trainee's id; otherwise everybody with a mark.")] = "",
    to: Annotated[Path | None, typer.Option(help="Folder; otherwise exports/evidence in each term folder.")] = None,
    own_map: Annotated[Path | None, typer.Option("--map", help="Your own CSV: code,unit_standards.")] = None,
    term: Terms = None,
) -> None:
    """Write each trainee's evidence by objective and unit standard: calculated, simulated and witnessed apart."""
    from grader.reports.export.pages import evidence as pages

    written = pages.write(_opened(term), to, trainee=trainee, own_map=own_map)
    folders = ", ".join(dict.fromkeys(str(path.parent) for path in written))
    say(f"Written: {len(written)} pages" + (f" in {folders}" if written else "; nobody has a mark yet."))


@app.command("moderation")
def moderation(
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    path: To = None,
    sample: Annotated[int, typer.Option(help="How many sheets of each class.")] = 6,
    pseudonymous: NoNames = False,
    term: Terms = None,
) -> None:
    """Pack a sample of sheets for a moderator: marks, reasons, changes, and the answers as handed in."""
    from grader.reports.export.pages import moderation as pages

    made, names = pages.write(_opened(term), module, path, sample=sample, pseudonymous=pseudonymous)
    say(f"Written: {made}, {len(names)} sheets: {', '.join(names)}")


@app.command("report")
def report(
    path: To = None,
    programme: Annotated[
        Path | None, typer.Option(help="The file that lists the whole programme and its centre.")
    ] = None,
    centre: Annotated[str, typer.Option(help="Name of the training centre, where there is no programme file.")] = "",
    pseudonymous: NoNames = False,
    term: Terms = None,
) -> None:
    """Write programme.html: pass rates, what asks for a decision, trends, objectives, questions, changes, retention."""
    from grader.reports.export.oneroster import programme as programmes
    from grader.reports.export.pages import programme_report as pages

    whole = programmes.read(programme) if programme else None
    opened = programmes.open_whole(whole) if whole and not term else _opened(term)
    centre = centre or (whole.centre if whole else "")
    say(f"Written: {pages.write(opened, path, centre=centre, pseudonymous=pseudonymous)}")


@app.command("statements")
def statements(
    path: To = None,
    base: Annotated[str, typer.Option(help="How addresses of our activities begin.")] = "https://timing-mark.invalid/",
    pseudonymous: NoNames = False,
    term: Terms = None,
) -> None:
    """Write statements.ndjson: xAPI statements for a record store; a changed mark is voided and issued afresh."""
    from grader.reports.export.xapi import statements as xapi

    written = xapi.write(_opened(term), path, base=base, pseudonymous=pseudonymous)
    say(f"Written: {written.path} ({written.rows} statements)")
