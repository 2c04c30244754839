"""The house of floors: reads imports as text and names every one that goes up."""

import ast
from pathlib import Path

FLOORS = {
    "errors": 0, "ranges": 0, "units": 0, "sources": 0, "tables": 0, "paths": 0, "files": 0, "clock": 0,
    "reference": 1,
    "vehicle": 2, "science": 2,
    "bench": 3,
    "exercise": 4,
    "modules": 5, "marking": 5,
    "catalogue": 6,
    "widgets": 7, "course": 7,
    "cli": 8, "desk": 8, "hub": 8,
    "__main__": 9,
}  # fmt: skip
ROOM_HOLDS = 10
LONGEST = 350
ONLY_IN_COURSE = "nbgrader"


def faults(package):
    """Sentences about everything in a package folder that breaks a rule of the house."""
    package = Path(package)
    found = []
    for path in sorted(package.rglob("*.py")):
        inside = path.relative_to(package)
        room = inside.parts[0].removesuffix(".py")
        text = path.read_text(encoding="utf-8")
        if path.name == "__init__.py":
            if text.strip():
                found.append(f"{inside} is not empty")
            continue
        if room not in FLOORS:
            found.append(f"{inside} is in a room without a floor")
            continue
        if text.count("\n") > LONGEST:
            found.append(f"{inside} has {text.count(chr(10))} lines")
        for target in _imports(ast.parse(text)):
            fault = _judge(package.name, room, inside, target)
            if fault:
                found.append(f"{inside} {fault}")
    for folder in [package, *(p for p in package.rglob("*") if p.is_dir())]:
        files = [p for p in folder.glob("*.py") if p.name != "__init__.py"]
        if len(files) > ROOM_HOLDS:
            found.append(f"{folder.name}/ holds {len(files)} files")
    return found


def _imports(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                yield "." * node.level
            else:
                yield from (f"{node.module}.{alias.name}" for alias in node.names)


def _judge(package, room, inside, target):
    if target.startswith("."):
        return "imports by a relative path"
    parts = target.split(".")
    if parts[0] == ONLY_IN_COURSE and room != "course":
        return f"imports {ONLY_IN_COURSE} outside course/"
    if parts[0] != package or len(parts) < 2:
        return ""
    other = parts[1]
    if other not in FLOORS:
        return f"imports {target}, which has no floor"
    if other == room:
        if room == "reference" and parts[2:3] != ["angles"]:
            return f"imports its peer {target}"
        return ""
    if FLOORS[other] >= FLOORS[room] and FLOORS[room] > 0:
        return f"imports {target}, not a lower floor"
    if FLOORS[room] == 0 and FLOORS[other] > 0:
        return f"imports {target} from the cellar"
    return ""
