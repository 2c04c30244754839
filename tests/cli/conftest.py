"""A command as somebody types it."""

import sys

import pytest

from grader.cli.main import run


@pytest.fixture
def call(monkeypatch, capsys):
    """Run a command in this process; gives (exit code, standard output, standard error)."""

    def called(*words):
        monkeypatch.setattr(sys, "argv", ["grader", *map(str, words)])
        with pytest.raises(SystemExit) as left:
            run()
        said = capsys.readouterr()
        return left.value.code or 0, said.out, said.err

    return called
