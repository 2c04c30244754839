"""The exercise sheet on paper: a trainee's own questions, room for answers, nothing that gives one away."""

import json
import re
from html import escape
from types import SimpleNamespace

from grader import catalogue, clock, files
from grader.course.issue import option_letters, plots
from grader.errors import BadFile
from grader.exercise import issued, listing
from grader.exercise.kinds import Choices, Range, Written
from grader.exercise.model import Choice, Number
from grader.exercise.sorting import Batch, Order

_LOOK = """
body { font: 11.5pt/1.45 "DejaVu Sans", Verdana, sans-serif; color: #000; background: #fff; max-width: 44rem;
       margin: 1.5rem auto; padding: 0 1rem }
h1 { font-size: 1.5em; margin: 0 0 .2em }
h2 { font-size: 1.15em; margin: 0 0 .3em; break-after: avoid }
section { border-top: 2px solid #000; padding-top: .6em; margin-top: 1.4em }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .1em 1em; margin: .5em 0 }
dt { font-weight: bold } dd { margin: 0; overflow-wrap: anywhere }
.together, .part { break-inside: avoid }
.part { margin: .7em 0 1em }
.asked { font-weight: bold; margin: 0 0 .3em }
.how { margin: 0 0 .3em }
.write { display: flex; flex-wrap: wrap; align-items: end; gap: .4em .8em }
.blank { display: inline-block; border-bottom: 1.5px solid #000; height: 11mm; width: 48mm; max-width: 100% }
.blank.end { width: 36mm }
.blank.unit { width: 30mm }
.blank.line { display: block; width: 100%; height: 10mm }
.box { display: inline-block; flex: none; border: 1.5px solid #000; width: 5mm; height: 5mm; vertical-align: -0.6mm }
.place { display: inline-block; border: 1.5px solid #000; width: 11mm; height: 11mm; text-align: left; font-size: 8pt;
         padding: .2mm .8mm; box-sizing: border-box }
ul.options { list-style: none; padding: 0; margin: .2em 0 }
ul.options li { display: flex; gap: .6em; align-items: baseline; margin: .35em 0; break-inside: avoid }
ul.options b { flex: none; width: 1.2em }
ul.listed { list-style: none; padding-left: 1em; margin: .3em 0 }
ul.listed.short { columns: 9em; max-width: 40em }
table { border-collapse: collapse; margin: .4em 0 }
caption { text-align: left; font-weight: bold; padding-bottom: .2em }
th, td { border: 1px solid #444; padding: .25em .6em; text-align: left; vertical-align: top }
table.card { width: 100% } table.card th { width: 30% }
td.tick { text-align: center; min-width: 4.5em }
thead { display: table-header-group } tr { break-inside: avoid }
figure { margin: .6em 0; break-inside: avoid } img { width: 100%; max-width: 172mm; height: auto }
.note { border-left: 4px solid #000; padding-left: .8em }
@page { margin: 16mm 18mm 18mm }
@media print { body { margin: 0; padding: 0; max-width: none } }
"""
_CAUTION = (
    "This is work with pen and paper. Before you touch an engine, read the cautions of the lesson. The vehicle's service "
    "manual, your local rules and the person in charge of the workshop come first."
)


def write(term, person, record):
    """Write out/<trainee>/<module>.html and return where it lies.

    Parameters
    ----------
    term : Term
    person : Trainee
    record : str
        The issue as the term keeps it.

    Raises
    ------
    BadFile
        The issue cannot be read.
    CannotWrite
        A former sheet stands.
    """
    path = term.folder / "out" / person.id / f"{issued.parse(record.encode()).module}.html"
    files.write_text(path, build(term, person, record))
    return path


def build(term, person, record):
    """The sheet of one trainee as text.

    Parameters
    ----------
    term, person, record
        As `write` takes them.

    Returns
    -------
    str
    """
    issue = issued.parse(record.encode())
    module = catalogue.module(issue.module).as_issued(issue.exercises)
    asked = set(issued.to_answer(issue.exercises))
    body = [_head(term, person, issue, module), f'<p class="note">{escape(_CAUTION)}</p>', _how()]
    body += [_exercise(n, e, issue.numbers[e.key]) for n, e in enumerate(module.exercises, start=1) if e.key in asked]
    body.append(_reminder(term, module))
    foot = f'@page {{ @bottom-left {{ content: "{issue.module}, {issue.trainee}, {issue.term}"; font: 8pt sans-serif }}'
    foot += ' @bottom-right { content: counter(page) " / " counter(pages); font: 8pt sans-serif } }'
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<meta name="viewport" content="width=device-width">\n'
        f"<title>{escape(module.title)}, {escape(person.name)}</title>\n<style>{_LOOK}{foot}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(part for part in body if part)
        + "\n</main>\n</body>\n</html>\n"
    )


def _head(term, person, issue, module):
    due = term.shown(clock.from_text(issue.due)) if issue.due else "no due time"
    facts = (("Trainee", person.name), ("Id", person.college_id), ("Class", f"{term.settings.title} ({issue.term})"),
             ("Work", f"{issue.mode}, attempt {issue.attempt}, {module.marks} marks"), ("Hand in by", due))  # fmt: skip
    rows = "".join(f"<dt>{escape(word)}</dt><dd>{escape(said)}</dd>" for word, said in facts)
    return f"<h1>{escape(module.title)}</h1>\n<dl>{rows}</dl>"


