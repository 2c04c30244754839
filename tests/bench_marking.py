"""The speed of marking, beside nbgrader's own on the same work.

Run it by hand: python -m tests.bench_marking [--long]
It prints and asserts nothing: times depend on the machine. --long adds 10,000 sheets.
"""

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from sqlalchemy import create_engine

from grader import catalogue, clock
from grader.course import gradebook, roster, setup
from grader.course import term as terms
from grader.course.demo import trainees
from grader.course.records import schema
from grader.course.work import assign, collect, marking_run
from grader.exercise import issued, variant
from grader.exercise import sheet as sheets
from grader.marking import feedback
from grader.marking.mark import mark_sheet, truth_of
from tests.marking.twenty import TWENTY, sheet
from tests.work import issue_of, put_in_inbox

MODULE = "m01_timing"
CLASS = 15
KEY = bytes(32)
ROOT = Path(__file__).resolve().parent.parent


def timed(call):
    """Seconds on the clock."""
    begun = time.perf_counter()
    call()
    return time.perf_counter() - begun


def worked(call):
    """Seconds of processor time, kernels that were started included: fair on a machine that others use too."""
    who = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    before = [resource.getrusage(one) for one in who]
    call()
    after = [resource.getrusage(one) for one in who]
    return sum(a.ru_utime + a.ru_stime - b.ru_utime - b.ru_stime for a, b in zip(after, before, strict=True))


def a_class(folder):
    """A term in which fifteen simulated trainees have handed in; nothing is marked."""
    made = setup.new_term(folder, term_id="bench", title="Bench", zone="UTC")
    listed = made.folder / "rosters" / "list.csv"
    rows = [f"B{n:02d},Bench{n:02d},Trainee" for n in range(1, CLASS + 1)]
    listed.write_text("id,last_name,first_name\n" + "\n".join(rows) + "\n", encoding="utf-8")
    roster.import_list(made, listed)
    assign.assign(made, MODULE, due=(clock.now() + timedelta(days=1)).strftime("%Y-%m-%d"))
    module = catalogue.module(MODULE)
    for n in range(1, CLASS + 1):
        record = issue_of(made, f"b{n:02d}")
        work = trainees.answer_sheet(module, record, 7)[0]
        put_in_inbox(made, work)
        place = made.folder / "submitted" / record.trainee / MODULE
        place.mkdir(parents=True)
        shutil.copy(made.folder / "release" / MODULE / f"{MODULE}.ipynb", place)
        (place / issued.NAME).write_bytes(issued.dump(record))
        (place / sheets.NAME).write_bytes(sheets.dump(work))
    collect.collect(made)
    return made


def nbgraders_own(term):
    """Autograde the class with nbgrader itself; returns its totals by trainee."""
    from traitlets.config import Config

    with gradebook._nbgrader() as api:
        from nbgrader.apps import NbGraderAPI

        book = NbGraderAPI(config=gradebook.config(term, Config()))
        for n in range(1, CLASS + 1):
            outcome = book.autograde(MODULE, f"b{n:02d}", force=True, create=True)
            if not outcome["success"]:
                raise SystemExit(f"nbgrader could not mark b{n:02d}: {outcome.get('error') or outcome.get('log')}")
        with api.Gradebook(term.database_url) as found:
            return {s.student.id: round(100 * s.score) for s in found.assignment_submissions(MODULE)}


def ours(term):
    """Mark the class, records and ledger included."""
    run = marking_run.mark(term, MODULE)
    assert run.marked == CLASS, run


def beside_nbgrader(folder):
    """(our (clock, processor) seconds, nbgrader's, trainees whose totals agree)."""
    first = a_class(folder / "ours")
    shutil.copytree(first.folder, folder / "theirs")
    second = terms.open_term(folder / "theirs")
    # The kernel that nbgrader starts must find this checkout, and not another that is installed.
    os.environ["PYTHONPATH"] = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    mine, theirs, totals = [], [], {}
    mine.append(worked(lambda: mine.append(timed(lambda: ours(first)))))
    theirs.append(worked(lambda: theirs.append(timed(lambda: totals.update(nbgraders_own(second))))))
    with gradebook._nbgrader() as api, api.Gradebook(first.database_url) as book:
        same = sum(totals.get(s.student.id) == round(100 * s.score) for s in book.assignment_submissions(MODULE))
    return mine, theirs, same


def work(number):
    """(what was issued, answers.json) of one trainee of the twenty-exercise module."""
    numbers = variant.draw(TWENTY, key=KEY, term="bench", trainee=f"t{number}", attempt=1)
    return {key: {"version": 1, "parameters": given} for key, given in numbers.items()}, numbers


