"""JupyterLab as a lesson needs it; read by JupyterLab itself, which puts `c` here.

What concerns the server under it stands in jupyter_server_config.json: settings of
the server that stand here come too late to switch its extensions off.
"""

from pathlib import Path

c = get_config()  # noqa: F821 # pyright: ignore[reportUndefinedVariable] (given by JupyterLab)

# A list in quotes on the command line would be taken for one folder name, silently.
c.LabApp.extra_labextensions_path = [str(Path(__file__).resolve().parent.parent / "labextensions")]
c.LabApp.news_url = None
