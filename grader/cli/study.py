"""study: a lesson on a trainee's screen."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli import page
from grader.cli.output import say


def study(
    module: Annotated[
        str,
        typer.Argument(
            help="Such as m01_timing, or the zip, the folder or the returned sheet from your instructor. "
            "Otherwise the start page with all lessons."
        ),
    ] = "",
    folder: Annotated[Path | None, typer.Option(help="Where work is kept; otherwise timing-mark-work at home.")] = None,
    name: Annotated[str, typer.Option(help="Whose work it is, on a machine that several people use.")] = "",
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only print the page's address.")] = False,
    port: Annotated[int | None, typer.Option(min=1024, max=65535, help="Otherwise any free one.")] = None,
) -> None:
    """Open your start page, or one lesson, in JupyterLab; answers are saved as you type."""
    from grader.widgets import study as studying

    if not module:
        ready = studying.make_start_ready(folder=folder, name=name)
    elif module.lower().endswith(".html"):
        ready = studying.take_returned(module, folder=folder, name=name)
    else:
        ready = studying.make_ready(module, folder=folder, name=name)
    what = "start page" if ready.notebook.name == studying.START else "lesson"
    if what == "start page":
        say(f"Your start page: {ready.root}")
    else:
        going_on = "" if ready.fresh else ", going on where you stopped"
        say(f"{ready.module} ({ready.mode}){going_on}: {ready.notebook.parent}")
    keep = "Keep this window open while you work. Ctrl+C ends it; your answers stay."
    page.show(ready.root, ready.notebook, what, keep, no_browser=no_browser, port=port)
