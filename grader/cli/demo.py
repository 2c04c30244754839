"""demo: the whole road once, in a folder of its own."""

from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table
from rich.text import Text

from grader.cli.output import console, say


def demo(
    folder: Annotated[Path | None, typer.Argument(help="A new folder; otherwise one in your home folder.")] = None,
):
    """Build an invented term with a class of 24, mark it, export it, and show where everything lies."""
    from grader import catalogue
    from grader.course import overview
    from grader.course.demo import build, quality
    from grader.course.export.grades import hundredths
    from grader.exercise.model import sayings

    place = folder or build.free_folder(Path.home() / "timing-mark-demo")
    say(f"Building an invented term in {place} ...")
    built = build.build(place)
    module = catalogue.module(built.assigned.module)
    numbers = [str(number) for number in range(1, len(module.exercises) + 1)]
    table = Table("trainee", *numbers, "late", f"of {module.marks}", "%", "state", box=None, pad_edge=False)
    for column in table.columns[1:-1]:
        column.justify = "right"
    for found, marks in overview.marks_table(built.term, module):
        row = found.mark
        table.add_row(
            Text(found.person.name, no_wrap=True),
            *("" if marks.get(e.key) is None else hundredths(marks[e.key]) for e in module.exercises),
            f"-{hundredths(row.penalty)}" if row and row.penalty else "",
            hundredths(row.mark) if row else "",
            f"{row.mark * 100 / row.most:.0f}" if row else "",
            found.state,
        )
    say(f"{module.title}: marks by trainee and exercise")
    console.print(table, markup=False)
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
    for finding in [*built.collected.findings, *built.marked.findings]:
        say(f"To look at: {finding}")
    say()
    say(f"Term folder     {built.term.folder}")
    say(f"Grades          {built.grades}")
    say(f"Hand-outs       {built.term.folder / 'out'}")
    say(f"Kept hand-ins   {built.term.folder / 'handed_in'}")
    say(f"Records         {built.term.folder / 'gradebook.db'}")
    say(f"Next: python -m grader term verify --term {built.term.folder}")
