"""The tests' terms are made today, and their due times stand in March 2026 for good.

A date more than a few years from a term's own is refused. So that the tests hold in later years, too, the
rule reaches back to 2026 while they run, in this process and in its children; what tests the rule itself
puts the product's own number back.
"""

import importlib.machinery
import sys
from datetime import UTC, datetime

_FIRST, _MODULE = 2026, "grader.records.term.dates"


def around(own):
    """How many years around a term's own are taken: those of the product, or as many as reach back to 2026."""
    return max(own, datetime.now(UTC).year - _FIRST + 1)


class _Finder:
    """Finds the module of the rule as Python does, and changes its number once it is loaded."""

    @staticmethod
    def find_spec(name, path=None, target=None):
        if name != _MODULE:
            return None
        spec = importlib.machinery.PathFinder.find_spec(name, path, target)
        load = spec.loader.exec_module

        def exec_module(module):
            load(module)
            module.AROUND = around(module.AROUND)

        spec.loader.exec_module = exec_module
        return spec


def reach_back():
    """From now on, before the product is loaded."""
    sys.meta_path.insert(0, _Finder)
