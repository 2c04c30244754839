"""Working a desk as its page does: finding buttons by their words, fields by their labels."""

from html import unescape

import ipywidgets

from grader.desk import parts


def every(widget):
    """A widget and all that stands in it, as the page shows them."""
    yield widget
    for child in getattr(widget, "children", ()):
        yield from every(child)


def texts(desk):
    """All sentences on the page, as a reader sees them."""
    import re

    found = [w.value for w in every(desk.box) if isinstance(w, ipywidgets.HTML)]
    return unescape(re.sub(r"<[^>]+>", " ", "\n".join(found)))


def buttons(desk, label):
    return [w for w in every(desk.box) if isinstance(w, ipywidgets.Button) and w.description == label]


def press(desk, label, number=0):
    """Press a button; a change that it starts is looked at, and nothing is done yet."""
    found = buttons(desk, label)
    assert found, (
        f"no button {label!r}; there are {[w.description for w in every(desk.box) if isinstance(w, ipywidgets.Button)]}"
    )
    found[number].click()
    assert "fault of Timing Mark" not in texts(desk), texts(desk)


def field(desk, label):
    """The field under a label."""
    for box in every(desk.box):
        if (
            isinstance(box, ipywidgets.VBox)
            and len(box.children) == 2
            and label in getattr(box.children[0], "value", "")
        ):
            return box.children[1]
    raise AssertionError(f"no field {label!r}")


def table(desk, name):
    return next(w for w in every(desk.box) if isinstance(w, parts.Table) and w.name.startswith(name))


def cells(desk, name):
    """Texts of a table, row by row."""
    return [[cell["text"] for cell in row["cells"]] for row in table(desk, name).rows]


def saved(desk, label):
    """What a button that saves a file would save."""
    return next(w for w in every(desk.box) if isinstance(w, parts.Save) and w.label.startswith(label)).make()


def do_it(desk, reason="", agree=False):
    """Agree and say why where that is asked, and do it."""
    change = desk.screen.change
    assert change is not None and change.foreseen is not None, texts(desk)
    assert not change.foreseen.nothing, texts(desk)
    change.reason.value = reason
    change.agree.value = agree
    press(desk, "Do it")
    return change


def undo(desk, reason):
    """Take back what was just done; undoing is a change like any other, and asks why."""
    press(desk, "Undo")
    other = desk.screen.change.done.undo
    other.reason.value = reason
    press(desk, "Do it")
    assert other.done is not None, texts(desk)
