"""JupyterLab as a lesson needs it; read by JupyterLab itself, which puts `c` here."""

from pathlib import Path

c = get_config()  # noqa: F821 (given by JupyterLab)

# A list in quotes on the command line would be taken for one folder name, silently.
c.LabApp.extra_labextensions_path = [str(Path(__file__).resolve().parent.parent / "labextensions")]
c.LabApp.news_url = None
c.ServerApp.jpserver_extensions = {
    "jupyterlab": True,
    "jupyter_lsp": False,
    "jupyter_server_terminals": False,
    "nbgrader": False,
    "notebook": False,
    "notebook_shim": False,
}
c.ServerApp.terminals_enabled = False
c.ServerApp.log_level = "WARNING"
