"""The instructor's month: assign, collect, mark, extend, excuse, override, resit, return and report."""

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from grader.cli.output import confirmed, findings, say
from grader.cli.term import HERE, TermFolder

if TYPE_CHECKING:  # a command loads what it needs, and no more
    from grader.course.attempts.standing import Whom
    from grader.course.grading.resit import Resit
    from grader.course.grading.several import Several
    from grader.course.submissions.collect import ManyLate
    from grader.records.term.term import Term

WORDS = {"no": "not met"}

ExchangeRoot = Annotated[
    Path | None, typer.Option(help="The exchange's folder, where it is not the one of nbgrader's settings.")
]


Named = Annotated[
    list[str], typer.Argument(metavar="[TRAINEE]... MODULE", help="Ids of trainees, and last the module.")
]
Group = Annotated[str, typer.Option(help="Everybody in this group.")]
NotHandedIn = Annotated[bool, typer.Option("--not-handed-in", help="All who have not handed in.")]
NotPassed = Annotated[bool, typer.Option("--not-passed", help="All who have not passed.")]


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
    change_due: Annotated[
        str, typer.Option(help="Move the due time: for all, or for a --group or --trainee. 2026-03-31 17:00.")
    ] = "",
    withdraw: Annotated[
        bool, typer.Option("--withdraw", help="Take the module back; assigning it again undoes it.")
    ] = False,
    reason: Annotated[str, typer.Option(help="Why; needed for a correction once somebody has handed in.")] = "",
    preview: Annotated[
        bool, typer.Option("--preview", help="Of a correction: say whom it concerns; change nothing.")
    ] = False,
    term: TermFolder = HERE,
) -> None:
    """Release a module and issue every trainee's own numbers; or correct what was assigned."""
    if change_due or withdraw:
        _correct_assignment(term, module, change_due, withdraw, _whom(trainee, group), reason, preview)
        return
    from grader import clock
    from grader.course.issue import assign
    from grader.exercise.model import ASSESSED, PRACTICE
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    done = assign.assign(
        opened,
        module,
        due=due,
        mode=PRACTICE if practice else ASSESSED,
        group=group,
        trainees=tuple(trainee or ()),
        way=way,
        exchange=exchange_root,
        own=tuple(vehicle or ()),
    )
    until = opened.shown(clock.from_text(done.due)) if done.due else "no due time"
    say(f"{done.module} ({done.mode}, {until}): numbers issued to {len(done.issued_to)}, {done.had_them} had theirs.")
    for line in done.notes:
        say(f"  note: {line}")
    shown = {"zips": f"/<trainee>/{done.module}.zip", "paper": f"/<trainee>/{done.module}.html"}.get(done.way, "")
    say(f"Hand-outs: {done.folder}{shown}")


def _whom(
    trainees: Sequence[str] | None, group: str = "", not_handed_in: bool = False, not_passed: bool = False
) -> "Whom":
    """Of whom a decision is; nobody named is everybody."""
    from grader.course.attempts import standing

    lacking = standing.NOT_HANDED_IN if not_handed_in else standing.NOT_PASSED if not_passed else ""
    return standing.Whom(tuple(trainees or ()), group, lacking, everybody=not (trainees or group or lacking))


def _correct_assignment(
    folder: Path, module: str, due: str, withdraw: bool, whom: "Whom", reason: str, preview: bool
) -> None:
    from grader import clock
    from grader.course.grading import due_time
    from grader.errors import Refused
    from grader.records.term import term as terms

    opened = terms.open_term(folder)
    if due and withdraw:
        raise Refused("--change-due and --withdraw contradict one another. Choose one; nothing was changed.")
    if withdraw:
        if not whom.everybody:
            raise Refused("A module is withdrawn for all. To leave one out, use 'excuse'; nothing was changed.")
        done = due_time.withdraw(opened, module, reason=reason, preview=preview)
        say(
            f"{module}: {'would be' if preview else 'is'} withdrawn; {done.issued} had numbers, {done.handed_in} had handed in."
        )
    else:
        done = due_time.change_due(opened, module, due, whom, reason=reason, preview=preview)
        until = opened.shown(clock.from_text(done.due))
        say(
            f"{module}: {'would be' if preview else 'is'} due {until} for {len(done.people)}; {done.handed_in} had handed in."
        )
        was = [opened.shown(clock.from_text(before)) if before else "no due time" for before in done.before]
        if was:
            say(f"  before: {'; '.join(was)}")
    for note in done.notes:
        say(f"  note: {note}")


def _several(several: "Several[Any]", line: Callable[[Any], str]) -> None:
    """A line for each of whom something was done; who was left out is a finding."""
    for row in several.done:
        say(line(row))
    findings([f"left out: {words}" for words in several.left_out])


