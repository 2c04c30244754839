"""study: a lesson on a trainee's screen."""

import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import say


def study(
    module: Annotated[
        str, typer.Argument(help="Such as m01_timing, or the zip or folder from your instructor.")
    ] = "m01_timing",
    folder: Annotated[Path | None, typer.Option(help="Where work is kept; otherwise timing-mark-work at home.")] = None,
    name: Annotated[str, typer.Option(help="Whose work it is, on a machine that several people use.")] = "",
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only print the page's address.")] = False,
    port: Annotated[int | None, typer.Option(min=1024, max=65535, help="Otherwise any free one.")] = None,
) -> None:
    """Open a lesson in JupyterLab; answers are saved as you type."""
    from grader.widgets import study as studying
    from grader.widgets.lab import server

    ready = studying.make_ready(module, folder=folder, name=name)
    say(
        f"{ready.module} ({ready.mode}){'' if ready.fresh else ', going on where you stopped'}: {ready.notebook.parent}"
    )
    address = server.running(ready.root)
    process = None
    if address is None:
        address = server.choose_address(ready.root, port)
        process = server.start(ready.root, address)
    page = address.lesson_url(ready.root, ready.notebook)
    if no_browser or not webbrowser.open(server.write_door(ready.root, page).as_uri()):
        say(f"Open this address: {page}")
    else:
        say("The lesson opens in your browser.")
    process = process or server.left_behind(ready.root)
    if process is None:
        say("It runs already, in another window; that window must stay open.")
        return
    say("Keep this window open while you work. Ctrl+C ends the lesson; your answers stay.")
    server.serve_until_stopped(ready.root, process)