def sheets_a_second(count=300):
    """Rates with nothing cached, with recorded numbers, and with expected answers kept."""
    made = [work(n) for n in range(count)]
    files = [sheets.dump(sheet(numbers, n)) for n, (_, numbers) in enumerate(made)]
    truths = [truth_of(TWENTY, record) for record, _ in made]

    def cold():
        for n, content in enumerate(files):
            mark_sheet(TWENTY, work(n)[0], sheets.parse(content))

    def recorded():
        for (record, _), content in zip(made, files, strict=True):
            mark_sheet(TWENTY, record, sheets.parse(content))

    def cached():
        for (record, _), content, truth in zip(made, files, truths, strict=True):
            mark_sheet(TWENTY, record, sheets.parse(content), truth=truth)

    cached()  # fills what a truth keeps
    return {
        "drawn and marked, nothing cached": count / min(worked(cold) for _ in range(3)),
        "marked, numbers recorded": count / min(worked(recorded) for _ in range(3)),
        "marked, expected answers cached": count / min(worked(cached) for _ in range(3)),
    }


def rows(number, found):
    """Rows of tm_answer for a sheet of the twenty-exercise module."""
    for part in found.parts:
        yield {
            "trainee": f"t{number}", "module": TWENTY.key, "attempt": 1, "part": part.path, "exercise": part.path,
            "raw": part.raw, "unit": part.unit, "read_as": part.read_as, "verdict": part.verdict, "slip": part.slip,
            "expected": feedback.expected(TWENTY.by_path[part.path][1], part), "hundredths": part.hundredths,
            "most": part.most,
        }  # fmt: skip


def rows_a_second(folder, count=20_000):
    """How many verdict rows a second go into a new SQLite database."""
    record, numbers = work(0)
    found = mark_sheet(TWENTY, record, sheet(numbers, 0))
    values = [row for n in range(count // 20) for row in rows(n, found)]
    made = create_engine(f"sqlite:///{folder / 'rows.db'}")
    with made.begin() as connection:
        schema.metadata.create_all(connection)
        spent = worked(lambda: connection.execute(schema.answer.insert(), values))
    made.dispose()
    return count / spent


def stream(count):
    """Draw, mark and record so many sheets one after the other; prints ms of processor time a sheet and peak MB."""
    with tempfile.TemporaryDirectory() as place:
        made = create_engine(f"sqlite:///{Path(place) / 'stream.db'}")
        begun = time.process_time()
        with made.begin() as connection:
            schema.metadata.create_all(connection)
            for n in range(count):
                record, numbers = work(n)
                found = mark_sheet(TWENTY, record, sheets.parse(sheets.dump(sheet(numbers, n))))
                connection.execute(schema.answer.insert(), list(rows(n, found)))
        spent = time.process_time() - begun
        made.dispose()
    print(1000 * spent / count, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def main():
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--long", action="store_true", help="10,000 sheets as well")
    asked.add_argument("--stream", type=int, help=argparse.SUPPRESS)
    options = asked.parse_args()
    if options.stream:
        return stream(options.stream)
    with tempfile.TemporaryDirectory() as place:
        mine, theirs, same = beside_nbgrader(Path(place))
        print(f"{CLASS} submissions of {MODULE}, records included; {same} of {CLASS} totals agree")
        for what, our, their in zip(("on the clock", "of processor time"), mine, theirs, strict=True):
            print(f"  ours {our:8.3f} s   nbgrader {their:8.1f} s   {their / our:.0f} times (goal 300)   {what}")
        print("sheets of 20 exercises a second of processor time, from JSON")
        for what, goal in zip(sheets_a_second().items(), (4000, None, 25000), strict=True):
            print(f"  {what[0]:36} {what[1]:8.0f}" + (f"   (goal {goal})" if goal else ""))
        print(f"rows of verdicts a second into SQLite   {rows_a_second(Path(place)):8.0f}   (goal 30000)")
    print("sheets drawn, marked and recorded one by one:   ms a sheet   peak MB")
    for count in (100, 1000, *([10_000] if options.long else [])):
        done = subprocess.run(
            [sys.executable, "-m", "tests.bench_marking", "--stream", str(count)], cwd=ROOT, capture_output=True,
            text=True, check=True,
        )  # fmt: skip
        spent, peak = map(float, done.stdout.split())
        print(f"  {count:8}                                      {spent:8.2f}   {peak:8.0f}")


if __name__ == "__main__":
    main()
