"""A page of ours in the user's browser, served until its window is closed; for study and for the desk."""

import webbrowser
from pathlib import Path

from grader.cli.output import say


def show(
    root: Path, notebook: Path, what: str, keep: str, *, no_browser: bool, port: int | None, warm: str = ""
) -> None:
    """Open a notebook as a page and serve it until somebody ends it; a server that runs for this folder already is used.

    Parameters
    ----------
    root, notebook : Path
        The folder that is served, and the page in it.
    what : str
        How people call the page.
    keep : str
        What is said once it is open.
    no_browser : bool
        Only print its address.
    port : int or None
        None: any free one.
    warm : str
        A line of Python that loads what the page needs; its kernel starts with it, before the page asks.

    Raises
    ------
    Refused, NotStarted
        The port is taken; the server ended before it answered.
    """
    from grader.widgets.lab import server

    address = server.running(root)
    process = None
    if address is None:
        address = server.choose_address(root, port)
        process = server.start(root, address, warm=warm)
        if warm:
            server.begin_kernel(address, root, notebook)
    page = address.lesson_url(root, notebook)
    if no_browser or not webbrowser.open(server.write_door(root, page).as_uri()):
        say(f"Open this address: {page}")
    else:
        say(f"The {what} opens in your browser.")
    process = process or server.left_behind(root)
    if process is None:
        say("It runs already, in another window; that window must stay open.")
        return
    server.serve_until_stopped(root, process, opened=lambda: say(keep))
