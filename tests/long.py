"""Long campaigns with seeds: python -m tests.long [--seed N] [--share 0.1]

Each campaign takes a seed and a size and gives sentences about what failed. The
seed is printed, so that a failure can be had again. A small share of each, with a
fixed seed, is part of the ordinary tests.
"""

import argparse
import secrets
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from random import Random

from grader import catalogue
from grader.bench import cases
from grader.bench import proofs as bench_proofs
from grader.exercise.sheet import Answer, Sheet
from grader.marking import feedback, proof
from grader.marking.mark import mark_sheet
from grader.marking.reading import read
from grader.marking.verdict import VERDICTS
from grader.vehicle.faults import SEVERITIES
from grader.vehicle.spec import vehicles
from tests.course import faults
from tests.course.campaigns import copy_screen, package_lines
from tests.marking.bench_parts import MODULE, PARTS, SPACE, issued
from tests.modules import workshop_draws as ranges
from tests.modules.honest import person
from tests.modules.test_honest import SOLVERS

# What trainees type, good and bad, to be cut up and put together anew.
SCRAPS = (
    "12", "0.64", "-3", "1/32", "1 1/32", ",", ".", " ", "\u00a0", "−", "-", "to", "…", "°", "mm", "in", "° crank", "BTDC",
    "a", "c", ";", ">", "dwell", "idle", "plug", "A1", "A9", "=", "keep", "reject", "undecided", "[", "]", '"', "none",
    "1-3-4-2", "51", "57", "e5", "nan", "٣", "10³", "_", "about", "\n", "\x00", "{", "😀", "9" * 30,
)  # fmt: skip


def proofs(seed, size):
    """Every module proves itself over `size` trainees; the draws have their own fixed key."""
    return [fault for module in catalogue.all_modules().values() for fault in proof.prove(module, size).faults]


