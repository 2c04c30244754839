"""The instructor's month: assign, collect, mark, extend, excuse, override, resit, return and report."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import findings, say
from grader.cli.term import HERE, TermFolder

WORDS = {"no": "not met"}

ExchangeRoot = Annotated[
    Path | None, typer.Option(help="The exchange's folder, where it is not the one of nbgrader's settings.")
]


def assign_module(
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    due: Annotated[str, typer.Option(help="2026-03-31 or 2026-03-31 17:00, in the term's zone.")] = "",
    practice: Annotated[bool, typer.Option("--practice", help="Practice instead of assessed work.")] = False,
    group: Annotated[str, typer.Option(help="Only this group; it may have a due time of its own.")] = "",
    trainee: Annotated[list[str] | None, typer.Option(help="Only this trainee; say it again for another.")] = None,
    way: Annotated[
        str, typer.Option("--as", help="zips (one for each), folder (one for all), exchange (nbgrader's) or paper.")
    ] = "",
    exchange_root: ExchangeRoot = None,
    vehicle: Annotated[
        list[str] | None, typer.Option(help="Draw from this vehicle of yours; say it again for another.")
    ] = None,
    term: TermFolder = HERE,
) -> None:
    """Release a module and issue every trainee's own numbers."""
    from grader import clock
    from grader.course.issue import assign
    from grader.exercise.model import ASSESSED, PRACTICE
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    done = assign.assign(
        opened, module, due=due, mode=PRACTICE if practice else ASSESSED, group=group, trainees=tuple(trainee or ()),
        way=way, exchange=exchange_root, own=tuple(vehicle or ()),
    )  # fmt: skip
    until = opened.shown(clock.from_text(done.due)) if done.due else "no due time"
    say(f"{done.module} ({done.mode}, {until}): numbers issued to {len(done.issued_to)}, {done.had_them} had theirs.")
    for line in done.notes:
        say(f"  note: {line}")
    shown = {"zips": f"/<trainee>/{done.module}.zip", "paper": f"/<trainee>/{done.module}.html"}.get(done.way, "")
    say(f"Hand-outs: {done.folder}{shown}")


def collect_hand_ins(
    paths: Annotated[list[Path] | None, typer.Argument(help="Files or folders; otherwise the term's inbox.")] = None,
    received_at: Annotated[str, typer.Option(help="When they arrived, for files without the exchange's stamp.")] = "",
    exchange: Annotated[
        bool, typer.Option("--exchange", help="From nbgrader's exchange instead of the inbox.")
    ] = False,
    exchange_root: ExchangeRoot = None,
    term: TermFolder = HERE,
) -> None:
    """Take hand-ins; each is kept as it came."""
    from grader import clock
    from grader.course.submissions import collect
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    moment = clock.arrival(received_at, opened.settings.zone) if received_at else None
    if exchange or exchange_root:
        done = collect.collect_exchange(opened, exchange_root)
    else:
        done = collect.collect(opened, paths or (), received_at=moment)
    say(f"{done.taken} taken, {done.known} known before, {len(done.findings)} to look at.")
    for note in done.notes:
        say(f"  note: {note}.")
    findings(done.findings)


def mark_module(
    module: Annotated[str, typer.Argument(help="Such as m01_timing; otherwise every assigned module.")] = "",
    reason: Annotated[str, typer.Option(help="Why marks of unchanged work may change.")] = "",
    preview: Annotated[
        bool, typer.Option("--preview", help="Show every mark that would change; write nothing.")
    ] = False,
    papers: Annotated[bool, typer.Option("--papers", help="Also write the notebooks that formgrader shows.")] = False,
    term: TermFolder = HERE,
) -> None:
    """Mark the class: new hand-ins, and old ones that come out differently."""
    from grader.course.attempts import overview
    from grader.course.grading import mark_class, written_answers
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    problems = []
    for key in [module] if module else overview.assigned(opened):
        run = mark_class.mark(opened, key, reason=reason, preview=preview)
        if preview:
            say(f"{key}: {len(run.changes)} marks would be written, {run.unchanged} stay. Nothing was changed.")
            for line in overview.changes(run.changes):
                say(f"  {line}")
            problems += run.findings
            continue
        say(f"{key}: {run.marked} marked, {run.unchanged} unchanged, {len(run.held)} held back.")
        problems += run.findings + run.held
        if waiting := written_answers.waiting(opened, key):
            say(f"{key}: {waiting} written answers wait for you. Run 'read {key}'.")
        if papers:
            from grader.course.formgrader import notebooks as paper_writer

            papers_written, unwritten = paper_writer.write_class(opened, key)
            say(f"{key}: {papers_written} papers in submitted/ and autograded/.")
            problems += [finding for finding in unwritten if finding not in problems]
    findings(problems)


