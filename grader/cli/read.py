"""read and copies: written answers one after the other or in a spreadsheet; whose wrong answers are alike."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from grader.cli.output import ask, say
from grader.cli.term import HERE, TermFolder
from grader.errors import Refused

if TYPE_CHECKING:
    from grader.course.grading.written_answers import Answer
    from grader.records.term.term import Term


def read(
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    listed: Annotated[bool, typer.Option("--list", help="Only list what waits.")] = False,
    names: Annotated[bool, typer.Option("--names", help="Show who wrote it.")] = False,
    everything: Annotated[bool, typer.Option("--all", help="Also what was read before.")] = False,
    to: Annotated[Path | None, typer.Option(help="Write the answers into a table for a spreadsheet.")] = None,
    taken_from: Annotated[Path | None, typer.Option("--from", help="Take the filled-in table back.")] = None,
    term: TermFolder = HERE,
) -> None:
    """Read written answers against their rubric and give each point its marks."""
    from grader.course.grading import written_answers, written_table
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    if to and taken_from:
        raise Refused("Both --to and --from are given. Write the table first, fill it in, then take it back.")
    if to:
        written_table.write(opened, module, to, waiting_only=not everything, names=names)
        say(f"{to}: fill the columns “points”, save it as CSV, and give it to 'read {module} --from'.")
        return
    if taken_from:
        done = written_table.from_table(opened, module, taken_from)
        same = sum(not reading.changed for reading in done)
        say(
            f"{module}: {len(done) - same} written answers read."
            + (f" {same} had these points before; nothing changed there." if same else "")
        )
        return
    answers = written_answers.answers(opened, module, waiting_only=not everything)
    if not answers:
        say(f"{module}: no written answer waits.")
    for number, answer in enumerate(answers, 1):
        say(
            f"\n{number} of {len(answers)}  {answer.code}  {answer.path}" + (f"  {answer.person.name}" if names else "")
        )
        if listed:
            _show_given(answer)
            continue
        for line in answer.question:
            say(line)
        say(f"\n    {answer.text.replace(chr(10), chr(10) + '    ')}\n")
        say(f"A good answer: {answer.model}")
        _show_given(answer)
        if not _give_points(opened, module, answer):
            say("Stopped. What was read so far is kept.")
            return


def _show_given(answer: "Answer") -> None:
    for place, (looked_for, most) in enumerate(answer.rubric):
        had = f"{answer.given.points[place] / 100:g} of " if answer.given else ""
        say(f"  {had}{most}: {looked_for}")
    if answer.given and answer.given.comment:
        say(f"  comment: {answer.given.comment}")


def _give_points(term: "Term", module: str, answer: "Answer") -> bool:
    """Ask for the points of one answer until they can be taken; False if the instructor stops."""
    from grader.course.grading import written_answers

    while True:
        points = []
        for number, (_, most) in enumerate(answer.rubric, 1):
            typed = ask(f"Point {number}, 0 to {most} (s skips this answer, q stops)").strip()
            if typed.lower() == "q":
                return False
            if typed.lower() == "s":
                return True
            points.append(typed)
        comment = ask("Comment for the trainee", default="", show_default=False)
        try:
            _, mark, changed = written_answers.give(term, module, answer.code, points, comment)
        except Refused as problem:
            say(f"  ! {problem} Type the points again.")
            continue
        if not changed:
            say("It had these points and this comment before; nothing changed.")
        else:
            say("Kept." if mark is None else f"Kept. The module's mark is now {mark / 100:g}.")
        return True


def copies(
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    term: TermFolder = HERE,
) -> None:
    """List pairs whose wrong answers fit the other's numbers beyond chance: a reason to talk, no more."""
    from grader.records.term import term as terms
    from grader.reports.feedback import similarity, similarity_chance

    opened = terms.open_term(term)
    pairs = similarity.pairs(opened, module)
    if not pairs:
        say(f"{module}: no pair stands out beyond chance.")
        say(similarity.little(opened, module))
        return
    say(f"{module}: pairs beyond 1 in {1 / similarity_chance.LIMIT:.0f}, after allowing for all pairs of the class.")
    for pair in pairs:
        say(f"  {similarity.sentence(pair)}")
    say(similarity.ADVICE)
    say(similarity.little(opened, module))
