"""Importing nbgrader without waiting for grammars that nobody here asks for.

nbgrader's imports end in jsonschema, which can check web addresses in all scripts; the
grammars for that are built when their package is imported, and that takes longer than all
the rest. Here they are built when an address is really checked.
"""

import importlib
import importlib.util
import sys
from types import ModuleType

_GRAMMARS = "rfc3987_syntax"


def nbgrader_api():
    """The module nbgrader.api."""
    if "nbgrader" not in sys.modules:
        _import_jsonschema()
    return importlib.import_module("nbgrader.api")


def _import_jsonschema():
    """With a stand-in for the grammars, which is gone afterwards: whoever else imports them gets the real ones."""
    if "jsonschema" in sys.modules or _GRAMMARS in sys.modules or importlib.util.find_spec(_GRAMMARS) is None:
        return
    stand_in = ModuleType(_GRAMMARS)
    stand_in.is_valid_syntax = lambda *args: importlib.import_module(_GRAMMARS).is_valid_syntax(*args)
    sys.modules[_GRAMMARS] = stand_in
    try:
        importlib.import_module("jsonschema")
    finally:
        del sys.modules[_GRAMMARS]
