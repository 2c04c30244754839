"""A moderation pack: a chosen sample of sheets with marks, reasons and every change, in one archive."""

import hashlib
import hmac
import io
import zipfile

from sqlalchemy import select

from grader import catalogue
from grader.course import standing
from grader.course.export import package, pseudonym, scope, stream
from grader.course.export.grades import hundredths, passed, percent
from grader.course.export.papers import page
from grader.course.export.tables import people
from grader.course.records import ledger, schema
from grader.course.work import marking_run
from grader.errors import BadSheet, Refused

SAMPLE = 6


def write(term, module_key, path=None, *, sample=SAMPLE, pseudonymous=False):
    """Write the pack and note it in the ledger.

    Parameters
    ----------
    term : Term
    module_key : str
    path : path or None
    sample : int
        How many sheets: first the best and the weakest, then those nearest to the
        pass mark on both sides, then others in an order that nobody can choose.
    pseudonymous : bool

    Returns
    -------
    (Path, list of str)
        The archive, and whose sheets are in it.

    Raises
    ------
    Unknown
        No such module.
    Refused
        Nothing is marked, or a sample below one.
    """
    module = catalogue.module(module_key)
    if sample < 1:
        raise Refused(f"A sample of {sample} is none. Ask for at least 1.")
    path = path or package.folder_for([term], pseudonymous=pseudonymous) / f"moderation-{module.key}.zip"
    content = io.BytesIO()
    for _, connection in scope.each([term]):
        chosen = choose(term, standing.standings(term, connection, [module.key]), sample)
        if not chosen:
            raise Refused(f"Nothing of {module.key} is marked in {term.id}. Run 'mark' first; nothing was written.")
        with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
            names = _pack(archive, term, connection, module, chosen, pseudonymous)
    with stream.replacing(path) as target:
        target.write(content.getvalue())
    scope.note_export([term], path.name)
    return path, names


def choose(term, standings, sample):
    """[(standing, why it was chosen)] of at most `sample` marked sheets."""
    marked = [found for found in standings if found.mark is not None and found.state == standing.MARKED]
    if not marked:
        return []
    by_mark = sorted(marked, key=lambda found: (found.mark.mark / found.mark.most, found.person.id))
    below = [f for f in by_mark if not passed(term, f.mark.mark, f.mark.most)]
    above = [f for f in by_mark if passed(term, f.mark.mark, f.mark.most)]
    order = [(by_mark[-1], "best mark"), (by_mark[0], "lowest mark")]
    order += [(found, "just passed") for found in above[:1]] + [
        (found, "just missed the pass mark") for found in below[-1:]
    ]
    drawn = sorted(
        marked,
        key=lambda f: hmac.new(term.key, f"moderation\n{f.module}\n{f.person.id}".encode(), hashlib.sha256).digest(),
    )
    order += [(found, "drawn by lot") for found in drawn]
    chosen = {}
    for found, why in order:
        if found.person.id not in chosen and len(chosen) < sample:
            chosen[found.person.id] = (found, why)
    return list(chosen.values())


def _pack(archive, term, connection, module, chosen, pseudonymous):
    index, names = [], []
    for found, why in chosen:
        person = found.person
        name = pseudonym.code(term, person.college_id) if pseudonymous else person.id
        names.append(name)
        shown = name if pseudonymous else f"{person.name} ({person.college_id})"
        index.append((shown, why, hundredths(found.mark.mark), hundredths(found.mark.most),
                      f"{percent(term, found.mark.mark, found.mark.most)} %", f"sheets/{name}.html"))  # fmt: skip
        _put(archive, f"sheets/{name}.html", _sheet(term, connection, module, found, shown, pseudonymous))
        if not pseudonymous:  # the sheet itself names its trainee
            _put(archive, f"sheets/{name}.json", _hand_in(term, connection, found))
    parts = page.table(
        f"{len(index)} sheets of {module.title}", ("whose", "why chosen", "mark", "of", "per cent", "file"), index
    )
    settings = page.paragraph(
        f"Pass from {term.settings.pass_percent:g} %. Late work: {term.settings.late_percent_per_day:g} % of the "
        f"{term.settings.late_basis} a day. Marks are decided unrounded."
    )
    _put(archive, "index.html", page.page(f"Moderation: {module.title}, {term.id}", settings, parts))
    return names


def _sheet(term, connection, module, found, shown, pseudonymous):
    mark = found.mark
    table = schema.answer
    answers = connection.execute(
        select(table).where(
            table.c.trainee == found.person.id, table.c.module == module.key, table.c.attempt == mark.attempt
        )
    ).all()
    order = {path: n for n, (_, _, path) in enumerate(module.parts())}
    says = {slip.key: slip.says for _, part, _ in module.parts() for slip in part.slips}
    answers.sort(key=lambda row: (order.get(row.part, len(order)), row.part))
    rows = [
        (row.part, row.read_as if pseudonymous else row.raw, row.unit, row.expected, row.verdict, says.get(row.slip, row.slip),
         "" if people.waiting(row) else hundredths(row.hundredths), hundredths(row.most), "" if people.waiting(row) else people.path(row))
        for row in answers
    ]  # fmt: skip
    facts = [
        ("Mark before penalty", hundredths(mark.raw)), ("Penalty", hundredths(mark.penalty)), ("Days late", mark.late_days),
        ("Mark that counts", f"{hundredths(mark.mark)} of {hundredths(mark.most)}"), ("Attempt", mark.attempt),
        ("Marked by", mark.engine), ("Key", mark.key_version), ("SHA-256 of the answers", mark.sha256),
    ]  # fmt: skip
    changes = [
        (seq, at[:10] if pseudonymous else at, entry["event"], "" if pseudonymous else entry["actor"],
         _mark(entry["old"]), _mark(entry["new"]), "" if pseudonymous else entry["reason"])
        for seq, at, entry in ledger.entries(connection, "marked", "re-marked", "override", "extension", "excuse")
        if (entry["trainee"], entry["module"]) == (found.person.id, module.key)
    ]  # fmt: skip
    return page.page(
        f"{module.title}: {shown}",
        page.table("The mark", ("what", "value"), facts),
        page.table("Answers", ("part", "typed", "unit", "expected", "verdict", "slip", "mark", "of", "path"), rows),
        page.table(
            "What was changed, by whom and why", ("ledger row", "at", "event", "by", "old", "new", "why"), changes
        ),
    )


def _hand_in(term, connection, found):
    table = schema.hand_in
    row = connection.execute(
        select(table).where(
            table.c.trainee == found.person.id, table.c.module == found.module, table.c.sha256 == found.mark.sha256
        )
    ).first()
    try:
        return marking_run.kept(term, row) if row else b""
    except BadSheet as problem:
        raise Refused(f"{found.person.id}: {problem} Nothing was written.") from None


def _mark(value):
    return hundredths(value) if isinstance(value, int) else "" if value is None else str(value)


def _put(archive, name, content):
    archive.writestr(zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
