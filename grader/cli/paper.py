"""paper and transcribe: exercises for those without a computer, and their answers typed in."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from grader.cli.output import ask, confirmed, say
from grader.cli.term import HERE, TermFolder
from grader.errors import Refused, Unreadable

if TYPE_CHECKING:
    from grader.course.submissions.transcribe import Open
    from grader.exercise.sheet import Answer
    from grader.records.term.term import Term

_BACK, _CLEAR = "<", "-"


def paper(
    module: Annotated[str, typer.Argument(help="Such as m01_timing; it must be assigned.")],
    trainee: Annotated[list[str] | None, typer.Option(help="Only this trainee; say it again for another.")] = None,
    group: Annotated[str, typer.Option(help="Only this group.")] = "",
    one_file: Annotated[
        bool, typer.Option("--one-file", help="Also all sheets in one file, to print at once.")
    ] = False,
    term: TermFolder = HERE,
) -> None:
    """Write each trainee's own questions as a sheet to print."""
    from grader.course.issue import channels
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    written = channels.print_sheets(opened, module, trainees=tuple(trainee or ()), group=group, one_file=one_file)
    whole = written.pop() if one_file else None
    say(f"{len(written)} sheets: {opened.folder}/out/<trainee>/{module}.html. Print them from the browser.")
    if whole:
        say(f"All in one file: {whole}")


def transcribe(
    first: Annotated[
        str, typer.Argument(metavar="[TRAINEE] MODULE", help="Trainee and module; with --from or --to the module.")
    ],
    second: Annotated[str, typer.Argument(metavar="", help="")] = "",
    from_file: Annotated[
        Path | None, typer.Option("--from", help="A table, CSV or .xlsx: trainee,part,answer,unit.")
    ] = None,
    to: Annotated[Path | None, typer.Option(help="Write a table to fill in, of all who have not handed in.")] = None,
    group: Annotated[str, typer.Option(help="With --to: only this group.")] = "",
    separator: Annotated[str, typer.Option(help="With --to: , or ; or tab.")] = ",",
    received_at: Annotated[str, typer.Option(help="When the paper came in; otherwise now.")] = "",
    term: TermFolder = HERE,
) -> None:
    """Type in what stands on paper; it is kept as a hand-in and logged as transcribed."""
    from grader.course.submissions import transcribe as transcribing
    from grader.pages import csv_file
    from grader.records.term import dates
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    arrived = dates.arrival(opened, received_at) if received_at else None
    if (from_file or to) and second or from_file and to:
        raise Refused(
            "With --from, or with --to, only the module is named; who it is by stands in the table. Nothing was kept."
        )
    if to is not None:
        how = csv_file.manner(spreadsheet=True, separator=separator)
        people = transcribing.write_table(opened, first, to, group=group, how=how)
        say(
            f"{to}: the questions of {len(people)}. Fill the column “answer” and give it to 'transcribe {first} --from'."
        )
        return
    if from_file is not None:
        kept, notes = transcribing.from_table(opened, first, from_file, received_at=arrived)
        for note in notes:
            say(f"  note: {note}")
    else:
        if not second:
            raise Refused("Name the trainee and the module, or the module and --from a table. Nothing was kept.")
        sheet = transcribing.begin(opened, first, second)
        answers = _typed(opened, sheet)
        if not confirmed(f"Keep this sheet of {sheet.person.name}?"):
            say("Not kept. What you typed is there when you run the command again.")
            return
        kept = [transcribing.keep(opened, sheet, answers, received_at=arrived)]
    for paper_kept in kept:
        what = "was kept before" if paper_kept.known else f"{paper_kept.answered} of {paper_kept.asked} answers kept"
        say(f"{paper_kept.person.name}: {what}, receipt {paper_kept.receipt}.")
        if paper_kept.others:
            say(f"  note: {paper_kept.others} more from a computer; of all that came in time the last one counts.")
        if paper_kept.finding:
            say(f"  note: {paper_kept.finding} If the paper was in before, type it again with --received-at.")


def _typed(term: "Term", sheet: "Open") -> "dict[str, Answer]":
    """Go through the questions; what was typed is kept after each, so that one can break off."""
    from grader.course.submissions import transcribe as transcribing

    answers = transcribing.draft(term, sheet)
    say(f"{sheet.person.name}, {sheet.record.module}, attempt {sheet.record.attempt}: {len(sheet.questions)} answers.")
    say(
        f"Enter keeps what stands in [ ] or leaves it blank, {_CLEAR} empties it, {_BACK} goes back, ! takes a word as it is."
    )
    place, shown = 0, ""
    while place < len(sheet.questions):
        question = sheet.questions[place]
        if question.heading != shown:
            shown = question.heading
            say(f"\n{shown}")
        for letter, _, words in question.lettered:
            say(f"    {letter}  {words}")
        before = answers.get(question.path)
        there = f"{before.raw} {before.unit}".strip() if before else ""
        text = ask(f"  {question.part.prompt} ({question.how}) [{there}]", default="", show_default=False).strip()
        if text == _BACK:
            place = max(0, place - 1)
            continue
        if text:
            try:
                answers[question.path] = transcribing.read(question, "" if text == _CLEAR else text)
            except Unreadable as problem:
                say(f"    {problem} If that is what stands on the paper, type it again with ! before it.")
                continue
            transcribing.save_draft(term, sheet, answers)
            echo = answers[question.path].read_as
            say(f"    read as {echo}" if echo else "    blank" if text == _CLEAR else "    taken as it stands")
        place += 1
    return answers
