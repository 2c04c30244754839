"""What the hub starts for a trainee, under his own account: his folder is made ready, then his server runs."""

import os
from pathlib import Path

from grader.errors import TimingMarkError
from grader.widgets import study


def work_folder() -> Path:
    """Where everybody's work lies in a home; as `study` has it."""
    return study.default_folder()


def main() -> None:
    """Make the trainee's folder ready and serve it.

    A full home must not keep him from his answers: what is there already is served as it is.
    """
    trainee = os.environ["JUPYTERHUB_USER"]
    try:
        root = study.make_start_ready(folder=work_folder(), name=trainee).root
    except TimingMarkError as problem:
        print(problem, flush=True)
        root = study.root_of(trainee, folder=work_folder())
        if not root.is_dir():
            root = Path.home()
    os.environ["JUPYTERHUB_ROOT_DIR"] = str(root)
    os.chdir(root)
    from jupyterhub.singleuser import main as serve

    serve()


if __name__ == "__main__":
    main()