def collect_hand_ins(
    paths: Annotated[list[Path] | None, typer.Argument(help="Files or folders; otherwise the term's inbox.")] = None,
    received_at: Annotated[str, typer.Option(help="When they arrived, for files without the exchange's stamp.")] = "",
    exchange: Annotated[
        bool, typer.Option("--exchange", help="From nbgrader's exchange instead of the inbox.")
    ] = False,
    exchange_root: ExchangeRoot = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask when much of the class would be late.")] = False,
    term: TermFolder = HERE,
) -> None:
    """Take hand-ins; each is kept as it came."""
    from grader.course.submissions import collect
    from grader.records.term import dates
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    moment = dates.arrival(opened, received_at) if received_at else None
    ask = None if yes else _late_is_meant
    if exchange or exchange_root:
        done = collect.collect_exchange(opened, exchange_root, confirm=ask)
    else:
        done = collect.collect(opened, paths or (), received_at=moment, confirm=ask)
    say(f"{done.taken} taken, {done.known} known before, {len(done.findings)} to look at.")
    for note in done.notes:
        say(f"  note: {note}.")
    if done.taken:
        say(done.sentence())
    findings(done.findings)


def _late_is_meant(many: "ManyLate") -> bool:
    """Whether somebody who sits here says so; a script says it with --yes."""
    return sys.stdin.isatty() and confirmed(f"{many} Take them as late?")


def received(
    names: Named,
    at: Annotated[str, typer.Option(help="When it really came in: 2026-03-31 or 2026-03-31 17:00.")] = "",
    everybody: Annotated[bool, typer.Option("--all", help="The last arrival of everybody.")] = False,
    group: Annotated[str, typer.Option(help="The last arrival of everybody in this group.")] = "",
    accept: Annotated[bool, typer.Option("--accept", help="Let a hand-in count that waits or was set aside.")] = False,
    set_aside: Annotated[bool, typer.Option("--set-aside", help="Let a hand-in not count; it stays kept.")] = False,
    hand_in: Annotated[
        int, typer.Option(help="Which one, by its number in the list; otherwise the last that waits.")
    ] = 0,
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")] = "",
    preview: Annotated[bool, typer.Option("--preview", help="Say whose time would change; change nothing.")] = False,
    term: TermFolder = HERE,
) -> None:
    """List what came in from a trainee; correct when it came, or whether it counts."""
    from grader import clock
    from grader.course.grading import received as correcting
    from grader.errors import Refused
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    *named, module = names
    if not (named or everybody or group):
        raise Refused("Nobody is named. Name trainees before the module, or --all, or a --group. Nothing was changed.")
    if sum((bool(at), accept, set_aside)) > 1:
        raise Refused("--at, --accept and --set-aside are three decisions. Take one at a time; nothing was changed.")
    if at:
        whom = _whom(() if everybody else named, group)
        for arrival in correcting.correct(opened, module, whom, at=at, reason=reason, preview=preview):
            was, now = (opened.shown(clock.from_text(moment)) for moment in (arrival.before, arrival.now))
            say(
                f"{arrival.person.name}: {'would be' if preview else 'is'} received {now}, before {was}."
                + _stands(arrival.mark)
            )
    elif len(named) != 1 or everybody or group:
        raise Refused("Only --at works on several at once. Name one trainee; nothing was changed.")
    elif accept or set_aside:
        done = correcting.decide(opened, named[0], module, accept=accept, reason=reason, number=hand_in or None)
        say(f"{done.person.name}: the hand-in {'counts' if accept else 'is set aside'}." + _stands(done.mark))
    else:
        person, hand_ins = correcting.listed(opened, named[0], module)
        say(f"{person.name}: {len(hand_ins)} hand-in{'s' if len(hand_ins) != 1 else ''} in {module}.")
        for arrival in hand_ins:
            late = f", {arrival.late_days} day{'s' if arrival.late_days != 1 else ''} late" if arrival.late_days else ""
            mark = " <- counts" if arrival.counts else ""
            say(
                f"  {arrival.number}. attempt {arrival.attempt}, {opened.shown(clock.from_text(arrival.received_at))}{late}, receipt {arrival.receipt}: {arrival.source}{mark}"
            )
            if arrival.words:
                say(f"     {arrival.words}")


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


def _named(names: list[str], group: str, not_handed_in: bool, not_passed: bool = False) -> tuple[str, "Whom"]:
    """(module, of whom) as somebody named them."""
    from grader.errors import Refused

    *trainees, module = names
    if not (trainees or group or not_handed_in or not_passed):
        raise Refused(
            "Nobody is named. Name trainees before the module, or a --group, or who lacks what; nothing was changed."
        )
    return module, _whom(trainees, group, not_handed_in, not_passed)


