"""A moderation pack: a chosen sample of sheets with marks, reasons and every change, in one archive."""

import hashlib
import hmac
import io
import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path

from sqlalchemy import select

from grader import catalogue, files
from grader.course.attempts import evaluation, passing, standing
from grader.errors import BadSheet, Refused
from grader.pages import html
from grader.records import adjustments, schema
from grader.records.term.term import Term
from grader.reports.export import package, pseudonym
from grader.reports.export.pages import moderated
from grader.reports.tables import scope, wording
from grader.reports.tables.grades import hundredths, percent

SAMPLE = 6


def write(
    opened: Sequence[Term],
    module_key: str,
    path: Path | None = None,
    *,
    sample: int = SAMPLE,
    pseudonymous: bool = False,
) -> tuple[Path, list[str]]:
    """Write the pack and note it in the ledger of each class.

    Parameters
    ----------
    opened : sequence of Term
        Classes; each has its own sample, since each was marked by itself.
    module_key : str
    path : path or None
    sample : int
        How many sheets of a class: first the best and the weakest, then those nearest to
        the pass mark on both sides, then others in an order that nobody can choose.
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
        In a class nothing is marked, or a sample below one.
    """
    module = catalogue.module(module_key)
    if sample < 1:
        raise Refused(f"A sample of {sample} is none. Ask for at least 1.")
    path = path or package.folder_for(opened, pseudonymous=pseudonymous) / f"moderation-{module.key}.zip"
    content, names, classes = io.BytesIO(), [], []
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for term, connection in scope.each(opened):
            chosen = choose(term, scope.standings(term, connection, [module.key]), sample)
            if not chosen:
                raise Refused(f"Nothing of {module.key} is marked in {term.id}. Run 'mark' first; nothing was written.")
            place = f"sheets/{_hidden(term, connection, pseudonymous)}" if len(opened) > 1 else "sheets"
            here, summary = _pack(archive, term, connection, module, chosen, pseudonymous, place)
            names += here
            classes.append(summary)
        _put(archive, "index.html", html.page("moderation.html", module=module.title, classes=classes))
    with files.replacing(path) as target:
        target.write(content.getvalue())
    scope.note_export(opened, path.name, [path])
    return path, names


def _hidden(term, connection, pseudonymous):
    """Name of a class in the archive; a small one is not to be known by it."""
    hide = pseudonymous and pseudonym.is_small(connection)
    return pseudonym.code(term, term.id, "class of a moderation")[:8] if hide else term.id


def choose(term: Term, standings: Iterable[standing.Standing], sample: int) -> list[tuple[standing.Standing, str]]:
    """[(standing, why it was chosen)] of at most `sample` marked sheets."""
    marks = [
        (result, result.mark) for result in standings if result.mark is not None and result.state == standing.MARKED
    ]
    if not marks:
        return []
    marks.sort(key=lambda pair: (pair[1].mark / pair[1].most, pair[0].person.id))
    by_mark = [result for result, _ in marks]
    above = [result for result, row in marks if passing.reached(term, result.module, row.mark, row.most)]
    below = by_mark[: len(by_mark) - len(above)]
    order = [(by_mark[-1], "best mark"), (by_mark[0], "lowest mark")]
    order += [(result, "just reached the pass mark") for result in above[:1]] + [
        (result, "just missed the pass mark") for result in below[-1:]
    ]
    drawn = sorted(
        by_mark,
        key=lambda f: hmac.new(term.key, f"moderation\n{f.module}\n{f.person.id}".encode(), hashlib.sha256).digest(),
    )
    order += [(result, "drawn by lot") for result in drawn]
    chosen = {}
    for result, why in order:
        if result.person.id not in chosen and len(chosen) < sample:
            chosen[result.person.id] = (result, why)
    return list(chosen.values())


def _pack(archive, term, connection, module, chosen, pseudonymous, place):
    """Put the sheets of a class into the archive; (whose they are, what the index says of the class)."""
    index, names, decided = [], [], adjustments.read(connection)
    for attempt, why in chosen:
        person = attempt.person
        name = pseudonym.code(term, person.college_id) if pseudonymous else person.id
        names.append(name)
        shown = name if pseudonymous else f"{person.name} ({person.college_id})"
        mark, limit = attempt.mark, term.pass_percent(module.key)
        result = wording.result(term, attempt) if attempt.counts else "practice"
        index.append(
            (
                shown,
                why,
                f"{mark.attempt} of {attempt.attempts}",
                f"{hundredths(mark.mark)} of {hundredths(mark.most)}",
                f"{percent(mark.mark, mark.most, limit)} %",
                result,
                f"{place}/{name}.html",
            )
        )
        try:
            content = moderated.build(term, connection, module, attempt, shown, decided, pseudonymous)
        except BadSheet as problem:
            raise Refused(f"{person.id}: {problem} Nothing was written.") from None
        _put(archive, f"{place}/{name}.html", content)
        if not pseudonymous:  # the sheet itself names its trainee
            _put(archive, f"{place}/{name}.json", _hand_in(term, connection, attempt))
    must = "".join(
        f", and {code} from {term.policy.threshold_of(code)} %" for code in term.policy.must_pass_in(module.key)
    )
    hidden = pseudonymous and pseudonym.is_small(connection)
    summary = {
        "name": pseudonym.HIDDEN if hidden else term.id if pseudonymous else f"{term.settings.title} ({term.id})",
        "settings": f"Pass from {term.pass_percent(module.key):g} %{must}. Late work: "
        f"{term.settings.late_percent_per_day:g} % of the {term.settings.late_basis} a day. Marks are decided unrounded.",
        "sheets": html.table(
            f"{len(index)} sheets", ("whose", "why chosen", "attempt", "mark", "per cent", "result", "file"), index
        ),
    }
    return names, summary


def _hand_in(term, connection, attempt):
    table = schema.hand_in
    row = connection.execute(
        select(table).where(
            table.c.trainee == attempt.person.id,
            table.c.module == attempt.module,
            table.c.sha256 == attempt.mark.sha256,
        )
    ).first()
    try:
        return evaluation.kept(term, row) if row else b""
    except BadSheet as problem:
        raise Refused(f"{attempt.person.id}: {problem} Nothing was written.") from None


def _put(archive, name, content):
    archive.writestr(zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
