"""desk: the instructor's and the coordinator's month by buttons."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli import page
from grader.cli.output import say


def desk(
    folder: Annotated[
        Path | None,
        typer.Argument(
            help="A term folder, or a new one to be made; otherwise this folder, or the class that was open last."
        ),
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only print the page's address.")] = False,
    port: Annotated[int | None, typer.Option(min=1024, max=65535, help="Otherwise any free one.")] = None,
    icon: Annotated[bool, typer.Option("--icon", help="Put an icon for this desk onto the desktop.")] = False,
    office: Annotated[
        bool, typer.Option("--office", help="For the coordinator: look and export; nothing of the class can change.")
    ] = False,
) -> None:
    """Open the desk in JupyterLab: the whole month of a class by buttons."""
    from grader.desk import icon as icons
    from grader.desk import start
    from grader.errors import Unknown

    place = start.folder_meant(folder)
    if office and not (place / "term.toml").is_file():
        raise Unknown(f"{place} is no term folder. Ask the instructor where the class lies, and name that folder.")
    if icon:
        say(f"Written: {icons.write(place, office=office)}. Open it to open the desk.")
        return
    ready = start.make_ready(place, office=office)
    say(f"The {'office' if office else 'desk'} of {place}")
    keep = "Keep this window open while you work. Ctrl+C closes the desk; everything is kept."
    page.show(ready.root, ready.notebook, "desk", keep, no_browser=no_browser, port=port, warm=ready.warm)
