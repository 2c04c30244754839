"""What the tests need beside Python. Without CI=true a missing one skips by name; with it, it is a failure."""

import os
import shutil

import pytest

from grader import paths


def missing(what):
    """Skip by name on a desk, fail where everything must run."""
    words = f"missing: {what}"
    if os.environ.get("CI") == "true":
        pytest.fail(words, pytrace=False)
    pytest.skip(words)


def need(there, what):
    """Go on where something is there; `what` names it and says how to get it."""
    if not there:
        missing(what)
    return there


def node_package(name, file=""):
    """Path of a package, or of a file in it, that npm put into .ci/ of this checkout."""
    path = paths.checkout() / ".ci" / "node_modules" / name / file
    need(path.exists(), f"{name} ('npm ci --prefix .ci' in this checkout)")
    return path


def chromium():
    """Path of the browser."""
    path = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    return need(path, "Chromium")
