"""Time and peak memory of the exports, from 100 to 10,000 trainees in four modules; printed, never asserted.

Run from the root of a checkout: python -m tests.bench_exports [most trainees] [export ...]

Each measurement runs in a process of its own, so that its peak memory is its own.
Rows are synthetic and written straight into the tables, for the first four modules; the
numbers issued are real draws, a few of them over and over. One class holds everybody, which
is the worst case: a programme of many classes is read class by class. The last table
says how each export grows: time for each trainee at the largest size beside that at the
size before, the exponent of time against size, and the memory added at each size.
"""

import math
import multiprocessing
import random
import resource
import statistics
import sys
import tempfile
import time
from pathlib import Path

SIZES = (100, 1000, 10_000)
TABLES = ("grades", "items", "objectives", "analysis", "variants", "modules", "changes")
CHECK = "check-oneroster"
EXPORTS = (*TABLES, "items, pseudonymous", "grades, pseudonymous", "oneroster", CHECK, "workbook", "report", "statements",
           "evidence", "moderation")  # fmt: skip
MODULES, DRAWS, SEED = 4, 20, 7
MOMENT = "2026-03-30T12:00:00.000Z"


def fill(folder, trainees):
    """A term with synthetic records of so many trainees."""
    from grader import catalogue
    from grader.exercise import issued, variant
    from grader.records import database, ledger, schema
    from grader.records.gradebook import setup

    term = setup.new_term(folder, term_id="bench", title="Benchmark", zone="UTC")
    chance = random.Random(SEED)
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
                                "expected": f"{n % 40}..{n % 40 + 1}" if hasattr(part, "half_step") else f"key {n % 4}",
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


def _writer(what):
    """A function that writes one export of opened terms and says where it lies; everything is loaded by now."""
    from grader.reports.export import package, workbook
    from grader.reports.export.oneroster import writer
    from grader.reports.export.oneroster.check import checker
    from grader.reports.export.pages import evidence, moderation, programme_report
    from grader.reports.export.xapi import statements

    def check(opened):
        path = opened[0].folder / "exports" / "oneroster-delta.zip"  # written by us just before
        findings = checker.check(path, complete=True)
        if findings:
            raise SystemExit(f"our own package is refused: {findings[0]}")
        return path

    table, _, pseudonymous = what.partition(", ")
    return {
        "oneroster": writer.write,
        CHECK: check,
        "workbook": workbook.write,
        "report": programme_report.write,
        "statements": lambda opened: statements.write(opened).path,
        "evidence": lambda opened: evidence.write([opened][0])[0].parent,
        "moderation": lambda opened: moderation.write([opened][0], "m01_timing")[0],
    }.get(what, lambda opened: package.write(opened, table, pseudonymous=bool(pseudonymous)).path)


def measure(folder, what, answer):
    """One export: seconds, processor seconds, MB above those of the loaded program, MB written."""
    from grader.records.term import term as terms
    from grader.reports.export import package

    write, opened = _writer(what), [terms.open_term(folder)]
    package.policy(opened)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start, busy = time.perf_counter(), time.process_time()
    path = write(opened)
    took, worked = time.perf_counter() - start, time.process_time() - busy
    peak = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    written = sum(one.stat().st_size for one in path.iterdir()) if path.is_dir() else path.stat().st_size
    answer.put((took, worked, peak, written / 1e6))


def exponent(times):
    """Slope of log time over log size by least squares: 1 is linear, 2 is every pair.

    Parameters
    ----------
    times : dict of int to float
        Seconds by number of trainees; at least two sizes.
    """
    return statistics.linear_regression(
        *zip(*((math.log(n), math.log(t)) for n, t in times.items()), strict=True)
    ).slope


def main():
    """Print every measurement, then how each export grows."""
    most = int(sys.argv[1]) if len(sys.argv) > 1 else SIZES[-1]
    wanted = sys.argv[2:] or EXPORTS
    strangers = [what for what in wanted if what not in EXPORTS]
    if strangers:
        raise SystemExit(f"There is no export {strangers[0]!r} here; there are {'; '.join(EXPORTS)}.")
    sizes = [size for size in SIZES if size < most] + [most]
    spawn = multiprocessing.get_context("spawn")
    answer, worked, added = spawn.Queue(), {}, {}
    print(f"seed {SEED}; cpu s is processor time, which other work on the machine hardly moves")
    print(f"{'trainees':>9}  {'export':<22}{'s':>8}{'cpu s':>8}{'ms each':>9}{'adds MB':>9}{'file MB':>9}")
    for trainees in sizes:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / "term"
            maker = spawn.Process(target=fill, args=(folder, trainees))  # apart: a child's peak begins at its parent's
            maker.start()
            maker.join()
            for what in wanted:
                worker = spawn.Process(target=measure, args=(folder, what, answer))
                worker.start()
                worker.join()  # a worker that fails has answered nothing
                took, busy, peak, size = answer.get(timeout=1)
                print(
                    f"{trainees:>9}  {what:<22}{took:>8.2f}{busy:>8.2f}{1000 * busy / trainees:>9.3f}{peak:>9.1f}{size:>9.2f}",
                    flush=True,
                )
                worked.setdefault(what, {})[trainees] = busy
                added.setdefault(what, {})[trainees] = peak
    if len(sizes) > 1:
        _growth(sizes, worked, added)


def _growth(sizes, worked, added):
    """How processor time and memory grow; 1.00 for each trainee means linear, below it a start that everyone shares."""
    before, last = sizes[-2:]
    print(
        f"\n{'export':<22}{f'each, {last} to {before}':>22}{'exponent':>10}  MB added at {', '.join(map(str, sizes))}"
    )
    for what, times in worked.items():
        ratio = (times[last] / last) / (times[before] / before)
        peaks = "".join(f"{added[what][size]:>9.1f}" for size in sizes)
        print(f"{what:<22}{ratio:>22.2f}{exponent(times):>10.2f}  {peaks}")


if __name__ == "__main__":
    main()
