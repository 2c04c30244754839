"""Vehicle files for tests: an invented engine, spoilt where a test wants it."""

from grader.course.vehicles import store, template

SOURCE = {("source", "manual"): "Hall engine handbook", ("source", "page"): "p. 7", ("source", "entered_by"): "Q. Z."}


def text_of(**changes):
    """The file of the example with a source; keyword names are names of fields."""
    answers = {**template.EXAMPLE, **SOURCE}
    for name, value in changes.items():
        where = next(where for where in answers if where[1] == name)
        answers[where] = value
    return template.write(answers)


def put(term, key, text=None, **changes):
    """Lay a vehicle file into the term's folder; returns its path."""
    path = term.folder / store.FOLDER / f"{key}.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_text(text or text_of(**changes), encoding="utf-8")
    return path


def stored(term, key, **changes):
    """A vehicle stored in the term."""
    put(term, key, **changes)
    return store.add(term, key)[0]
