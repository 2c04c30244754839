"""nbgrader is imported without building grammars for web addresses, and they are built when one is checked."""

import subprocess
import sys

ASK = """
import sys
from grader.records.gradebook.gradebook import nbgrader_api
assert nbgrader_api().Gradebook
assert "lark" not in sys.modules and "rfc3987_syntax" not in sys.modules
from jsonschema import FormatChecker
ask = FormatChecker(("iri",))
assert ask.conforms("https://b\\u00fccher.invalid/x", "iri") and not ask.conforms("no address", "iri")
assert "lark" in sys.modules and sys.modules["rfc3987_syntax"].__file__
"""


def test_grammars_wait_until_they_are_asked_for():
    found = subprocess.run([sys.executable, "-c", ASK], capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stderr
