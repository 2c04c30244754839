"""Writing a vehicle file: every figure with its unit and a word of help beside it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from grader import files
from grader.course.vehicles.fields import COUNT, CURVE, FIELDS, Answers
from grader.course.vehicles.read import FORMAT, LARGEST_FILE, SCHEMA
from grader.vehicle.own import OwnVehicle
from grader.vehicle.spec import Vehicle

SAFETY = (
    "The vehicle's own service manual decides, always. Whoever types figures in here answers for them: a wrong figure "
    "teaches the whole class a wrong setting. Let a second person compare every figure with the manual."
)

# An invented engine, so that every line shows how its figure is written. The source is left open on purpose.
EXAMPLE = {
    ("", "title"): "Example 1.8 four",
    ("", "use"): "car",
    ("source", "manual"): "",
    ("source", "page"): "",
    ("source", "entered_by"): "",
    ("engine", "cylinders"): "4",
    ("engine", "layout"): "inline",
    ("engine", "firing_order"): "1-3-4-2",
    ("engine", "rotor"): "anticlockwise",
    ("engine", "battery"): "12 V",
    ("engine", "earth"): "negative",
    ("engine", "pulley"): "140 mm",
    ("points", "gap"): "0.45 mm",
    ("points", "dwell"): "52 ° dist",
    ("points", "open"): "38 ° dist",
    ("timing", "initial"): "7 BTDC",
    ("timing", "at_speed"): "800 rev/min",
    ("timing", "vacuum_line"): "off and plugged",
    ("advance", "port"): "ported",
    ("advance", "centrifugal"): [
        ("475 dist rev/min", "0 ° dist"), ("800 dist rev/min", "3.5 ° dist"), ("1300 dist rev/min", "8 ° dist"),
        ("2100 dist rev/min", "11 ° dist"),
    ],
    ("advance", "vacuum"): [("5 inHg vac", "0 ° dist"), ("13 inHg vac", "9 ° dist")],
}  # fmt: skip


def write(answers: Answers) -> str:
    """The text of a vehicle file.

    Parameters
    ----------
    answers : dict
        (table, name) -> what a person would type; a list of pairs for a curve.
        What is missing is left empty for him.

    Returns
    -------
    str
    """
    rows = [f"# {line}" for line in _folded(SAFETY)]
    rows += [
        "# Text after # is explanation. Text, and figures with their units, stand in quotes.",
        f'format = "{FORMAT}"',
        f"schema = {SCHEMA}",
    ]
    table = ""
    for asked in FIELDS:
        if asked.table != table:
            table = asked.table
            rows += ["", f"[{table}]"]
        answer = answers.get((asked.table, asked.name))
        if answer is None and asked.optional:
            rows.append(f'# {asked.name} = ""  # {asked.help}')
        elif asked.kind == CURVE:
            rows += [f"# {asked.says}: {asked.help}.", f"{asked.name} = ["]
            rows += [f"  [{_quoted(first)}, {_quoted(second)}]," for first, second in answer or ()]
            rows.append("]")
        elif asked.kind == COUNT and answer:
            rows.append(f"{asked.name} = {answer}  # {asked.help}")
        else:
            rows.append(f"{asked.name} = {_quoted(answer or '')}  # {asked.help}")
    return "\n".join(rows) + "\n"


def answers_of(own: OwnVehicle | None = None, vehicle: Vehicle | None = None) -> dict[tuple[str, str], Any]:
    """What a person would type for a vehicle; of a teaching vehicle without a source."""
    spec: Any = own.vehicle if own else vehicle
    side = "BTDC" if spec.initial_deg >= 0 else "ATDC"
    return {
        ("", "title"): spec.title,
        ("", "use"): spec.use,
        ("source", "manual"): own.manual if own else "",
        ("source", "page"): own.page if own else "",
        ("source", "entered_by"): own.entered_by if own else "",
        ("engine", "cylinders"): str(spec.cylinders),
        ("engine", "layout"): spec.layout,
        ("engine", "firing_order"): "-".join(map(str, spec.firing_order)),
        ("engine", "rotor"): spec.rotor,
        ("engine", "battery"): f"{spec.battery_v:g} V",
        ("engine", "earth"): spec.earth,
        ("engine", "pulley"): f"{spec.pulley_mm:g} mm",
        ("points", "gap"): f"{spec.gap_in:.6g} in",
        ("points", "dwell"): f"{spec.dwell_deg:g} ° dist",
        ("timing", "initial"): f"{abs(spec.initial_deg):g} {side}",
        ("timing", "at_speed"): f"{spec.idle_rpm} rev/min",
        ("timing", "vacuum_line"): own.line if own else "off and plugged",
        ("advance", "port"): spec.port,
        ("advance", "centrifugal"): [(f"{rpm:g} dist rev/min", f"{deg:g} ° dist") for rpm, deg in spec.centrifugal],
        ("advance", "vacuum"): [(f"{vac:g} inHg vac", f"{deg:g} ° dist") for vac, deg in spec.vacuum],
    }


def answers_in(path: Path) -> dict[tuple[str, str], Any]:
    """What stands in a vehicle file, word for word, as answers to the questions.

    Raises
    ------
    BadFile
        No TOML.
    """
    content = files.read_bytes(path, most=LARGEST_FILE, what="The vehicle file")
    settings = files.from_toml(
        content, what=path.name, advice="'vehicle check' names every such line; mend them first. Nothing was changed."
    )
    answers = {}
    for asked in FIELDS:
        table = settings.get(asked.table, {}) if asked.table else settings
        answer = table.get(asked.name) if isinstance(table, dict) else None
        if asked.kind == CURVE and isinstance(answer, list):
            answer = [tuple(pair) for pair in answer if isinstance(pair, list) and len(pair) == 2]
        if answer:
            answers[asked.table, asked.name] = answer if asked.kind == CURVE else str(answer)
    return answers


def _quoted(text):
    return json.dumps(" ".join(str(text).split()), ensure_ascii=False)


def _folded(text, width=110):
    rows = [""]
    for word in text.split():
        if rows[-1] and len(rows[-1]) + len(word) >= width:
            rows.append("")
        rows[-1] = f"{rows[-1]} {word}".strip()
    return rows