def honest_readings(seed, size):
    """Of `size` simulated honest instrument readings none is marked wrong."""
    modules = list(catalogue.all_modules().values())
    wrong = []
    for module in modules:
        wrong += proof.honest_readings(module, size // len(modules), seed, trainees=min(1000, 20 + size // 100))[1]
    return wrong


def honest_work(seed, size):
    """Of `size` trainees who work each number by hand from what is printed nobody earns less than full marks."""
    return [
        sentence
        for key, solvers in SOLVERS.items()
        for sentence in person.work(catalogue.module(key), solvers, size, seed)[1]
    ]


def workshop_draws(seed, size):
    """Of `size` trainees' draws, which have their own fixed key, each is one that a workshop sees."""
    return [sentence for key in ranges.JOINTLY for sentence in ranges.outside(key, size)]


def typed_scraps(seed, size):
    """Whatever is typed gets a verdict, a sentence and marks within bounds, and is read the same twice."""
    random, failed = Random(seed), []
    for _ in range(size):
        part = random.choice(PARTS)
        raw = "".join(random.choices(SCRAPS, k=random.randint(1, 6)))
        path = f"m98.all.{part.key}"
        sheet = Sheet("t", MODULE.key, "t", 1, {path: Answer(raw)})
        try:
            found = mark_sheet(MODULE, issued(), sheet)
            mark = next(m for m in found.parts if m.path == path)
            good = mark.verdict in VERDICTS and feedback.say(part, mark)
            good = good and (mark.hundredths is None or 0 <= mark.hundredths <= mark.most)
            if mark.own is not None and mark.read_as:
                good = good and read(part, raw, "", SPACE).value == mark.own
        except Exception as problem:  # whatever it is, a trainee's text must not stop a class
            good, mark = False, problem
        if not good:
            failed.append(f"{part.key}: {raw!r} gave {mark}")
    return failed


def bench_roads(seed, size):
    """Of `size` careful roads to drawn cases few earn less than 85: where chance hid something twice."""
    engines, earned = tuple(vehicles()), []
    for number in range(size):
        case = cases.drawn(engines[number % len(engines)], 2 + number // len(engines) % 3, seed + number)
        earned.append(bench_proofs.solve(case).marks.total)
    mean, low = sum(earned) / size, sum(mark < bench_proofs.CAREFUL_LEAST for mark in earned)
    is_fit = mean > 93 - 15 / size**0.5 and low <= 1 + 0.08 * size
    return [] if is_fit else [f"mean {mean:.1f}, {low} of {size} below {bench_proofs.CAREFUL_LEAST:.0f}"]


def bench_ways(seed, size):
    """Wrong ways at the bench, constant answers and another's log earn what they are worth, on `size` cases."""
    engines = tuple(vehicles())[:size]
    return bench_proofs.faults_of([], bench_proofs.trial(engines, size // len(engines), seed))


def bench_cases(seed, size):
    """Every fault in every severity can be solved: the best road ends in its proof, and the owner stays away."""
    every = [(engine, atom) for engine in vehicles() for atom in bench_proofs.wanted(engine, SEVERITIES)]
    chosen = Random(seed).sample(every, min(size, len(every)))
    return bench_proofs.faults_of([row for one in chosen if (row := bench_proofs.solved(*one)) is not None], [])


def stopped_commands(seed, moments):
    """Each writing command, the desk's too, killed at so many random moments and at as many of its disk calls, and on a full disk.

    200 moments for each are the whole campaign; there are often fewer sizes at which a file is refused.
    """
    faults.without_a_loop()
    chosen = tuple(faults.MONTH) if moments >= len(faults.MONTH) else Random(seed).sample(tuple(faults.MONTH), moments)
    each = max(1, moments // len(faults.MONTH))
    with tempfile.TemporaryDirectory(prefix="stopped-") as top:
        campaign = faults.Campaign(top)
        failed, tried = [], {}
        for name, (wrong, count) in {
            "killed at random moments": faults.killed(campaign, seed, each, chosen),
            "killed at disk calls": faults.killed(campaign, seed, each, chosen, faults.disk_call),
            "full disk": faults.full_disk(campaign, seed, each, chosen),
        }.items():
            tried[name] = count
            failed += [f"{name}: {sentence}" for sentence in wrong]
    print(", ".join(f"{name} {count}" for name, count in tried.items()))
    return failed


def spoilt_files(seed, _):
    """Every bad answer sheet, archive and package of the lists, in its present format, each with its own sentence."""
    tests = Path(__file__).parent
    names = ("course/test_broken_files.py", "course/test_hand_ins.py", "exercise/test_sheet.py", "reports/export/test_oneroster.py",
             "reports/export/test_oneroster_spoilt.py")  # fmt: skip
    return _run_tests(["--seed", str(seed), *(tests / name for name in names)])


def properties(seed, rounds):
    """The tests of properties, with fresh examples in each round; in the suite they see the same ones every time."""
    tests = Path(__file__).parent
    files = [path for path in sorted(tests.rglob("test_*.py")) if "from hypothesis" in path.read_text(encoding="utf-8")]
    failed = []
    for turn in range(rounds):
        words = ["--hypothesis-profile", "long", "--hypothesis-seed", str(seed + turn), "--seed", str(seed + turn)]
        failed += [f"seed {seed + turn}: {line}" for line in _run_tests([*words, *files])]
    return failed


def _run_tests(words):
    """Tests of the suite in a process of their own; the lines of those that fail."""
    root = Path(__file__).parent.parent
    ran = subprocess.run([sys.executable, "-m", "pytest", *words], cwd=root, capture_output=True, text=True)
    if not ran.returncode:
        return []
    lines = [line for line in ran.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    return lines or [ran.stdout[-500:] + ran.stderr[-500:]]


CAMPAIGNS = (
    (proofs, 10_000),
    (honest_readings, 100_000),
    (honest_work, 10_000),
    (workshop_draws, 10_000),
    (typed_scraps, 200_000),
    (bench_roads, 10_000),
    (bench_ways, 700),
    (bench_cases, 1100),
    (copy_screen, 2000),
    (package_lines, 500_000),
    (stopped_commands, 200 * len(faults.MONTH)),
)


def main():
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seed", type=int, default=None)
    asked.add_argument("--share", type=float, default=1.0, help="of the full size")
    options = asked.parse_args()
    seed = secrets.randbelow(2**32) if options.seed is None else options.seed
    print(f"seed {seed}")
    bad = 0
    sizes = [(campaign, max(60, int(full * options.share))) for campaign, full in CAMPAIGNS]
    for campaign, size in (*sizes, (spoilt_files, 1), (properties, max(1, int(10 * options.share)))):
        begun = time.perf_counter()
        failed = campaign(seed, size)
        bad += len(failed)
        print(f"{campaign.__name__:18} {size:8} tried, {len(failed)} failed, {time.perf_counter() - begun:.0f} s")
        for sentence in failed[:5]:
            print(f"  ! {sentence}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
