"""demo, check and release: for those who look at the project or work on it."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import console, program, say


def release(module: Annotated[str, typer.Argument(help="Otherwise every module.")] = ""):
    """Make lessons/ anew from solutions/."""
    from grader import catalogue
    from grader.records.gradebook import release as releasing

    for key in [module] if module else catalogue.all_modules():
        say(f"{releasing.release(key)} is made anew.")


def check(
    module: Annotated[str, typer.Argument(help="With --exercises: one module; otherwise every one.")] = "",
    science: Annotated[bool, typer.Option("--science", help="Reference functions against published values.")] = False,
    readme: Annotated[bool, typer.Option("--readme", help="Also put the table of it into README.md.")] = False,
    exercises: Annotated[bool, typer.Option("--exercises", help="Own numbers, slips, copied answers.")] = False,
    trainees: Annotated[int, typer.Option(min=20, help="With --exercises: for how many trainees.")] = 10_000,
):
    """Check the project itself."""
    if not science and not exercises:
        say("Say what to check: --science or --exercises.")
        sys.exit(2)
    sound = True
    if science:
        sound &= _check_science(readme)
    if exercises:
        sound &= _check_exercises(module, trainees, readme)
    if not sound:
        sys.exit(1)


def _check_science(readme):
    from grader.published_checks import checks, summary

    outcomes = [checks.run(check) for check in checks.every()]
    for found in outcomes:
        row = found.check
        say(
            f"{'ok  ' if found.passed else 'FAIL'} {row.table + ' ' + row.id:<24} {row.label:<10} {row.source:<22} "
            f"{row.expected + ' ' + row.unit:<24} got {found.got:<12.6g} off {found.error:<9.2g} allowed {row.allowed}"
        )
    for label in checks.LABELS:
        mine = [found for found in outcomes if found.check.label == label]
        say(f"{label}: {sum(found.passed for found in mine)} of {len(mine)} pass.")
    if readme:
        summary.write_readme(outcomes)
    return all(found.passed for found in outcomes)


def _check_exercises(module, trainees, readme):
    from rich.progress import Progress

    from grader import catalogue
    from grader.marking import proof

    faults = []
    for key in [catalogue.module(module).key] if module else catalogue.all_modules():
        unit = catalogue.module(key)
        with Progress(console=console, transient=True) as bar:
            task = bar.add_task(key, total=trainees)
            found = proof.prove(unit, trainees, step=lambda bar=bar, task=task: bar.advance(task))
        say(f"{key}: {trainees} trainees, {unit.marks} marks")
        for (_, part, path), mine in zip(unit.parts(), found.parts.values(), strict=True):
            say(f"{'FAIL' if mine.faults else 'ok  '} {path:<32} {_figures(part, mine)}")
        say(f"A classmate's whole sheet earns {found.copied_sheet:.2f} of {unit.marks} marks on average.")
        fixed = ", ".join(found.fixed) or "none"
        say(f"Orders that are the same for most trainees: {fixed} ({found.fixed_share:.0%} of the marks).")
        _say_difficulty(unit, min(trainees, 200))
        faults += found.faults
    for fault in faults:
        say(f"  ! {fault}")
    say(f"{len(faults)} faults.")
    if readme:
        from grader.records.gradebook import release as releasing

        releasing.write_readme()
    return not faults


def _say_difficulty(unit, count):
    from grader.demo import quality

    say(f"Difficulty, estimated from SIMULATED trainees (n = {count}); a real class will differ:")
    for one in quality.estimates(unit, count):
        share = "" if one.facility is None else f"{one.facility:.2f}"
        say(f"    {one.exercise:<28} {one.marks:>2} marks  n {one.n:<5} simulated facility {share:<5} {one.remark}")


def _figures(part, mine):
    low, high = mine.tolerance
    width = "" if high == 0 else f"{low:.3g} to {high:.3g} {part.unit}"
    slips = f"{len(mine.slips)} of {len(part.slips)} named" if part.slips else ""
    nearest = f"{mine.nearest:.2f}" if mine.nearest < float("inf") else ""
    limit = "listed" if mine.limit is None else f"{mine.limit:.0%}"
    return (
        f"tolerance {width:<24} slips {slips:<14} nearest {nearest:<6} "
        f"copied {mine.copied:<6.1%} constant {mine.constant:<6.1%} limit {limit}"
    )


def demo(
    folder: Annotated[Path | None, typer.Argument(help="A new folder; otherwise one in your home folder.")] = None,
):
    """Build an invented class of 24 and run its whole month: assign, hand in, mark, return, report, export, practise."""
    from grader import catalogue
    from grader.course.attempts import overview, standing
    from grader.demo import build, quality, scenario
    from grader.exercise.model import sayings
    from grader.reports.feedback import confidence
    from grader.reports.tables.grades import hundredths

    place = folder or build.free_folder(Path.home() / "timing-mark-demo")
    say(f"Building an invented term in {place} ...")
    built = build.build(place)
    module = catalogue.module(built.assigned.module)
    say(f"{module.title}: marks by trainee and exercise, of {module.marks}; exercises to a tenth")
    numbers = range(1, len(module.exercises) + 1)
    say(f"{'':<18}" + "".join(f"{number:>4}" for number in numbers) + f"{'sum':>6}")
    for found, marks in overview.marks_table(built.term, module):
        row = found.mark
        cells = "".join(f"{_cell(marks, e.key):>4}" for e in module.exercises)
        penalty = f"  late -{hundredths(row.penalty)}" if row and row.penalty else ""
        state = "" if found.state == standing.MARKED else f"  {found.state}"
        say(f"{found.person.name[:17]:<18}{cells}{hundredths(row.mark) if row else '':>6}{penalty}{state}".rstrip())
    say(", ".join(f"{n} {e.name} ({e.marks})" for n, e in zip(numbers, module.exercises, strict=True)))
    parts = {path: part for _, part, path in module.parts()}
    say()
    say("Commonest slips:")
    for path, slip, count in overview.slips(built.term, module.key)[:3]:
        say(f"  {count} × {path}: {sayings(parts[path])[slip]}")
    say()
    say("How well marking found out what the simulated trainees did:")
    for line in quality.lines(quality.measure(built.term, built.diary)):
        say(f"  {line}")
    say()
    say(
        f"{len(built.read)} letters to the owner of a vehicle were read by a simulated instructor, each with points and a comment."
    )
    for finding in [*built.collected.findings, *built.marked.findings]:
        say(f"To look at: {finding}")
    for line in built.returned.left_out:
        say(f"Not returned: {line}")
    practised = build.practise(built.term)
    worth = sum(row.sure_and_wrong >= confidence.SEVERAL for row in practised.sure.rows)
    say()
    say(
        f"{catalogue.module(scenario.PRACTISED).title} was handed out as practice: {practised.collected.taken} handed in, "
        f"{practised.sure.said} said how sure they were; in {worth} exercises several were sure and wrong."
    )
    say()
    say(f"Term folder     {built.term.folder}")
    say(f"Class report    {built.report}")
    say(f"Practice report {practised.report}")
    say(f"Returned sheets {built.returned.folder} ({built.returned.written}, such as {_one_sheet(built)})")
    say(f"Grades          {built.grades}")
    say(f"Hand-outs       {built.term.folder / 'out'}")
    say(f"Kept hand-ins   {built.term.folder / 'handed_in'}")
    say(f"Records         {built.term.folder / 'gradebook.db'}")
    say(f"Next: {program()} term verify --term {built.term.folder}")


def _one_sheet(built):
    """A returned sheet worth a look: of somebody who handed in late."""
    from grader.demo import scenario

    return f"{scenario.LATE[0]}/{scenario.MODULE}.html"


def _cell(marks, key):
    """Marks of one exercise; a dot while its answer waits to be read.

    To a tenth, in three places at most: the table fits a line of 80, and 1.33 after a 2 was read as 21.33.
    """
    if key not in marks:
        return ""
    return "·" if marks[key] is None else f"{(marks[key] + 5) // 10 / 10:g}"
