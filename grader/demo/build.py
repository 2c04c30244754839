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
from grader.course.grading import mark_class, settle, written_answers
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.demo import at_the_bench, letters, practising, scenario, trainees
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.exercise.model import PRACTICE
from grader.records import database, schema
from grader.records.gradebook import setup
from grader.records.term import roster, term
from grader.records.term.term import Term
from grader.reports.export import package
from grader.reports.feedback import class_report as report
from grader.reports.feedback import confidence
from grader.reports.feedback import return_run as returning


@dataclass(frozen=True, slots=True)
class Built:
    """The demo as it stands after one run."""

    term: term.Term
    assigned: assign.Assigned
    collected: collect.Collected
    marked: settle.MarkRun
    read: list  # (written answer, its trainee's mark afterwards)
    returned: returning.Returned
    report: Path
    grades: Path
    diary: dict  # trainee id -> what the simulated trainee did


@dataclass(frozen=True, slots=True)
class Practised:
    """The module that the class practised for the next session."""

    collected: collect.Collected
    marked: settle.MarkRun
    sure: confidence.Sureness
    report: Path


@dataclass(frozen=True, slots=True)
class AtTheBench:
    """The lesson at the bench that a few practised."""

    collected: collect.Collected
    marked: settle.MarkRun
    returned: returning.Returned
    report: Path


def free_folder(base: Path | str) -> Path:
    """The folder itself, or the next one with a number, so that no earlier demo is touched."""
    base = Path(base)
    number, folder = 1, base
    while folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        number += 1
        folder = base.with_name(f"{base.name}-{number}")
    return folder


def build(folder: Path) -> Built:
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
    marked = mark_class.mark(made, scenario.MODULE)
    read = _read_letters(made, diary)
    returned = returning.give_back(made, scenario.MODULE)
    (page,) = report.write([made], scenario.MODULE)
    grades = package.write([made], "grades").path
    return Built(made, assigned, collected, marked, read, returned, page, grades, diary)


def practise(made: Term) -> Practised:
    """Hand out the next module as practice, and take in what the simulated class did with it.

    Parameters
    ----------
    made : Term
        Of a demo that was built.

    Returns
    -------
    Practised
    """
    key, module = scenario.PRACTISED, catalogue.module(scenario.PRACTISED)
    assign.assign(made, key, mode=PRACTICE)
    place = made.folder / "inbox" / "practice"
    for record in _records(made, key):
        if record.trainee != scenario.MISSING:
            sheet, _ = practising.answer_sheet(module, record, scenario.SEED)
            _pack(place / record.trainee / f"{key}.zip", record, sheets.dump(sheet))
    collected = collect.collect(made, [place])
    marked = mark_class.mark(made, key)
    (page,) = report.write([made], key)
    sure = confidence.of_class(made, module)
    assert sure is not None  # it was handed out as practice just now
    return Practised(collected, marked, sure, page)


def bench(made: Term) -> AtTheBench:
    """Hand out the lesson at the bench to those who are further on, and mark and return what they did with their cars.

    Parameters
    ----------
    made : Term
        Of a demo that was built.

    Returns
    -------
    AtTheBench
    """
    key, module = scenario.AT_THE_BENCH, catalogue.module(scenario.AT_THE_BENCH)
    assign.assign(made, key, mode=PRACTICE, trainees=tuple(scenario.BENCH_WAYS))
    place, logs = made.folder / "inbox" / "bench", {}
    for record in _records(made, key):
        sheet = at_the_bench.answer_sheet(module, record, scenario.BENCH_WAYS[record.trainee], scenario.SEED, logs)
        logs = logs or at_the_bench.logs_of(sheet, module)
        _pack(place / record.trainee / f"{key}.zip", record, sheets.dump(sheet))
    collected = collect.collect(made, [place])
    marked = mark_class.mark(made, key)
    returned = returning.give_back(made, key)
    (page,) = report.write([made], key)
    return AtTheBench(collected, marked, returned, page)


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
    for answer in written_answers.answers(made, scenario.MODULE):
        met = next(did.slip for did in diary[answer.owner[0]] if did.part == answer.path)
        # Seeded by the letter itself, so that the order, which the term key decides, changes nothing.
        random = Random(f"{scenario.SEED} {answer.owner[0]} {answer.path}")
        given.append((answer.code, *letters.read(random, parts[answer.path], tuple(met.split(",")))))
    return written_answers.give_all(made, scenario.MODULE, given)


def _hand_in(made):
    """Let every simulated trainee but one hand in; says what each did."""
    module = catalogue.module(scenario.MODULE)
    diary = {}
    for record in _records(made, module.key):
        sheet, diary[record.trainee] = trainees.answer_sheet(module, record, scenario.SEED)
        if record.trainee == scenario.MISSING:
            continue
        content = sheets.dump(sheet)
        if record.trainee == scenario.CORRUPT:
            content = content[: len(content) // 2]
        _pack(made.folder / "inbox" / record.trainee / f"{module.key}.zip", record, content)
    files.write_text(
        made.folder / "reports" / "what_the_simulated_trainees_did.json",
        json.dumps({who: [[d.part, d.what, d.slip] for d in did] for who, did in diary.items()}, indent=1) + "\n",
    )
    return diary


def _records(made, module_key):
    """What was issued of a module, in order of trainee."""
    table = schema.issue
    with database.transaction(made) as connection:
        query = select(table.c.record).where(table.c.module == module_key).order_by(table.c.trainee)
        return [issued.parse(text.encode()) for text in connection.execute(query).scalars()]


def _pack(path, record, content):
    """Write a hand-in as a lesson does."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(f"{record.module}/{sheets.NAME}", content)
        archive.writestr(f"{record.module}/{issued.NAME}", issued.dump(record))
    files.write_bytes(path, packed.getvalue())
