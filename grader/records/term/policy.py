"""A class's policy: pass marks of modules, thresholds of objectives, what must be met, and how modules add up.

It stands in `policy.toml` of the term folder. Without that file the pass mark of
term.toml holds for every module, an objective is met from 70 per cent, none must be
met, and modules count by their marks.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any

from grader import catalogue, files
from grader.errors import BadFile

NAME, FORMAT, SCHEMA, LARGEST_FILE = "policy.toml", "timing-mark policy", 1, 100_000
POINTS, EQUAL, GIVEN = "points", "equal", "given"
THRESHOLD = 70  # whole per cent of the marks of an objective's items

EXAMPLE = """\
# What it takes to pass, and how modules add up. Text after # is explanation; take
# the # in front of a line away to use it. As it stands, nothing differs from the start.
format = "timing-mark policy"
schema = 1

[totals]
weights = "points"          # "points": a module counts by its marks; "equal": all alike; "given": by its weight

# [modules.m01_timing]
# pass_percent = 60         # otherwise that of term.toml
# weight = 40               # only with weights = "given"; all weights add to 100, a module without one counts 0

[objectives]
threshold = 70              # whole per cent of its marks from which an objective is met

# [objectives.T8]
# threshold = 80
# must_pass = true          # the module is passed only if this is met as well
"""


@dataclass(frozen=True, slots=True)
class Policy:
    """What policy.toml says; modules and objectives that it does not name follow the rest."""

    totals: str = POINTS
    weights: Mapping[str, int | Decimal] = field(default_factory=dict, hash=False)  # module -> per cent
    pass_percents: Mapping[str, int | Decimal] = field(default_factory=dict, hash=False)  # module -> per cent
    threshold: int = THRESHOLD
    thresholds: Mapping[str, int] = field(default_factory=dict, hash=False)  # objective -> whole per cent
    must_pass: frozenset[str] = frozenset()

    def threshold_of(self, code: str) -> int:
        """Whole per cent from which an objective is met."""
        return self.thresholds.get(code, self.threshold)

    def must_pass_in(self, module_key: str) -> tuple[str, ...]:
        """Codes of the objectives of a module that must be met, in order."""
        known = catalogue.objectives() if self.must_pass else {}
        return tuple(code for code in known if code in self.must_pass and known[code]["module"] == module_key)


DEFAULT = Policy()


def of_folder(folder: Path) -> Policy:
    """The policy of a term folder; where it has none, `DEFAULT`.

    Raises
    ------
    BadFile
        As `read`.
    """
    path = folder / NAME
    return read(path) if path.exists() else DEFAULT


def read(path: Path) -> Policy:
    """A policy from its file.

    Raises
    ------
    BadFile
        Says what is wrong, what is allowed and where.
    """
    return parse(files.read_bytes(path, most=LARGEST_FILE, what="The policy"), path)


def parse(content: bytes, path: str | Path) -> Policy:
    """A policy from the bytes of a file; `path` is for what is said of it."""
    settings = files.from_toml(content, what=str(path), parse_float=Decimal)
    if settings.get("format") != FORMAT or settings.get("schema") != SCHEMA:
        raise BadFile(
            f'{path} must say format = "{FORMAT}" and schema = {SCHEMA}. "term policy --example" writes one to begin with.'
        )
    look = _Look(path)
    look.known(settings, ("format", "schema", "totals", "modules", "objectives"), "")
    totals = look.table(settings, "totals")
    look.known(totals, ("weights",), "totals")
    kind = totals.get("weights", POINTS)
    if kind not in (POINTS, EQUAL, GIVEN):
        raise look.bad("[totals] weights", kind, f'"{POINTS}", "{EQUAL}" or "{GIVEN}"')
    marks, weights = _modules(look, look.table(settings, "modules"))
    if weights and kind != GIVEN:
        raise BadFile(
            f'{path} gives weights, but [totals] weights is "{kind}". Write "{GIVEN}" there, or take the weights out.'
        )
    if kind == GIVEN and sum(weights.values()) != 100:
        summed = " + ".join(f"{key} {weight}" for key, weight in weights.items()) or "no module has one"
        raise BadFile(
            f"{path}: the weights add to {sum(weights.values())} ({summed}); they must add to 100. Mend them and try again."
        )
    return Policy(kind, weights, marks, *_objectives(look, look.table(settings, "objectives")))


def written(before: Policy, pass_percents: Mapping[str, str], threshold: str, must_pass: Iterable[str]) -> str:
    """The text of a policy file that changes what a form asks for and keeps the rest of another policy.

    Parameters
    ----------
    before : Policy
        Whose totals, weights and thresholds of single objectives stay, and pass marks of modules not asked for.
    pass_percents : dict of str to str
        Module -> per cent as typed; empty: the class's own pass mark.
    threshold : str
        Whole per cent as typed from which an objective is met.
    must_pass : iterable of str
        Codes of the objectives that must be met.

    Returns
    -------
    str
        To be read by `parse`, which refuses what cannot be.

    Raises
    ------
    BadFile
        Something typed is no number.
    """
    marks = {key: str(share) for key, share in before.pass_percents.items() if key not in pass_percents}
    marks |= {key: text for key, text in pass_percents.items() if text}
    for text in (threshold, *marks.values()):
        if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,6})?", text):
            raise BadFile(f"“{text[:40]}” is no share. Write a number from 0 to 100, such as 60; nothing was changed.")
    must, rows = set(must_pass), [f'format = "{FORMAT}"', f"schema = {SCHEMA}", "", "[totals]"]
    rows.append(f'weights = "{before.totals}"')
    for key in catalogue.all_modules():
        mine = [("pass_percent", marks.get(key)), ("weight", before.weights.get(key))]
        lines = [f"{name} = {value}" for name, value in mine if value is not None]
        rows += ["", f"[modules.{key}]", *lines] if lines else []
    rows += ["", "[objectives]", f"threshold = {threshold}"]
    for code in catalogue.objectives():
        lines = [f"threshold = {before.thresholds[code]}"] if code in before.thresholds else []
        lines += ["must_pass = true"] if code in must else []
        rows += ["", f"[objectives.{code}]", *lines] if lines else []
    return "\n".join(rows) + "\n"


def _modules(look: _Look, tables: Mapping[str, Any]) -> tuple[Mapping[str, int | Decimal], Mapping[str, int | Decimal]]:
    """(pass marks, weights) of the modules that have their own."""
    marks, weights = {}, {}
    for key in tables:
        if key not in catalogue.all_modules():
            raise look.bad("[modules]", key, ", ".join(catalogue.all_modules()))
        entry, where = look.table(tables, key), f"modules.{key}"
        look.known(entry, ("pass_percent", "weight"), where)
        for name, place in (("pass_percent", marks), ("weight", weights)):
            if name in entry:
                value = entry[name]
                if isinstance(value, bool) or not isinstance(value, int | Decimal) or not _per_cent(value):
                    raise look.bad(f"[{where}] {name}", value, "0 to 100")
                place[key] = value
    return MappingProxyType(marks), MappingProxyType(weights)


def _objectives(look: _Look, tables: Mapping[str, Any]) -> tuple[int, Mapping[str, int], frozenset[str]]:
    """(threshold of all, thresholds of those that have their own, those that must be met)."""
    everywhere, own, must = look.threshold(tables, "objectives"), {}, set()
    for code in tables:
        if code == "threshold":
            continue
        if code not in catalogue.objectives():
            raise look.bad("[objectives]", code, f"threshold, {', '.join(catalogue.objectives())}")
        entry, where = look.table(tables, code), f"objectives.{code}"
        look.known(entry, ("threshold", "must_pass"), where)
        if "threshold" in entry:
            own[code] = look.threshold(entry, where)
        needed = entry.get("must_pass", False)
        if not isinstance(needed, bool):
            raise look.bad(f"[{where}] must_pass", needed, "true or false")
        if needed:
            must.add(code)
    return everywhere, MappingProxyType(own), frozenset(must)


def _per_cent(value):
    return Decimal(value).is_finite() and 0 <= value <= 100


@dataclass(frozen=True, slots=True)
class _Look:
    """Looks at one file and says what is wrong in it."""

    path: str | Path

    def bad(self, where: str, value: object, allowed: str) -> BadFile:
        shown = str(value) if isinstance(value, Decimal) else repr(value)
        return BadFile(f"{self.path}: {where} is {shown[:80]}; allowed is {allowed}. Mend it and try again.")

    def table(self, settings: Mapping[str, Any], name: str) -> dict[str, Any]:
        value = settings.get(name, {})
        if not isinstance(value, dict):
            raise self.bad(name, value, f"a table of its own, such as [{name}]")
        return value

    def known(self, table: Iterable[str], names: Collection[str], where: str) -> None:
        for name in table:
            if name not in names:
                raise self.bad(f"a name in [{where}]" if where else "a name", name, ", ".join(names))

    def threshold(self, table: Mapping[str, Any], where: str) -> int:
        value = table.get("threshold", THRESHOLD)
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 100:
            raise self.bad(f"[{where}] threshold", value, "a whole number from 1 to 100")
        return value
