"""Building the demo term from nothing, a whole month: class, numbers, hand-ins, marks, returned sheets, report, export."""

import csv
import io
import json
import zipfile
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from random import Random

from sqlalchemy import select

from grader import catalogue, clock, files
from grader.course import roster, setup, term
from grader.course.demo import letters, scenario, trainees
from grader.course.export import package
from grader.course.records import database, schema
from grader.course.report import build as report
from grader.course.returns import run as returning
from grader.course.work import assign, collect, marking_run, written
from grader.exercise import issued
from grader.exercise import sheet as sheets


@dataclass(frozen=True, slots=True)
class Built:
    """The demo as it stands after one run."""

    term: term.Term
    assigned: assign.Assigned
    collected: collect.Collected
    marked: marking_run.MarkRun
    read: list  # (written answer, its trainee's mark afterwards)
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
    read = _read_letters(made, diary)
    returned = returning.give_back(made, scenario.MODULE)
    (page,) = report.write([made], scenario.MODULE)
    grades = package.write([made], "grades").path
    return Built(made, assigned, collected, marked, read, returned, page, grades, diary)


def _class_list():
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(("id", "last_name", "first_name", "group"))
    writer.writerows(scenario.CLASS)
    return text.getvalue().encode()


def _read_letters(made, diary):
    """Let the simulated instructor read what waits; he meets the letters in the order by lot that he is shown."""
    parts = {path: part for _, part, path in catalogue.module(scenario.MODULE).parts()}
    given = []
    for answer in written.answers(made, scenario.MODULE):
        met = next(did.slip for did in diary[answer.owner[0]] if did.part == answer.path)
        # Seeded by the letter itself, so that the order, which the term key decides, changes nothing.
        random = Random(f"{scenario.SEED} {answer.owner[0]} {answer.path}")
        given.append((answer.code, *letters.read(random, parts[answer.path], tuple(met.split(",")))))
    return written.give_all(made, scenario.MODULE, given)


def _hand_in(made):
    """Let every simulated trainee but one hand in; says what each did."""
    module = catalogue.module(scenario.MODULE)
    with database.transaction(made) as connection:
        records = [issued.parse(text.encode()) for text in connection.execute(select(schema.issue.c.record)).scalars()]
    diary = {}
    for record in sorted(records, key=lambda r: r.trainee):
        sheet, diary[record.trainee] = trainees.answer_sheet(module, record, scenario.SEED)
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
