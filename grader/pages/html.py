"""Pages that print well and need no network: a few words of HTML, everything escaped."""

import base64
import io
import re
from html import escape

import matplotlib

_DAY = re.compile(r"\d{4}-\d\d-\d\d")
SHORT = 12  # rows of a table that is kept on one sheet of paper; a longer one begins under its heading

_STYLE = """
body { font: 11pt/1.4 sans-serif; color: #111; background: #fff; max-width: 60em; margin: 1em auto; padding: 0 1em }
table { border-collapse: collapse; margin: .6em 0 1.4em; width: 100% }
caption { text-align: left; font-weight: bold; padding: .3em 0 }
th, td { border: 1px solid #767676; padding: .2em .5em; text-align: left; vertical-align: top }
thead th { background: #eee }
td.number { text-align: right; font-variant-numeric: tabular-nums }
figure { margin: .6em 0 } img { max-width: 100%; height: auto }
td.whole { white-space: nowrap }
@media (max-width: 40em) { body { padding: 0 .4em } th, td { overflow-wrap: break-word; padding: .2em } }
.note { border-left: .3em solid #111; padding-left: .8em }
.scroll { overflow-x: auto }
@page { margin: 16mm }
@media (max-width: 480px) { body { margin: .5em auto; padding: 0 .6em } table { display: block; overflow-x: auto } }
@media print {
  body { max-width: none; margin: 0 } h1, h2, h3, caption { break-after: avoid } thead { display: table-header-group }
  tr, figure, .keep, table.short { break-inside: avoid } h2 + p { break-after: avoid }
}
"""


def page(title, *parts, look=""):
    """A whole page.

    Parameters
    ----------
    title : str
    parts : str
        HTML, already escaped where it holds text of people.
    look : str
        Further rules of style.

    Returns
    -------
    bytes
    """
    body = "\n".join(part for part in parts if part)
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n<title>{escape(title)}</title>\n'
        f"<style>{_STYLE}{look}</style>\n</head>\n<body>\n<main>\n<h1>{escape(title)}</h1>\n{body}\n</main>\n</body>\n</html>\n"
    ).encode("utf-8", "replace")


def heading(text, level=2):
    return f"<h{level}>{escape(text)}</h{level}>"


def paragraph(text, kind=""):
    return f'<p class="{kind}">{escape(text)}</p>' if kind else f"<p>{escape(text)}</p>"


def table(caption, headings, rows, *, empty="None recorded.", kind=""):
    """A table with caption; the first cell of each row heads it. Without rows, caption and a sentence.

    Cells that read as numbers stand to the right, except in a list of facts (two
    columns), where they would stand far from their names. `kind` is a class for style.
    """
    rows = list(rows)
    if not rows:
        return f"<p><strong>{escape(caption)}.</strong> {escape(empty)}</p>"
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in headings)
    body = []
    for first, *rest in rows:
        cells = "".join(_cell(cell, alone=len(rest) == 1) for cell in rest)
        body.append(f'<tr><th scope="row">{escape(str(first))}</th>{cells}</tr>')
    looks = " ".join(filter(None, (kind, "short" if len(rows) <= SHORT else "")))
    return (
        f"<table{f' class={chr(34)}{looks}{chr(34)}' if looks else ''}>\n<caption>{escape(caption)}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n"
        + "\n".join(body)
        + "\n</tbody>\n</table>"
    )


def picture(data, caption, says):
    """A figure from a data address; `says` tells in words what it shows."""
    return f'<figure><img src="{data}" alt="{escape(says)}"><figcaption>{escape(caption)}</figcaption></figure>'


def _is_number(cell):
    text = str(cell).rstrip(" %")
    return bool(text) and text.replace(".", "", 1).replace("-", "", 1).isdigit()


def _cell(cell, *, alone):
    kind = ""
    if _DAY.fullmatch(str(cell)):
        kind = ' class="whole"'
    elif _is_number(cell) and not alone:
        kind = ' class="number"'
    return f"<td{kind}>{escape(str(cell))}</td>"


def address(figure):
    """Data address of a figure as SVG, the same for the same figure."""
    content = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "timing-mark"}):
        figure.savefig(content, format="svg", metadata={"Date": None})
    return "data:image/svg+xml;base64," + base64.b64encode(content.getvalue()).decode()
