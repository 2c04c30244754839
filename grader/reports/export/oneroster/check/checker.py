"""Checking a OneRoster CSV 1.2.1 package, whoever wrote it.

Rests on the column facts in datasets/oneroster_columns.csv alone and shares
nothing with the writer. A package is read file by file and row by row; what is kept
of the rows are the ids that others refer to.
"""

import re
import zipfile
import zlib
from datetime import date, datetime
from pathlib import Path

from grader import files, tables
from grader.errors import BadFile
from grader.reports.export.oneroster.check import lines, relations
from grader.reports.export.oneroster.check.relations import MOST, Findings, Once

COLUMNS = ("file", "column", "needed", "format", "refers_to", "vocabulary", "extendable")
LARGEST_FILE = 500_000_000
MANIFEST = "manifest.csv"
_GUID = re.compile(r"[0-9A-Za-z.\-_/@]{1,255}\Z")
_FORMATS = {
    "Date": re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z"),  # figures of other scripts are none
    "DateTime": re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z\Z"),
    "Year": re.compile(r"[0-9]{4}\Z"),
    "Boolean": re.compile(r"(?:true|false)\Z"),
    "Float": re.compile(r"-?[0-9]+(?:\.[0-9]+)?\Z"),
    "Integer": re.compile(r"-?[0-9]+\Z"),
}
_BREAK = re.compile("[\r\n\x85\u2028\u2029]")
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f]")


def check(path: Path | str, *, complete: bool = False) -> list[str]:
    """Everything wrong with a package, as sentences; empty for a good one.

    Parameters
    ----------
    path : path
    complete : bool
        Also ask of a delta that every record referred to is in it.

    Raises
    ------
    BadFile
        No readable file at all.
    """
    facts = {}
    for row in tables.rows("oneroster_columns.csv", COLUMNS):
        facts.setdefault(row["file"], []).append(row)
    with files.reading(path, most=LARGEST_FILE, what="The package") as stream:
        try:
            with zipfile.ZipFile(stream) as archive:
                return _check_archive(archive, facts, complete)[:MOST]
        except (zipfile.BadZipFile, zlib.error, RuntimeError, NotImplementedError, EOFError) as problem:
            return [f"It is no readable zip archive ({problem})."]
        except BadFile as problem:
            return [str(problem)]


def _check_archive(archive, facts, complete):
    members = [member.filename for member in archive.infolist()]
    findings = [f"{name} is there twice." for name in sorted(set(members)) if members.count(name) > 1]
    for member in archive.infolist():
        if member.compress_type != zipfile.ZIP_DEFLATED:
            findings.append(f"{member.filename} is not packed with DEFLATE.")
        if "/" in member.filename or "\\" in member.filename:
            findings.append(f"{member.filename} lies in a folder; all files stand at the root.")
        elif member.filename not in facts:
            findings.append(f"{member.filename} is no file of the standard; letter case counts.")
    if MANIFEST not in members:
        return [*findings, "manifest.csv is missing."]
    modes, problems = _manifest(list(lines.rows(archive, MANIFEST)), facts[MANIFEST])
    findings += problems
    for name in sorted(facts.keys() - {MANIFEST}):
        mode = modes.get(name, "absent")
        if (name in members) != (mode in ("bulk", "delta")):
            findings.append(
                f"The manifest says {name} is {mode}, and the package {'has' if name in members else 'lacks'} it."
            )
    names = [name for name in dict.fromkeys(members) if name in facts and name != MANIFEST]
    cells, between = Findings(), relations.Relations(names, facts, modes, complete=complete)
    for name in relations.order(names, facts):
        _file(archive, name, facts[name], modes.get(name), cells, between)
        between.end(name)
    between.close()
    return findings + cells.said + between.findings.said


def _manifest(rows, facts):
    """({file name: mode}, findings)."""
    findings, modes = [], {}
    if not rows or rows[0] != ["propertyName", "value"]:
        findings.append("manifest.csv must begin with propertyName,value.")
    body = [row for row in rows[1:] if len(row) == 2]
    if len(body) != len(rows[1:]):
        findings.append("manifest.csv has a row that is not two cells wide.")
    names = [name for name, _ in body]
    needed = [fact["column"] for fact in facts if fact["needed"] == "always"]
    for name in needed:
        if names.count(name) != 1:
            findings.append(f"manifest.csv has {name} {names.count(name)} times; it must be there once.")
    order = [fact["column"] for fact in facts]
    findings += [f"manifest.csv has the unknown property {name}." for name in names if name not in order]
    if [name for name in names if name in order] != [name for name in order if name in names]:
        findings.append("manifest.csv does not keep the order of the standard.")
    words = {fact["column"]: fact["vocabulary"].split(";") for fact in facts if fact["vocabulary"]}
    for name, value in body:
        if name in words and value not in words[name]:
            findings.append(f"manifest.csv: {name} is {value!r}; allowed is {', '.join(words[name])}.")
        if name.startswith("file."):
            modes[f"{name.removeprefix('file.')}.csv"] = value
    return modes, findings


