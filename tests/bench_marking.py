"""The speed of marking, beside nbgrader's own on the same work.

Run it by hand: python -m tests.bench_marking [--long]
It prints and asserts nothing: times depend on the machine. --long adds 10,000 sheets.
"""

import argparse
import json
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
from grader.course.grading import mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.demo import trainees
from grader.exercise import issued, variant
from grader.exercise import sheet as sheets
from grader.marking.mark import mark_sheet, truth_of
from grader.records import answers, schema
from grader.records.gradebook import gradebook, setup
from grader.records.term import roster
from grader.records.term import term as terms
from tests.marking.twenty import TWENTY, sheet
from tests.work import issue_of, put_in_inbox

MODULE = "m01_timing"
CLASS = 15
KEY = bytes(32)
GOALS = {"marked, numbers recorded": 1000}  # what a class run does for each sheet
BARE = "JSON decoded by the standard library, nothing else"
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
    run = mark_class.mark(term, MODULE)
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
    """(what was issued, numbers, expected answers) of one trainee of the twenty-exercise module."""
    numbers, truth = variant.draw_with_truth(TWENTY, key=KEY, term="bench", trainee=f"t{number}", attempt=1)
    return {key: {"version": 1, "parameters": given} for key, given in numbers.items()}, numbers, truth


def sheets_a_second(count=300, rounds=400):
    """Rates by what is done for each sheet. Every step begins with the bytes of answers.json.

    Small slices of all steps take turns, and each step's quickest slice counts: a
    busy machine then slows none of them more than another.
    """
    made = [work(n) for n in range(count)]
    contents = [sheets.dump(sheet(numbers, n)) for n, (_, numbers, _) in enumerate(made)]
    truths = [truth_of(TWENTY, record) for record, _, _ in made]

    def cold(n):
        record, _, truth = work(n)
        mark_sheet(TWENTY, record, sheets.parse(contents[n]), truth=truth)

    steps = {
        BARE: lambda n: json.loads(contents[n]),
        "answer sheet read and checked": lambda n: sheets.parse(contents[n]),
        "marked, expected answers cached": lambda n: mark_sheet(
            TWENTY, made[n][0], sheets.parse(contents[n]), truth=truths[n]
        ),
        "marked, numbers recorded": lambda n: mark_sheet(TWENTY, made[n][0], sheets.parse(contents[n])),
        "drawn and marked, nothing cached": cold,
    }
    for n in range(count):
        steps["marked, expected answers cached"](n)  # fills what a truth keeps
    best = dict.fromkeys(steps, float("inf"))
    size = 10
    for turn in range(rounds):
        some = range(turn * size % count, turn * size % count + size)
        for name, step in steps.items():
            begun = time.process_time()
            for n in some:
                step(n)
            best[name] = min(best[name], (time.process_time() - begun) / size)
    return {name: 1 / spent for name, spent in best.items()}


def rows(number, found):
    """Rows of tm_answer for a sheet of the twenty-exercise module."""
    for part in found.parts:
        yield {
            "trainee": f"t{number}", "module": TWENTY.key, "attempt": 1, "exercise": part.path,
            **answers.values(TWENTY.by_path[part.path][1], part, ""),
        }  # fmt: skip


def rows_a_second(folder, count=20_000):
    """How many verdict rows a second go into a new SQLite database."""
    record, numbers, _ = work(0)
    found = mark_sheet(TWENTY, record, sheet(numbers, 0))
    values = [row for n in range(count // 20) for row in rows(n, found)]
    made = create_engine(f"sqlite:///{folder / 'rows.db'}")
    with made.begin() as connection:
        schema.metadata.create_all(connection)
        spent = worked(lambda: connection.execute(schema.answer.insert(), values))
    made.dispose()
    return count / spent


def stream(count):
    """Draw, mark and record so many sheets one after the other; prints ms of processor time a sheet, and MB.

    The MB are those of the loaded program, and what the sheets add to them at the peak.
    """
    loaded = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with tempfile.TemporaryDirectory() as place:
        made = create_engine(f"sqlite:///{Path(place) / 'stream.db'}")
        with made.begin() as connection:
            schema.metadata.create_all(connection)
            spent = worked(lambda: [_stream_one(connection, n) for n in range(count)])
        made.dispose()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(1000 * spent / count, loaded / 1024, (peak - loaded) / 1024)


def _stream_one(connection, number):
    record, numbers, truth = work(number)
    found = mark_sheet(TWENTY, record, sheets.parse(sheets.dump(sheet(numbers, number))), truth=truth)
    connection.execute(schema.answer.insert(), list(rows(number, found)))


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
        print("sheets of 20 exercises a second of processor time, each from the bytes of answers.json")
        rates = sheets_a_second()
        bare = rates[BARE]
        for name, rate in rates.items():
            goal = f"(goal {GOALS[name]:6})" if name in GOALS else ""
            print(f"  {name:51} {rate:8.0f}   {bare / rate:6.1f} times bare decoding   {goal}".rstrip())
        print(f"rows of verdicts a second into SQLite   {rows_a_second(Path(place)):8.0f}   (goal 30000)")
    print("sheets drawn, marked and recorded one by one:   ms a sheet   program MB   peak adds MB")
    for count in (100, 1000, *([10_000] if options.long else [])):
        done = subprocess.run(
            [sys.executable, "-m", "tests.bench_marking", "--stream", str(count)], cwd=ROOT, capture_output=True,
            text=True, check=True,
        )  # fmt: skip
        spent, loaded, adds = map(float, done.stdout.split())
        print(f"  {count:8}                                      {spent:8.2f}   {loaded:10.0f}   {adds:12.1f}")


if __name__ == "__main__":
    main()
