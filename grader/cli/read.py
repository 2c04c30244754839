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


_BACK, _STOP, _SKIP, _GIVEN = "<", "stop", "skip", "given"
_SAVED = 9  # comments to choose from


def read(
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    listed: Annotated[
        bool, typer.Option("--list", help="Only list what waits: what is looked for once, then the answers.")
    ] = False,
    names: Annotated[bool, typer.Option("--names", help="Show who wrote it.")] = False,
    everything: Annotated[bool, typer.Option("--all", help="Also what was read before.")] = False,
    to: Annotated[Path | None, typer.Option(help="Write the answers into a table for a spreadsheet.")] = None,
    separator: Annotated[str, typer.Option(help="With --to: , or ; (with decimal commas) or tab.")] = ",",
    taken_from: Annotated[
        Path | None, typer.Option("--from", help="Take the filled-in table back, CSV or .xlsx.")
    ] = None,
    term: TermFolder = HERE,
) -> None:
    """Read written answers against their rubric and give each point its marks."""
    from grader.course.grading import written_answers, written_table
    from grader.pages import csv_file
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    if to and taken_from:
        raise Refused("Both --to and --from are given. Write the table first, fill it in, then take it back.")
    if to:
        how = csv_file.manner(spreadsheet=True, separator=separator)
        written_table.write(opened, module, to, waiting_only=not everything, names=names, how=how)
        say(f"{to}: fill the columns “points”, save it as CSV, and give it to 'read {module} --from'.")
        return
    if taken_from:
        done, notes = written_table.from_table(opened, module, taken_from)
        same = sum(not reading.changed for reading in done)
        say(
            f"{module}: {len(done) - same} written answers read."
            + (f" {same} had these points before; nothing changed there." if same else "")
        )
        for note in notes:
            say(f"  note: {note}")
        return
    answers = written_answers.answers(opened, module, waiting_only=not everything)
    if not answers:
        say(f"{module}: no written answer waits.")
    elif listed:
        _list(answers, names)
    else:
        _one_by_one(opened, module, answers, names)


def _list(answers: "list[Answer]", names: bool) -> None:
    """What to look for once for each question, and under it the answers."""
    by_path: dict[str, list[Answer]] = {}
    for answer in answers:
        by_path.setdefault(answer.path, []).append(answer)
    for path, mine in by_path.items():
        say(f"\n{path}, {len(mine)} {'answers' if len(mine) > 1 else 'answer'}. Looked for:")
        for looked_for, most in mine[0].rubric:
            say(f"  {most}: {looked_for}")
        for answer in mine:
            say(f"\n{answer.code}" + (f"  {answer.person.name}" if names else ""))
            say(f"    {_indented(answer.text)}")
            if answer.given:
                points = " + ".join(f"{earned / 100:g}" for earned in answer.given.points)
                say(f"  given: {points}" + (f"; {answer.given.comment}" if answer.given.comment else ""))


def _indented(text: str) -> str:
    return text.replace("\n", "\n    ")


def _one_by_one(opened: "Term", module: str, answers: "list[Answer]", names: bool) -> None:
    """Show one answer after the other and ask for its points; each is kept at once, and one can go back."""
    say(
        f"At each question: {_BACK} goes back, s skips this answer, q stops. Enter keeps what stands in [ ], - empties a comment."
    )
    place, typed = 0, {}
    while place < len(answers):
        answer = answers[place]
        say(
            f"\n{place + 1} of {len(answers)}  {answer.code}  {answer.path}"
            + (f"  {answer.person.name}" if names else "")
        )
        for line in answer.question:
            say(line)
        say(f"\n    {_indented(answer.text)}\n")
        say(f"A good answer: {answer.model}")
        for looked_for, most in answer.rubric:
            say(f"  {most}: {looked_for}")
        before = answer.given
        had = [f"{earned / 100:g}" for earned in before.points] if before else [""] * len(answer.rubric)
        entries = typed.setdefault(answer.code, [*had, before.comment if before else ""])
        step = _entries(opened, module, answer, entries)
        if step == _STOP:
            say("Stopped. What was read so far is kept.")
            return
        if step == _GIVEN:
            _keep(opened, module, answer, entries)
        place = max(0, place - 1) if step == _BACK else place + 1


def _entries(opened: "Term", module: str, answer: "Answer", entries: list[str]) -> str:
    """Fill in the points and the comment of one answer, each looked at as it is typed; says what comes next."""
    from grader.course.grading import written_answers

    saved = written_answers.comments(opened, module).get(answer.path, [])[:_SAVED]
    number = 0
    while number < len(entries):
        comment = number == len(answer.rubric)
        if comment:
            for place, words in enumerate(saved, 1):
                say(f"  {place}  {words}")
            question = "Comment for the trainee" + (f" (or 1 to {len(saved)} for one of these)" if saved else "")
        else:
            question = f"Point {number + 1}, 0 to {answer.rubric[number][1]}"
        there = entries[number]
        text = ask(question + (f" [{there}]" if there else ""), default="", show_default=False).strip()
        if text == _BACK:
            if number == 0:
                return _BACK
            number -= 1
            continue
        if text.lower() in ("q", "s"):
            return _STOP if text.lower() == "q" else _SKIP
        if comment and text.isdecimal() and 1 <= int(text) <= len(saved):
            text = saved[int(text) - 1]
        text = "" if comment and text == "-" else text or there
        if not comment:
            try:
                written_answers.point_of(text, *answer.rubric[number])
            except Refused as problem:
                say(f"  ! {problem}")
                continue
        entries[number] = text
        number += 1
    return _GIVEN


def _keep(opened: "Term", module: str, answer: "Answer", entries: list[str]) -> None:
    from grader.course.grading import written_answers

    try:
        given = written_answers.give(opened, module, answer.code, entries[:-1], entries[-1])
    except Refused as problem:
        say(f"  ! {problem}")
        return
    if not given.changed:
        say("It had these points and this comment before; nothing changed.")
    elif given.mark is None or given.most is None:
        say("Kept.")
    else:
        say(f"Kept. The module's mark is now {given.mark / 100:g} of {given.most / 100:g}.")


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
