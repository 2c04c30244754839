"""Time and peak memory of the exports, from 100 to 10,000 trainees in four modules; printed, never asserted.

Run from the root of a checkout: python -m tests.bench_exports [most trainees]

Each measurement runs in a process of its own, so that its peak memory is its own.
Rows are synthetic and written straight into the tables, for the first four modules; the
numbers issued are real draws, a few of them over and over. One class holds everybody, which
is the worst case: a programme of many classes is read class by class.
"""

import multiprocessing
import random
import resource
import sys
import tempfile
import time
from pathlib import Path

SIZES = (100, 1000, 10_000)
TABLES = ("grades", "items", "objectives", "analysis", "variants", "modules", "changes")
EXPORTS = (*TABLES, "oneroster", "workbook", "report", "statements")
MODULES, DRAWS = 4, 20
MOMENT = "2026-03-30T12:00:00.000Z"


def fill(folder, trainees):
    """A term with synthetic records of so many trainees."""
    from grader import catalogue
    from grader.course import setup
    from grader.course.records import database, ledger, schema
    from grader.exercise import issued, variant

    term = setup.new_term(folder, term_id="bench", title="Benchmark", zone="UTC")
    chance = random.Random(7)
    modules = list(catalogue.all_modules().values())[:MODULES]
    records = {}
    for module in modules:
        for n in range(DRAWS):
            owner = {"key": term.key, "term": term.id, "trainee": f"t{n}", "attempt": 1}
            numbers = variant.draw(module, **owner)
            made = issued.make(module, **owner, mode="assessed", due=MOMENT, zone="UTC", numbers=numbers)
            records[module.key, n] = issued.dump(made).decode()
    with database.transaction(term) as connection:
        for module in modules:
            connection.execute(
                schema.assignment.insert().values(
                    module=module.key, mode="assessed", due=MOMENT, assigned_at=MOMENT, most=module.marks * 100
                )
            )
        for start in range(0, trainees, 500):
            people, issues, marks, answers, entries = [], [], [], [], []
            for n in range(start, min(start + 500, trainees)):
                who = f"t{n:06d}"
                people.append(
                    {
                        "id": who,
                        "college_id": who.upper(),
                        "last_name": f"Family{n}",
                        "first_name": "Given",
                        "group_name": "",
                        "status": "enrolled",
                    }
                )
                skill = chance.uniform(0.4, 0.95)
                for module in modules:
                    total = 0
                    issues.append(
                        {
                            "trainee": who,
                            "module": module.key,
                            "attempt": 1,
                            "issued_at": MOMENT,
                            "due": MOMENT,
                            "record": records[module.key, n % DRAWS],
                        }
                    )
                    for exercise, part, path in module.parts():
                        right = chance.random() < skill
                        total += right * part.marks * 100
                        answers.append(
                            {
                                "trainee": who,
                                "module": module.key,
                                "attempt": 1,
                                "part": path,
                                "exercise": exercise.key,
                                "raw": "34.5",
                                "unit": "°",
                                "read_as": "34.5 °",
                                "expected": f"{n % 40}..{n % 40 + 1}",
                                "verdict": "right" if right else "wrong",
                                "slip": "",
                                "hundredths": right * part.marks * 100,
                                "most": part.marks * 100,
                            }
                        )
                    marks.append(
                        {
                            "trainee": who,
                            "module": module.key,
                            "attempt": 1,
                            "state": "marked",
                            "raw": total,
                            "penalty": 0,
                            "mark": total,
                            "most": module.marks * 100,
                            "late_days": 0,
                            "sha256": "0" * 64,
                            "handed_in_at": MOMENT,
                            "marked_at": MOMENT,
                            "engine": "bench",
                            "key_version": module.key,
                            "notes": "",
                        }
                    )
                    entries.append(
                        ledger.Entry(
                            "marked", trainee=who, module=module.key, attempt=1, new=total, most=module.marks * 100
                        )
                    )
            for table, rows in (
                (schema.trainee, people),
                (schema.issue, issues),
                (schema.mark, marks),
                (schema.answer, answers),
            ):
                connection.execute(table.insert(), rows)
            ledger.append(connection, entries)


def measure(folder, what, answer):
    """One export: seconds, and peak memory above that of the loaded program [MB]."""
    from grader.course import term as terms
    from grader.course.export import package, workbook
    from grader.course.export.oneroster import writer
    from grader.course.export.papers import report
    from grader.course.export.xapi import statements

    opened = [terms.open_term(folder)]
    package.policy(opened)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.perf_counter()
    if what == "oneroster":
        path = writer.write(opened)
    elif what == "workbook":
        path = workbook.write(opened)
    elif what == "report":
        path = report.write(opened)
    elif what == "statements":
        path = statements.write(opened).path
    else:
        path = package.write(opened, what).path
    took = time.perf_counter() - start
    answer.put((took, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024, path.stat().st_size / 1e6))


def main():
    """Print the table."""
    most = int(sys.argv[1]) if len(sys.argv) > 1 else SIZES[-1]
    spawn = multiprocessing.get_context("spawn")
    answer, last = spawn.Queue(), {}
    print(f"{'trainees':>9}  {'export':<11}{'s':>8}{'ms each':>9}{'peak MB':>9}{'file MB':>9}")
    for trainees in [size for size in SIZES if size <= most]:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / "term"
            maker = spawn.Process(target=fill, args=(folder, trainees))  # apart: a child's peak begins at its parent's
            maker.start()
            maker.join()
            for what in EXPORTS:
                worker = spawn.Process(target=measure, args=(folder, what, answer))
                worker.start()
                worker.join()  # a worker that fails has answered nothing
                took, peak, size = answer.get(timeout=1)
                print(
                    f"{trainees:>9}  {what:<11}{took:>8.2f}{1000 * took / trainees:>9.3f}{peak:>9.0f}{size:>9.2f}",
                    flush=True,
                )
                last[what, trainees] = took
    small, large = min(n for _, n in last), max(n for _, n in last)
    for what in EXPORTS:
        print(
            f"{what}: {last[what, large] / last[what, small]:.0f} times the time for {large // small} times the trainees"
        )


if __name__ == "__main__":
    main()
