"""A month's work with many trainees: four modules marked, returned and reported; printed, never asserted.

Run from the root of a checkout: python -m tests.bench_month [trainees, 1000 unless named]

Real hand-ins of simulated trainees in real folders. Each step runs in a process of
its own, so that its peak memory is its own; what the loaded program takes is told
apart from what the step adds. A class of a tenth comes first: returning goes trainee
by trainee, so what it adds must hardly grow with the class.
"""

import multiprocessing
import resource
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

SEED = 7


def prepare(folder, trainees):
    """A term in which everybody has handed in every module; nothing is marked."""
    from sqlalchemy import select

    from grader import catalogue, clock
    from grader.course.issue import assign
    from grader.course.submissions import collect
    from grader.demo import trainees as people
    from grader.exercise import issued
    from grader.exercise import sheet as sheets
    from grader.exercise.kinds import Written
    from grader.records import database, schema
    from grader.records.gradebook import setup
    from grader.records.term import roster

    made = setup.new_term(folder, term_id="bench", title="Benchmark", zone="UTC")
    listed = made.folder / "rosters" / "list.csv"
    rows = [f"B{n:05d},Family{n},Given" for n in range(trainees)]
    listed.write_text("id,last_name,first_name\n" + "\n".join(rows) + "\n", encoding="utf-8")
    roster.import_list(made, listed)
    due = (clock.now() - timedelta(days=3)).strftime("%Y-%m-%d %H:%M")
    for key, module in catalogue.all_modules().items():
        assign.assign(made, key, due=due)
        letters = {path for _, part, path in module.parts() if isinstance(part, Written)}
        with database.transaction(made) as connection:
            records = (
                connection.execute(select(schema.issue.c.record).where(schema.issue.c.module == key)).scalars().all()
            )
        for text in records:
            record = issued.parse(text.encode())
            sheet, _ = people.answer_sheet(module, record, SEED)
            for path in letters:  # nobody reads here, so nothing shall wait
                sheet.answers.pop(path, None)
            place = made.folder / "inbox" / record.trainee / key
            place.mkdir(parents=True)
            (place / issued.NAME).write_bytes(issued.dump(record))
            (place / sheets.NAME).write_bytes(sheets.dump(sheet))
    collect.collect(made, received_at=clock.parse(due, "UTC") - timedelta(hours=1))


def measure(folder, step, answer):
    """One step: (things done, seconds, MB of the loaded program, MB that the step adds at its peak)."""
    from grader import catalogue
    from grader.course.grading import mark_class
    from grader.records.term import term as terms
    from grader.reports.feedback import class_report, return_run

    opened, modules = terms.open_term(folder), list(catalogue.all_modules())
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begun = time.perf_counter()
    if step == "mark":
        done = sum(mark_class.mark(opened, key).marked for key in modules)
    elif step == "report":
        done = len(class_report.write([opened]))
    else:
        done = sum(return_run.give_back(opened, key).written for key in modules)
    took = time.perf_counter() - begun
    answer.put((done, took, before / 1024, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024))


def main():
    """Print the table."""
    trainees = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    spawn = multiprocessing.get_context("spawn")
    answer = spawn.Queue()
    with tempfile.TemporaryDirectory(prefix="bench-month-") as place:
        print(f"seed {SEED}")
        sizes = sorted({max(1, trainees // 10), trainees})
        print(f"{'trainees':>9}  {'step':<8}{'done':>7}{'s':>9}{'ms each':>9}{'program MB':>12}{'peak adds MB':>14}")
        for size in sizes:
            folder = Path(place) / f"term{size}"
            maker = spawn.Process(target=prepare, args=(folder, size))
            maker.start()
            maker.join()
            for step in ("mark", "return", "report"):
                worker = spawn.Process(target=measure, args=(folder, step, answer))
                worker.start()
                done, took, program, adds = answer.get()
                worker.join()
                print(
                    f"{size:>9}  {step:<8}{done:>7}{took:>9.2f}{1000 * took / max(1, done):>9.2f}{program:>12.0f}{adds:>14.1f}"
                )


if __name__ == "__main__":
    main()