def _file(archive, name, facts, mode, cells, between):
    """Read one file; what is wrong with its cells is said to `cells`, its rows are told to `between`."""
    rows = lines.rows(archive, name)
    header = next(rows, [])
    problem = _header(header, name, [fact["column"] for fact in facts])
    if problem:
        cells.say(problem)
        for _ in rows:  # whether it can be read at all is told all the same
            pass
        return
    ids, once = Once(("sourcedId",), "{name} line {line}: sourcedId {id} is there twice."), between.once(name)
    good: list[str | None] = [None] * len(facts)  # many columns say the same in every row
    line = 1
    for line, row in enumerate(rows, start=2):
        if len(row) != len(header):
            cells.say(f"{name} line {line} has {len(row)} cells under {len(header)} headings.")
            continue
        for place, fact in enumerate(facts):
            if row[place] == good[place]:
                continue
            problem = _cell(row[place], fact, mode)
            if problem:
                cells.say(f"{name} line {line}: {fact['column']} {problem}.")
            else:
                good[place] = row[place]
        cells_by_column = dict(zip(header, row, strict=True))
        for key in (ids, *once):
            key.note(cells_by_column)
        between.row(name, cells_by_column)
    if line == 1:
        cells.say(f"{name} has no data rows; then it must be left out.")
    doubtful = [key for key in (ids, *once) if key.is_doubtful()]
    if doubtful:
        _again(archive, name, doubtful, {ids: cells}, between.findings)


def _header(header, name, names):
    """What is wrong with the headings, or an empty text."""
    own = header[len(names) :]
    if header[: len(names)] != names or not all(re.match(r"metadata\.\S", extra) for extra in own):
        return f"{name} does not begin with {','.join(names[:4])} ... as the standard has it."
    return f"{name} has a heading of its own twice." if len(set(own)) < len(own) else ""


def _again(archive, name, doubtful, own, others):
    """Read a file once more for what may stand in it twice."""
    rows = lines.rows(archive, name)
    header = next(rows)
    for line, row in enumerate(rows, start=2):
        if len(row) == len(header):
            cells_by_column = dict(zip(header, row, strict=True))
            for key in doubtful:
                key.again(name, line, cells_by_column, own.get(key, others))


def _cell(text, fact, mode):
    """What is wrong with one cell, or an empty text."""
    if _BREAK.search(text):
        return "holds a line break"
    if _CONTROL.search(text):
        return "holds a control character"
    if fact["needed"] == "delta":
        if mode == "bulk":
            return "must be empty in bulk" if text else ""
        if not text:
            return "must be filled in a delta"
    if not text:
        return "is empty and obligatory" if fact["needed"] == "always" else ""
    if text != text.strip():
        return "begins or ends with a blank"
    kind = fact["format"]
    if kind.startswith("List of"):
        members = text.split(",")
        if not all(members):
            return "has an empty member"
        return "" if "GUID" not in kind or all(_GUID.match(member) for member in members) else "holds what is no id"
    if kind.startswith("GUID"):
        return "" if _GUID.match(text) else f"{text[:40]!r} is no id: letters, figures and . - _ / @ only"
    if fact["vocabulary"]:
        known = text in fact["vocabulary"].split(";") or (fact["extendable"] == "yes" and re.match(r"ext:\S", text))
        return "" if known else f"{text[:40]!r} is none of {fact['vocabulary'].replace(';', ', ')}"
    if kind in _FORMATS and not (_FORMATS[kind].match(text) and _exists(kind, text)):
        return f"{text[:40]!r} is no {kind} as the standard writes it"
    return f"has {len(text)} characters; a receiver keeps 255" if kind == "String" and len(text) > 255 else ""


def _exists(kind, text):
    try:
        if kind == "Date":
            date.fromisoformat(text)
        elif kind == "DateTime":
            datetime.fromisoformat(text)
    except ValueError:
        return False
    return True
