"""hub: a class on one machine, where trainees need nothing but a browser."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import fail, findings, say


def hub(
    folder: Annotated[Path, typer.Argument(help="The term folder.")],
    check: Annotated[bool, typer.Option("--check", help="Only say what is missing, each with its remedy.")] = False,
    slips: Annotated[
        bool, typer.Option("--slips", help="Print a slip for everybody who has neither slip nor password.")
    ] = False,
    reset: Annotated[
        list[str] | None, typer.Option(help="Print a new slip for this trainee; his password is void. Repeat for more.")
    ] = None,
    ahead: Annotated[bool, typer.Option("--ahead", help="Start everybody's server before the class comes.")] = False,
    stop: Annotated[bool, typer.Option("--stop", help="End everything: the hub, all servers, the proxy.")] = False,
    port: Annotated[int | None, typer.Option(min=1, max=65535, help="Otherwise 8000, or the last one.")] = None,
    certificate: Annotated[Path | None, typer.Option(help="Certificate for https, a file.")] = None,
    key: Annotated[Path | None, typer.Option(help="Its key, a file.")] = None,
) -> None:
    """Serve a class from this machine: each trainee signs in with a browser. As root, on Linux."""
    from grader.hub import check as checking
    from grader.hub import place, run

    if not checking.is_root():
        fail(checking.NOT_ROOT)
    made = place.make(folder, port=port, certificate=str(certificate or ""), key=str(key or ""))
    if check:
        lacks = checking.missing(made, running=run.is_running(made))
        if not lacks:
            say("All is there.")
        findings([str(lack) for lack in lacks])
    elif slips or reset:
        printed = run.slips(made, reset or ())
        for person, code in printed:
            say(f"{person.name}\n  id: {person.college_id}\n  code for the first time: {code}\n")
        say("These codes are kept nowhere else. A code is used up once its owner chose a password."
            if printed else "Everybody has a slip or a password. A new slip for one: --reset and the id.")  # fmt: skip
    elif ahead:
        say(f"{run.start_ahead(made)} servers stand.")
    elif stop:
        run.stop(made)
        say("The class server is ended. Everything typed is kept.")
    else:
        run.serve(made, lambda: _opened(made))
        say("The hub is ended. Who works goes on working; start it again with the same line, or end all with --stop.")


def _opened(made) -> None:
    from grader.hub import check as checking

    say(f"The class server runs: {made.address}, and under this machine's name at port {made.ports['public']}.")
    if not made.certificate:
        say("This is plain http: use it on a network of your own only, or name --certificate and --key.")
    for lack in checking.unwise(made):
        say(f"  ! {lack}")
    say("Keep this window open. Ctrl+C ends the hub; everything is kept.")
