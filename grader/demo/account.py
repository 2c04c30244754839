"""What the demo tells about the month it ran: lines to read, and where every file lies."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from grader import catalogue
from grader.course.attempts import overview, standing
from grader.demo import quality, scenario
from grader.exercise.part import sayings
from grader.reports.feedback import confidence
from grader.reports.tables.grades import hundredths

if TYPE_CHECKING:
    from grader.demo.build import AtTheBench, Built, Practised

COMMONEST = 3


def month(built: Built) -> Iterator[str]:
    """The assessed module: marks, commonest slips, how well the marking found out, what to look at.

    Parameters
    ----------
    built : Built

    Yields
    ------
    str
    """
    module = catalogue.module(built.assigned.module)
    yield f"{module.title}: marks by trainee and exercise, of {module.marks}; exercises to a tenth"
    yield from _marks(built.term, module)
    yield ""
    yield "Commonest slips:"
    parts = {path: part for _, part, path in module.parts()}
    for path, slip, count in overview.slips(built.term, module.key)[:COMMONEST]:
        yield f"  {count} × {path}: {sayings(parts[path])[slip]}"
    yield ""
    yield "How well marking found out what the simulated trainees did:"
    for line in quality.lines(quality.measure(built.term, built.diary)):
        yield f"  {line}"
    yield ""
    yield (
        f"{len(built.read)} letters to the owner of a vehicle were read by a simulated instructor, "
        "each with points and a comment."
    )
    for finding in [*built.collected.findings, *built.marked.findings]:
        yield f"To look at: {finding}"
    for line in built.returned.left_out:
        yield f"Not returned: {line}"


def practice(practised: Practised) -> str:
    """The module that was practised for the next session, in one sentence."""
    several = sum(row.sure_and_wrong >= confidence.SEVERAL for row in practised.sure.rows)
    return (
        f"{catalogue.module(scenario.PRACTISED).title} was handed out as practice: {practised.collected.taken} handed in, "
        f"{practised.sure.said} said how sure they were; in {several} exercises several were sure and wrong."
    )


def bench(built: Built, done: AtTheBench) -> str:
    """The lesson at the bench, in two sentences."""
    module = catalogue.module(scenario.AT_THE_BENCH)
    marks = [
        f"{scenario.BENCH_WAYS[attempt.person.id]} {hundredths(attempt.mark.mark)}"
        for attempt, _ in overview.marks_table(built.term, module)
        if attempt.mark is not None
    ]
    return (
        f"{module.title}: {done.collected.taken} worked a car each at the bench. By their way of work "
        f"they earned, of {module.marks}: {', '.join(marks)}."
    )


def places(built: Built, practised: Practised, done: AtTheBench) -> Iterator[str]:
    """Where everything lies that the demo made."""
    folder = built.term.folder
    sheet = f"{scenario.LATE[0]}/{scenario.MODULE}.html"  # worth a look: of somebody who handed in late
    yield f"Term folder     {folder}"
    yield f"Class report    {built.report}"
    yield f"Practice report {practised.report}"
    yield f"Bench report    {done.report} (returned: {done.returned.folder})"
    yield f"Returned sheets {built.returned.folder} ({built.returned.written}, such as {sheet})"
    yield f"Grades          {built.grades}"
    yield f"Hand-outs       {folder / 'out'}"
    yield f"Kept hand-ins   {folder / 'handed_in'}"
    yield f"Records         {folder / 'gradebook.db'}"


def _marks(term, module):
    """A table of a class's marks, in lines of 80 at most."""
    numbers = range(1, len(module.exercises) + 1)
    yield f"{'':<18}" + "".join(f"{number:>4}" for number in numbers) + f"{'sum':>6}"
    for standing_of_one, marks in overview.marks_table(term, module):
        row = standing_of_one.mark
        cells = "".join(f"{_cell(marks, exercise.key):>4}" for exercise in module.exercises)
        penalty = f"  late -{hundredths(row.penalty)}" if row and row.penalty else ""
        state = "" if standing_of_one.state == standing.MARKED else f"  {standing_of_one.state}"
        name = standing_of_one.person.name[:17]
        yield f"{name:<18}{cells}{hundredths(row.mark) if row else '':>6}{penalty}{state}".rstrip()
    yield ", ".join(f"{n} {e.name} ({e.marks})" for n, e in zip(numbers, module.exercises, strict=True))


def _cell(marks, key):
    """Marks of one exercise; a dot while its answer waits to be read.

    To a tenth, in three places at most: the table fits a line of 80, and 1.33 after a 2 was read as 21.33.
    """
    if key not in marks:
        return ""
    return "·" if marks[key] is None else f"{(marks[key] + 5) // 10 / 10:g}"
