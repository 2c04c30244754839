"""What the commands say, told to somebody who has buttons: a command becomes the screen that does it, an option its field."""

from __future__ import annotations

import re

from grader import catalogue

# Verb of a command -> (what to do, on which screen); and as a thing, where a sentence speaks of it.
_SCREENS = {
    "assign": ("hand it out", "Hand out"),
    "collect": ("take the hand-ins", "Inbox"),
    "received": ("decide about it", "Inbox"),
    "mark": ("mark it", "Marks"),
    "extend": ("give an extension", "Marks"),
    "excuse": ("excuse", "Marks"),
    "override": ("set a mark by hand", "Marks"),
    "resit": ("issue a resit", "Marks"),
    "read": ("read the written answers", "Read"),
    "return": ("give it back", "Return"),
    "report": ("look at the class report", "Next lesson"),
    "roster": ("look at the class list", "Class"),
    "witness": ("look at the witnessed tasks", "Workshop"),
    "export": ("make the table", "Office"),
    "term": ("look there", "Today"),
    "term new": ("make one", "A new class"),
    "term policy": ("say why", "Office"),
    "term verify": ("check the records", "Today"),
    "term upgrade": ("bring the class up to this version", "Today"),
    "term delete-class": ("delete the class", "Office"),
    "vehicle": ("follow the guide", "A vehicle of your own"),
    "copies": ("compare the answers", "Next lesson"),
    "paper": ("make the sheets to print", "Hand out"),
    "transcribe": ("type the answers in", "Inbox"),
    "study": ("open the lesson", "Hand out"),
}
_FIELDS = {
    "--reason": "a reason",
    "--accept": "“Let it count”",
    "--set-aside": "“Set it aside”",
    "--earlier": "a tick at “Also an earlier time”",
    "--partly": "a tick at “Also where written answers wait”",
    "--yes": "a tick at “Take them as late”",
    "--received-at": "the field “They came in”",
    "--due": "the due time",
    "--change-due": "“Move the due time”",
    "--practice": "“Practice”",
    "--group": "a group",
    "--trainee": "a person",
    "--hand-in": "its number",
    "--objective": "“Objectives”",
    "--vehicle": "the vehicle",
    "--term": "the class",
    "--everybody": "everybody",
    "--exchange-root": "the folder of the exchange",
    "--from": "the filled-in table",
    "--as": "the way",
}
_COMMAND = r"['\"“](?:timing-mark )?(?:(?:{}))\b[^'\"”]*['\"”]".format(
    "|".join(verb for verb in _SCREENS if " " not in verb)
)
_RUN = re.compile(
    rf"\b([Rr]un|[Uu]se) ({_COMMAND}(?: and {_COMMAND})*)( again)?(?: with (--[a-z-]+(?: or --[a-z-]+)?))?"
)
_NAMED = re.compile(_COMMAND)
_FLAG = re.compile(r"(?:\b(?:a|the|with) )?(--[a-z][a-z-]*)(?: [A-Z]{3,})?")
_MODULE = re.compile(r"(?<![\w/.-])m\d\d_[a-z][a-z_]*(?![\w/-]|\.\w)")  # and not the name of a file
_VERB = re.compile(r"['\"“](?:timing-mark )?([a-z]+)((?: [a-z-]+)?)")


def plain(text: str) -> str:
    """A sentence of the commands without commands and options; a module is called by its title.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """
    told = _RUN.sub(_run, text)
    told = _NAMED.sub(lambda found: f"“{_SCREENS[_verb(found[0])][1]}”", told)
    return _MODULE.sub(_title, _FLAG.sub(_field, told))


def plain_page(page: bytes) -> bytes:
    """A page of ours that speaks of commands, told by screens; nothing but its sentences changes.

    Parameters
    ----------
    page : bytes
        HTML as our templates write it: an apostrophe stands there as `&#39;`.

    Returns
    -------
    bytes
    """

    def told(found: re.Match) -> str:
        sentence = found[1].replace("&#39;", "'")
        return f">{plain(sentence)}<" if _NAMED.search(sentence) else found[0]

    return re.sub(r">([^<]*&#39;[^<]*)<", told, page.decode("utf-8")).encode("utf-8")


def _title(found: re.Match) -> str:
    known = catalogue.all_modules().get(found[0])
    return known.title if known else found[0]


def _field(found: re.Match) -> str:
    words = _FIELDS.get(found[1], "the field for it")
    return f"with {words}" if found[0].startswith("with ") else words


def _verb(command: str) -> str:
    found = _VERB.match(command)
    assert found is not None
    return found[1] + found[2] if found[1] + found[2] in _SCREENS else found[1]


def _run(found: re.Match) -> str:
    steps = []
    for command in _NAMED.findall(found[2]):
        what, where = _SCREENS[_verb(command)]
        steps.append(f"{what} ({'screen ' if _verb(command) != 'vehicle' else ''}“{where}”)")
    words = " and ".join(steps) + (found[3] or "")
    if found[4]:
        words += f" with {found[4]}"
    return words[0].upper() + words[1:] if found[1][0].isupper() else words