def extend(
    trainee: Annotated[str, typer.Argument(help="The trainee's id.")],
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    until: Annotated[str, typer.Option(help="2026-03-31 or 2026-03-31 17:00, in the term's zone.")],
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")],
    term: TermFolder = HERE,
) -> None:
    """Give one trainee a later due time; a penalty already taken is computed afresh."""
    from grader import clock
    from grader.course.grading import adjust
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    person, moment, mark = adjust.extend(opened, trainee, module, until=until, reason=reason)
    say(f"{person.name}: {module} due {opened.shown(clock.from_text(moment))}." + _stands(mark))


def excuse(
    trainee: Annotated[str, typer.Argument(help="The trainee's id.")],
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")],
    withdraw: Annotated[bool, typer.Option("--withdraw", help="The excuse no longer holds.")] = False,
    term: TermFolder = HERE,
) -> None:
    """Excuse one trainee from a module: no mark, and it counts nowhere."""
    from grader.course.grading import adjust
    from grader.records.term import term as terms

    person = adjust.excuse(terms.open_term(term), trainee, module, reason=reason, withdraw=withdraw)
    say(f"{person.name} is {'no longer ' if withdraw else ''}excused from {module}.")


def override(
    trainee: Annotated[str, typer.Argument(help="The trainee's id.")],
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    exercise: Annotated[str, typer.Argument(help="Such as total.")],
    mark: Annotated[str, typer.Argument(help="Marks, such as 1.5; or 'computed' to go back.")],
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")],
    term: TermFolder = HERE,
) -> None:
    """Set the mark of one exercise by hand."""
    from grader.course.grading import adjust
    from grader.records.term import term as terms

    person, total = adjust.override(terms.open_term(term), trainee, module, exercise, mark, reason=reason)
    say(f"{person.name}: {exercise} is {mark.strip()}." + _stands(total))


def _stands(mark: int | None) -> str:
    from grader.reports.tables.grades import hundredths

    return "" if mark is None else f" The module's mark is now {hundredths(mark)}."


def return_module(
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    trainee: Annotated[str, typer.Option(help="One trainee's id; otherwise everybody.")] = "",
    partly: Annotated[bool, typer.Option("--partly", help="Also work whose written answers still wait.")] = False,
    one_file: Annotated[
        bool, typer.Option("--one-file", help="Also all sheets in one file, to print at once.")
    ] = False,
    term: TermFolder = HERE,
) -> None:
    """Write each trainee's returned sheet: answers, verdicts, worked steps, what to practise."""
    from grader.records.term import term as terms
    from grader.reports.feedback import return_run

    opened = terms.open_term(term)
    done = return_run.give_back(opened, module, trainee=trainee, partly=partly, one_file=one_file)
    replaced = f" ({done.replaced} in place of an older page)" if done.replaced else ""
    say(
        f"{module}: {done.written} sheets written{replaced}, {done.unchanged} unchanged, {len(done.left_out)} left out."
    )
    say(f"Sheets: {done.folder}/<trainee>/{module}.html")
    if done.one_file:
        say(f"All in one file: {done.one_file}")
    for line in done.left_out:
        say(f"  left out: {line}")
    findings(done.findings)


def report(
    module: Annotated[str, typer.Argument(help="Such as m01_timing; otherwise every assigned module.")] = "",
    term: Annotated[
        list[Path] | None, typer.Option("--term", help="The class; further ones are compared over the months.")
    ] = None,
) -> None:
    """Write the class report: who needs you, commonest slips, marks, how the questions worked."""
    from grader.reports.feedback import class_report
    from grader.reports.tables import scope

    opened = scope.open_to_read(term or [HERE])
    for path in class_report.write(opened, module):
        say(f"Class report: {path}")
    findings(scope.not_taken_over(opened))


def resit(
    trainee: Annotated[str, typer.Argument(help="The trainee's id.")],
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")],
    objective: Annotated[
        list[str] | None, typer.Option(help="Only this objective; say it again for another. Otherwise all not shown.")
    ] = None,
    due: Annotated[str, typer.Option(help="2026-03-31 or 2026-03-31 17:00, in the term's zone.")] = "",
    term: TermFolder = HERE,
) -> None:
    """Issue fresh numbers for the objectives that were not shown; the best attempt counts."""
    from grader import clock
    from grader.course.grading import resit as resits
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    done = resits.resit(opened, trainee, module, due=due, reason=reason, objectives=tuple(objective or ()))
    until = f"due {opened.shown(clock.from_text(done.due))}" if done.due else "no due time"
    say(f"{done.person.name}: attempt {done.attempt} of {module}, {until}.")
    shown = [f"{code} ({WORDS.get(met, met)})" for code, met in done.objectives.items()]
    say(f"Objectives: {', '.join(shown)}.")
    say(f"Fresh numbers: {'; '.join(exercise.title for exercise in done.exercises)}. All other answers stay.")
    say(f"Hand-out: {opened.folder}/out/{done.person.id}/{module}.zip")
    say(
        f"For the exchange run 'assign {module} --as exchange' now. Who fetched before need not fetch again: when the lesson "
        "is opened, its top offers the new attempt and keeps the old one in a folder beside it."
    )
