"""The commands: timing-mark VERB TARGET. No logic here; each calls one function of a lower floor."""

import sys

import typer

from grader.cli import desk, export, guide, hub, paper, project, read, study, term, vehicle, witness, work
from grader.cli.output import fail, program
from grader.errors import TimingMarkError

INTERRUPTED = 130
STOPPED = "\nStopped. What was written so far is whole; run the command again to go on."

app = typer.Typer(
    name="timing-mark",
    help="Timing Mark: training workbook and marking for breaker-point ignition.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command("guide")(guide.guide)
app.command("demo")(project.demo)
app.command("study")(study.study)
app.command("desk")(desk.desk)
app.command("hub")(hub.hub)
app.add_typer(term.app, name="term")
app.add_typer(term.roster_app, name="roster")
app.command("assign")(work.assign_module)
app.command("collect")(work.collect_hand_ins)
app.command("received")(work.received)
app.command("mark")(work.mark_module)
app.command("read")(read.read)
app.command("extend")(work.extend)
app.command("excuse")(work.excuse)
app.command("resit")(work.resit)
app.command("override")(work.override)
app.add_typer(vehicle.app, name="vehicle")
app.command("witness")(witness.witness)
app.command("copies")(read.copies)
app.command("paper")(paper.paper)
app.command("transcribe")(paper.transcribe)
app.command("return")(work.return_module)
app.command("report")(work.report)
app.add_typer(export.app, name="export")
app.command("release")(project.release)
app.command("check")(project.check)


def run() -> None:
    """Entry point. Exit codes: 0 done, 1 findings, 2 misuse or nothing done, 130 stopped by Ctrl-C."""
    try:
        app(prog_name=program())
    except TimingMarkError as problem:
        fail(problem)
    except OSError as problem:  # what no lower floor foresaw; the machine's word, and never the lines of the program
        fail(
            f"{problem.filename or 'The machine'}: {problem.strerror or problem}. What was written so far is whole; mend "
            "that and run the command again."
        )
    except KeyboardInterrupt:
        print(STOPPED, file=sys.stderr)
        sys.exit(INTERRUPTED)
    except SystemExit as left:  # typer makes one of a Ctrl-C inside a command, and says nothing
        if left.code == INTERRUPTED:
            print(STOPPED, file=sys.stderr)
        raise
