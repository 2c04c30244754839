"""demo: the whole road once, in a folder of its own."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import say


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
    say(f"Next: python -m grader term verify --term {built.term.folder}")


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
