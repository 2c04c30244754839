"""Building the demo term from nothing, a whole month: class, numbers, hand-ins, marks, returned sheets, report, export."""

import csv
import io
import json
import zipfile
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

from sqlalchemy import select

from grader import catalogue, clock, files
from grader.course import roster, setup, term
from grader.course.demo import scenario, trainees
from grader.course.export import package
from grader.course.records import database, schema
from grader.course.report import build as report
from grader.course.returns import run as returning
from grader.course.work import assign, collect, marking_run
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.exercise.kinds import Written


@dataclass(frozen=True, slots=True)
class Built:
    """The demo as it stands after one run."""

    term: term.Term
    assigned: assign.Assigned
    collected: collect.Collected
    marked: marking_run.MarkRun
    returned: returning.Returned
    report: Path
    grades: Path
    diary: dict  # trainee id -> what the simulated trainee did


def free_folder(base):
    """The folder itself, or the next one with a number, so that no earlier demo is touched."""
    base = Path(base)
    number, folder = 1, base
    while folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        number += 1
        folder = base.with_name(f"{base.name}-{number}")
    return folder


def build(folder):
    """Run the demo's road from end to end in a new folder.

    Returns
    -------
    Built

    Raises
    ------
    Refused
        The folder is not empty, or its path cannot hold a term.
    CannotWrite
        The disk refuses.
    """
    made = setup.new_term(folder, **scenario.TERM)
    roster_file = made.folder / "rosters" / "class_list.csv"
    files.write_bytes(roster_file, _class_list())
    roster.import_list(made, roster_file)
    due = (
        (clock.now() - timedelta(days=3))
        .astimezone(clock.zone(made.settings.zone))
        .replace(hour=18, minute=0, second=0)
    )
    assigned = assign.assign(made, scenario.MODULE, due=due.strftime("%Y-%m-%d %H:%M"))
    moment = clock.from_text(assigned.due)
    diary = _hand_in(made)
    late = [made.folder / "inbox" / who for who in scenario.LATE]
    on_time = [made.folder / "inbox" / who for who in diary if who not in scenario.LATE and who != scenario.MISSING]
    collected = collect.collect(made, on_time, received_at=moment - timedelta(hours=2))
    second = collect.collect(made, late, received_at=moment + timedelta(hours=30))
    collected.taken += second.taken
    collected.findings += second.findings
    marked = marking_run.mark(made, scenario.MODULE)
    returned = returning.give_back(made, scenario.MODULE)
    (page,) = report.write([made], scenario.MODULE)
    grades = package.write([made], "grades").path
    return Built(made, assigned, collected, marked, returned, page, grades, diary)


def _class_list():
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(("id", "last_name", "first_name", "group"))
    writer.writerows(scenario.CLASS)
    return text.getvalue().encode()


def _without_letters(module, sheet, did):
    """Sheet and diary with every written answer left blank.

    Nobody reads in the demo; what waits to be read stays out of the item analysis, which then would be empty.
    """
    written = {path for _, part, path in module.parts() if isinstance(part, Written)}
    answers = {path: answer for path, answer in sheet.answers.items() if path not in written}
    kept = [trainees.Did(one.part, trainees.BLANK) if one.part in written else one for one in did]
    return replace(sheet, answers=answers), kept


def _hand_in(made):
    """Let every simulated trainee but one hand in; says what each did."""
    module = catalogue.module(scenario.MODULE)
    with database.transaction(made) as connection:
        records = [issued.parse(text.encode()) for text in connection.execute(select(schema.issue.c.record)).scalars()]
    diary = {}
    for record in sorted(records, key=lambda r: r.trainee):
        sheet, did = trainees.answer_sheet(module, record, scenario.SEED)
        sheet, diary[record.trainee] = _without_letters(module, sheet, did)
        if record.trainee == scenario.MISSING:
            continue
        content = sheets.dump(sheet)
        if record.trainee == scenario.CORRUPT:
            content = content[: len(content) // 2]
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(f"{module.key}/{sheets.NAME}", content)
            archive.writestr(f"{module.key}/{issued.NAME}", issued.dump(record))
        files.write_bytes(made.folder / "inbox" / record.trainee / f"{module.key}.zip", packed.getvalue())
    files.write_text(
        made.folder / "reports" / "what_the_simulated_trainees_did.json",
        json.dumps({who: [[d.part, d.what, d.slip] for d in did] for who, did in diary.items()}, indent=1) + "\n",
    )
    return diary
