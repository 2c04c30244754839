"""Finds the modules: every file mNN_name.py in grader/modules."""

import re
from collections.abc import Mapping
from functools import cache
from importlib import import_module
from pathlib import Path
from types import MappingProxyType

from grader import modules as _modules
from grader import tables
from grader.errors import BadTable, Unknown
from grader.exercise.model import Module

OBJECTIVE_COLUMNS = ("code", "uuid", "module", "text", "unit_standards")


@cache
def _names() -> tuple[str, ...]:
    return tuple(sorted(path.stem for path in Path(_modules.__path__[0]).glob("m[0-9][0-9]_*.py")))


def keys() -> tuple[str, ...]:
    """Keys of the modules, in order; imports none of them."""
    return _names()


@cache
def _load(name: str) -> Module:
    return import_module(f"grader.modules.{name}").MODULE


@cache
def all_modules() -> Mapping[str, Module]:
    """Every module by key, in order."""
    return MappingProxyType({name: _load(name) for name in _names()})


def module(key: str) -> Module:
    """One module.

    Raises
    ------
    Unknown
        No module of that key; says which there are.
    """
    known = _names()
    if key in known:
        return _load(key)  # it alone: a lesson must not wait for what the others import
    near = [name for name in known if re.split("_", name)[0] == key or key in name]
    hint = f" Did you mean {near[0]}?" if len(near) == 1 else ""
    raise Unknown(f"There is no module {key!r}; there are {', '.join(known)}.{hint}")


@cache
def objectives() -> Mapping[str, Mapping[str, str]]:
    """Learning objectives by code: dictionaries with uuid, module, text and unit_standards.

    Raises
    ------
    BadTable
        A code twice, or a part that names a code which is not there.
    """
    by_code = {}
    for row in tables.rows("objectives.csv", OBJECTIVE_COLUMNS):
        if row["code"] in by_code:
            raise BadTable(f"datasets/objectives.csv has {row['code']} twice. Give each objective its own code.")
        by_code[row["code"]] = row
    for unit in all_modules().values():
        for _, part, path in unit.parts():
            for code in part.objectives:
                if code not in by_code:
                    raise BadTable(f"{path} gives evidence for {code}, which datasets/objectives.csv does not list.")
    return MappingProxyType(by_code)