def _how():
    return (
        "<p>These numbers are yours alone. You need a pen, paper for your working, a ruler and a pocket calculator. Write "
        "each number <strong>with its unit</strong>. Tick boxes with a cross. If you change your mind, strike the old answer "
        'out and write the new one beside it.</p><div class="write"><span>Date</span><span class="blank unit"></span>'
        '<span>Signed</span><span class="blank"></span></div>'
    )


def _exercise(number, exercise, parameters):
    given = SimpleNamespace(**parameters)
    marks = "1 mark" if exercise.marks == 1 else f"{exercise.marks} marks"
    plot = plots.plot(exercise, given)
    picture = ""
    if plot:
        picture = (
            f'<figure><img src="{plot.data}" alt="{escape(plot.says)}"><figcaption>{escape(plot.caption)}'
            f"{' ' + escape(plot.on_paper) if plot.on_paper else ''}</figcaption></figure>"
        )
    first, *others = (_part(part, given) for part in exercise.parts)
    return (
        f'<section>\n<div class="together"><h2>{number}. {escape(exercise.title)} ({marks})</h2>\n{picture}'
        f"{_leaning(listing.as_html(exercise.wording(given)))}\n{first}</div>\n{''.join(others)}</section>"
    )


def _part(part, given):
    return f'<div class="part"><p class="asked">{escape(part.prompt)}</p>{_room(part, given)}</div>\n'


def _room(part, given):
    """Where the answer goes."""
    options = option_letters.lettered(part, given)
    if isinstance(part, (Choice, Choices)):
        says = "Cross one box." if isinstance(part, Choice) else "Cross every box that applies."
        lines = [(f"<b>{letter}</b>", words) for letter, _, words in options]
        if isinstance(part, Choices):
            lines.append(("<b></b>", "none of these"))
        boxes = "".join(f'<li><span class="box"></span>{b}<span>{escape(w)}</span></li>' for b, w in lines)
        return f'<p class="how">{says}</p><ul class="options">{boxes}</ul>'
    if isinstance(part, Order):
        steps = "".join(f"<li><b>{letter}</b><span>{escape(words)}</span></li>" for letter, _, words in options)
        places = "".join(f'<span class="place">{n}</span>' for n in range(1, len(options) + 1))
        return (
            f'<ul class="options">{steps}</ul><p class="how">Write the letters in order, the first step in box 1. Boxes '
            f'may stay empty.</p><div class="write">{places}</div>'
        )
    if isinstance(part, Batch):
        rows = "".join(
            f'<tr><th scope="row">{escape(label)}</th>'
            + '<td class="tick"><span class="box"></span></td>' * 3
            + "</tr>"
            for label in part.items(given)
        )
        heads = "".join(f'<th scope="col">{word}</th>' for word in ("item", "keep", "reject", "undecided, test again"))
        return f"<table><caption>Cross one box in each row</caption><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
    if isinstance(part, Written):
        return '<span class="blank line"></span>' * 9
    if isinstance(part, (Number, Range)):
        return _number(part)
    return '<span class="blank line"></span>'


def _number(part):
    end = '<span class="blank end"></span>'
    between = f"<span>from</span>{end}<span>to</span>{end}"
    written = between if isinstance(part, Range) else '<span class="blank"></span>'
    units = [unit for unit in part.units if unit]
    if not units:
        return f'<div class="write">{written}</div>'
    known = " or ".join(units)
    return f'<div class="write">{written}<span>unit</span><span class="blank unit"></span><span>({escape(known)})</span></div>'


def _reminder(term, module):
    """The summary card of the lesson, where it is a plain table or list of lines."""
    path = term.folder / "release" / module.key / f"{module.key}.ipynb"
    try:
        cells = json.loads(files.read_bytes(path, most=20_000_000, what="The released lesson"))["cells"]
    except (BadFile, ValueError, KeyError):
        return ""  # the sheet is whole without it
    text = next(("".join(cell["source"]) for cell in cells if cell.get("id") == "card"), "")
    card = text.partition("\n## ")[0]  # what follows under another heading is no formula
    rows, lines = [], []
    for line in card.splitlines()[1:]:
        cells = [cell.strip() for cell in line.strip("| ").split("|")]
        if line.startswith("|") and len(cells) == 2 and any(cell.strip("-: ") for cell in cells):
            rows.append(f'<tr><th scope="row">{_words(cells[0])}</th><td>{_words(cells[1])}</td></tr>')
        elif line.startswith(">"):
            lines.append(f"<li>{_words(line.strip('> '))}</li>")
    body = (
        f'<table class="card"><tbody>{"".join(rows)}</tbody></table>'
        if rows
        else f"<ul>{''.join(lines)}</ul>"
        if lines
        else ""
    )
    return f"<section><h2>To look up: the lesson's summary card</h2>{body}</section>" if body else ""


def _words(text):
    """Text for HTML: new lines stay, **bold** and *leaning* words of a lesson are shown so."""
    return _leaning(escape(text).replace("\n", "<br>"))


def _leaning(safe):
    safe = re.sub(r"\*\*([^*]+)\*\*", r"<strong>\1</strong>", safe)
    return re.sub(r"(?<![\w*])\*([^*\s][^*]*)\*(?![\w*])", r"<em>\1</em>", safe)