def extend(
    names: Named,
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")],
    until: Annotated[str, typer.Option(help="2026-03-31 or 2026-03-31 17:00, in the term's zone.")] = "",
    group: Group = "",
    not_handed_in: NotHandedIn = False,
    earlier: Annotated[bool, typer.Option("--earlier", help="Also where an extension that stands is later.")] = False,
    withdraw: Annotated[bool, typer.Option("--withdraw", help="The extension no longer holds.")] = False,
    term: TermFolder = HERE,
) -> None:
    """Give trainees a later due time, or take that back; a penalty already taken is computed afresh."""
    from grader import clock
    from grader.course.grading import adjust
    from grader.errors import Refused
    from grader.records.term import term as terms

    if bool(until) == withdraw:
        raise Refused("Name the new time with --until, or take an extension back with --withdraw; nothing was changed.")
    opened = terms.open_term(term)
    module, whom = _named(names, group, not_handed_in)
    if withdraw:
        several = adjust.withdraw_extensions(opened, module, whom, reason=reason)
    else:
        several = adjust.extend_all(opened, module, whom, until=until, reason=reason, earlier=earlier)

    def line(extended: adjust.Extended) -> str:
        due = f"due {opened.shown(clock.from_text(extended.until))}" if extended.until else "without a due time"
        return f"{extended.person.name}: {module} {due}." + _stands(extended.mark)

    _several(several, line)


def excuse(
    names: Named,
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")],
    group: Group = "",
    not_handed_in: NotHandedIn = False,
    withdraw: Annotated[bool, typer.Option("--withdraw", help="The excuse no longer holds.")] = False,
    term: TermFolder = HERE,
) -> None:
    """Excuse trainees from a module: no mark, and it counts nowhere."""
    from grader.course.grading import adjust
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    module, whom = _named(names, group, not_handed_in)
    several = adjust.excuse_all(opened, module, whom, reason=reason, withdraw=withdraw)
    _several(several, lambda person: f"{person.name} is {'no longer ' if withdraw else ''}excused from {module}.")


def override(
    trainee: Annotated[str, typer.Argument(help="The trainee's id.")],
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    exercise: Annotated[str, typer.Argument(help="Its number, title or name, such as total.")],
    mark: Annotated[str, typer.Argument(help="Marks, such as 1.5; or 'computed' to go back.")],
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")],
    term: TermFolder = HERE,
) -> None:
    """Set the mark of one exercise by hand."""
    from grader import catalogue
    from grader.course.grading import adjust
    from grader.records.term import term as terms

    person, total = adjust.override(terms.open_term(term), trainee, module, exercise, mark, reason=reason)
    title = adjust.exercise_named(catalogue.module(module), exercise).title
    say(f"{person.name}: “{title}” is {mark.strip()}." + _stands(total))


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
    take_back: Annotated[
        bool, typer.Option("--take-back", help="Sheets that nobody has seen yet: they were returned by mistake.")
    ] = False,
    reason: Annotated[str, typer.Option(help="With --take-back: why; it stands in the ledger.")] = "",
    term: TermFolder = HERE,
) -> None:
    """Write each trainee's returned sheet: answers, verdicts, worked steps, what to practise."""
    from grader.records.term import term as terms
    from grader.reports.feedback import return_run

    opened = terms.open_term(term)
    if take_back:
        back = return_run.take_back(opened, module, (trainee,) if trainee else (), reason=reason)
        say(f"{module}: {len(back.done)} sheets taken back: {'; '.join(person.name for person in back.done)}.")
        findings([f"left out: {words}" for words in back.left_out])
        return
    done = return_run.give_back(opened, module, trainee=trainee, partly=partly, one_file=one_file)
    replaced = f" ({done.replaced} in place of an older page)" if done.replaced else ""
    say(
        f"{module}: {done.written} sheets written{replaced}, {done.unchanged} unchanged, {len(done.left_out)} left out."
    )
    say(f"Sheets: {done.folder}/<trainee>/{module}.html")
    if done.one_file:
        say(f"All in one file: {done.one_file}")
    for line in done.penalties:
        say(f"  with a penalty: {line}")
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
    names: Named,
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")],
    group: Group = "",
    not_passed: NotPassed = False,
    objective: Annotated[
        list[str] | None, typer.Option(help="Only this objective; say it again for another. Otherwise all not shown.")
    ] = None,
    due: Annotated[str, typer.Option(help="2026-03-31 or 2026-03-31 17:00, in the term's zone.")] = "",
    term: TermFolder = HERE,
) -> None:
    """Issue fresh numbers for the objectives that were not shown; the best attempt counts."""
    from grader.course.grading import resit as resits
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    module, whom = _named(names, group, False, not_passed)
    several = resits.resit_all(opened, module, whom, due=due, reason=reason, objectives=tuple(objective or ()))
    for done in several.done:
        _say_resit(opened, module, done)
    say(
        f"For the exchange run 'assign {module} --as exchange' now. Who fetched before need not fetch again: when the lesson "
        "is opened, its top offers the new attempt and keeps the old one in a folder beside it."
    )
    findings([f"left out: {words}" for words in several.left_out])


def _say_resit(opened: "Term", module: str, done: "Resit") -> None:
    from grader import clock

    until = f"due {opened.shown(clock.from_text(done.due))}" if done.due else "no due time"
    say(f"{done.person.name}: attempt {done.attempt} of {module}, {until}.")
    shown = [f"{code} ({WORDS.get(met, met)})" for code, met in done.objectives.items()]
    say(f"Objectives: {', '.join(shown)}.")
    say(f"Fresh numbers: {'; '.join(exercise.title for exercise in done.exercises)}. All other answers stay.")
    say(f"Hand-out: {opened.folder}/out/{done.person.id}/{module}.zip")
