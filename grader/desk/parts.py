"""What screens are made of: a table, a button that saves a file, a page shown inside, a day with its hour, dropped files."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from html import escape
from pathlib import Path
from typing import Any

import anywidget
import ipywidgets
import traitlets

from grader import files
from grader.desk.words import plain
from grader.errors import TimingMarkError
from grader.widgets import style

_HERE = Path(__file__).parent


_told_by: list[Callable[[Callable[[], Any]], Any]] = []


def guard_with(guard: Callable[[Callable[[], Any]], Any]) -> None:
    """Let what goes wrong under a click be told on the page; ipywidgets would lose it in a log."""
    _told_by[:] = [guard]


def _guard(act: Callable[[], Any]) -> Any:
    return _told_by[0](act) if _told_by else act()


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: `key` for who hears of clicks, `says` for whoever rests on its heading."""

    key: str
    title: str
    number: bool = False
    sort: bool = True
    says: str = ""


@dataclass(frozen=True, slots=True)
class Cell:
    """What stands in a cell; `tone` gives it a sign and a shade, `act` makes it a button, `order` is what it sorts by.

    `news` tells that it is not as it was, with a dot; `says` then says what it was.
    """

    text: str
    tone: str = ""
    act: bool = False
    says: str = ""
    order: float | str | None = None
    news: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """A row and the id by which it is ticked or opened."""

    id: str
    cells: Sequence[Cell]
    tone: str = ""


class Table(anywidget.AnyWidget):
    """Rows that can be sorted, ticked and opened."""

    _esm = _HERE / "table.js"
    name = traitlets.Unicode().tag(sync=True)
    empty = traitlets.Unicode("Nothing here.").tag(sync=True)
    columns = traitlets.List().tag(sync=True)
    rows = traitlets.List().tag(sync=True)
    tickable = traitlets.Bool(False).tag(sync=True)
    large = traitlets.Bool(False).tag(sync=True)
    ticked = traitlets.List().tag(sync=True)
    clicked = traitlets.List().tag(sync=True)

    def __init__(
        self,
        name: str,
        columns: Sequence[Column],
        rows: Sequence[Row],
        *,
        tickable: bool = False,
        large: bool = False,
        opened: Callable[[str, str], object] | None = None,
        empty: str = "Nothing here.",
    ) -> None:
        self._opened: Callable[[str, str], object] = opened or (lambda _row, _column: None)
        super().__init__(
            name=name,
            columns=[asdict(column) for column in columns],
            rows=[asdict(row) for row in rows],
            tickable=tickable,
            large=large,
            empty=empty,
        )

    @traitlets.observe("clicked")
    def _was_clicked(self, change: Any) -> None:
        if change["new"]:
            trainee, column = change["new"][:2]
            _guard(lambda: self._opened(trainee, column))

    def show(self, rows: Sequence[Row]) -> None:
        """Other rows in the place of those that stand there; ticks of rows that are gone go too."""
        self.rows = [asdict(row) for row in rows]
        here = {row.id for row in rows}
        self.ticked = [row for row in self.ticked if row in here]


class Copy(anywidget.AnyWidget):
    """A text that is ready to be copied into a message."""

    _esm = _HERE / "copy.js"
    label = traitlets.Unicode().tag(sync=True)
    text = traitlets.Unicode().tag(sync=True)

    def __init__(self, label: str, text: str) -> None:
        super().__init__(label=label, text=text)


class Save(anywidget.AnyWidget):
    """A button that saves a file; it is made when somebody asks for it."""

    _esm = _HERE / "save.js"
    label = traitlets.Unicode().tag(sync=True)

    def __init__(self, label: str, name: str, make: Callable[[], bytes]) -> None:
        super().__init__(label=label)
        self.name, self.make = name, make
        self.on_msg(self._asked)

    def _asked(self, _widget: Any, _content: Any, _buffers: Any) -> None:
        try:
            content = self.make()
        except (TimingMarkError, OSError) as problem:
            self.send({"problem": plain(str(problem))})
            return
        self.send({"name": self.name}, [content])


class Leaf(anywidget.AnyWidget):
    """A page of ours shown inside the desk, where it can run nothing."""

    _esm = _HERE / "leaf.js"
    title = traitlets.Unicode().tag(sync=True)
    page = traitlets.Unicode().tag(sync=True)

    def __init__(self, title: str, page: bytes) -> None:
        super().__init__(title=title, page=page.decode("utf-8"))


def html(text: str, *classes: str) -> ipywidgets.HTML:
    """HTML that is safe already."""
    made = style.HTML(value=text, layout=style.column())
    for name in classes:
        made.add_class(name)
    return made


def heading(text: str, level: int = 3) -> ipywidgets.HTML:
    return html(f"<h{level}>{escape(text)}</h{level}>")


def says(text: str, kind: str = "") -> ipywidgets.HTML:
    """A sentence, without the commands that it may name."""
    return html(style.sentence(plain(text), kind)) if kind else html(f"<p>{escape(plain(text))}</p>")


def listed(lines: Sequence[str], title: str = "") -> ipywidgets.HTML:
    """Sentences under one another."""
    items = "".join(f"<li>{escape(plain(line))}</li>" for line in lines)
    return html((f"<p><strong>{escape(title)}</strong></p>" if title else "") + f"<ul>{items}</ul>")


def button(label: str, act: Callable[[], object], *classes: str, says: str = "") -> ipywidgets.Button:
    """A button; what `act` raises is the caller's."""
    made = style.Button(description=label, tooltip=says or label)
    for name in classes:
        made.add_class(name)
    made.on_click(lambda _: _guard(act))
    return made


def labelled(label: str, widget: ipywidgets.Widget) -> ipywidgets.VBox:
    """A field under its label, which also names it for a screen reader."""
    text = html(f"<p>{escape(label)}</p>", "tm-label")
    made = style.VBox([text, widget])
    made.add_class("tm-labelled")
    return made


def text_field(label: str, value: str = "", hint: str = "") -> tuple[ipywidgets.Text, ipywidgets.VBox]:
    """(field, field under its label)."""
    field_ = style.Text(value=value, placeholder=hint, layout=style.wide())
    field_.add_class("tm-field")
    field_.add_class("tm-long")
    return field_, labelled(label, field_)


def choice(
    label: str, options: Sequence[tuple[str, Any]], value: Any = None
) -> tuple[ipywidgets.Dropdown, ipywidgets.VBox]:
    """(list to choose from, the same under its label)."""
    made = style.Dropdown(options=list(options), layout=style.wide())
    if value is not None and value in [known for _, known in options]:
        made.value = value
    made.add_class("tm-choose")
    return made, labelled(label, made)


def chosen(field: ipywidgets.Dropdown) -> Any:
    """What is chosen in a list: one of the values that it was made with."""
    return field.value


@dataclass
class Moment:
    """A day and an hour in the term's zone, to choose from calendar and clock."""

    label: str
    hour: datetime.time | None = datetime.time(17, 0)
    day_field: ipywidgets.DatePicker = field(init=False)
    hour_field: ipywidgets.TimePicker = field(init=False)
    box: ipywidgets.HBox = field(init=False)

    def __post_init__(self) -> None:
        self.day_field = ipywidgets.DatePicker(layout=style.layout())
        self.hour_field = ipywidgets.TimePicker(value=self.hour, layout=style.layout())
        for one in (self.day_field, self.hour_field):
            one.add_class("tm-moment")
        self.box = style.HBox(
            [labelled(f"{self.label}: day", self.day_field), labelled(f"{self.label}: hour", self.hour_field)],
            layout=style.row(),
        )

    @property
    def text(self) -> str:
        """As a person writes it for a command; empty where no day is chosen."""
        day, hour = self.day_field.value, self.hour_field.value
        if day is None:
            return ""
        return f"{day:%Y-%m-%d}" if hour is None else f"{day:%Y-%m-%d} {hour:%H:%M}"


class Drop(anywidget.AnyWidget):
    """A place to drop files, or to choose them; they lie outside the term until somebody says what becomes of them.

    Parameters
    ----------
    label : str
    folder : Path
        Where they are put, each time in a new folder of it.
    dropped : callable
        Takes that new folder.
    several : bool
    """

    _esm = _HERE / "drop.js"
    label = traitlets.Unicode().tag(sync=True)
    several = traitlets.Bool(True).tag(sync=True)

    def __init__(self, label: str, folder: Path, dropped: Callable[[Path], object], *, several: bool = True) -> None:
        super().__init__(label=label, several=several)
        self.folder, self.dropped = folder, dropped
        self._coming: dict[int, tuple[str, list[bytes]]] = {}
        self.on_msg(self._came)

    def _came(self, _widget: Any, said: dict[str, Any], buffers: Sequence[Any]) -> None:
        if said.get("forget"):
            self._coming = {}
            return
        _, pieces = self._coming.setdefault(said["number"], (str(said["name"]), []))
        pieces.append(bytes(buffers[0]))
        if said.get("done"):
            files_, self._coming = list(self._coming.values()), {}
            _guard(lambda: self.take([(name, b"".join(content)) for name, content in files_]))

    def take(self, found: Sequence[tuple[str, bytes]]) -> None:
        """Put dropped files, as (name, content), beside the term and tell where."""
        self.dropped(keep(self.folder, found))


def keep(folder: Path, dropped: Sequence[tuple[str, bytes]]) -> Path:
    """Put dropped files into a new folder; each keeps its name and none can leave the folder.

    Parameters
    ----------
    folder : Path
    dropped : sequence of (str, bytes)
        Name and content of each, as the page sent them.

    Returns
    -------
    Path
        The new folder.
    """
    number = 1
    while (place := folder / f"_dropped_{number}").exists():
        number += 1
    place.mkdir(parents=True, mode=0o700)
    for count, (called, content) in enumerate(dropped, 1):
        name = re.sub(r"[\x00-\x1f:*?\"<>|]", "_", called.replace("\\", "/").rpartition("/")[2])[-120:]
        name = name if name.strip(". ") else "file"
        target = place / name if not (place / name).exists() else place / f"_{count}" / name
        files.write_bytes(target, content, mode=files.PRIVATE)
    return place


def close(widget: ipywidgets.Widget) -> None:
    """Free a widget and what stands in it; layouts are shared and stay."""
    for child in getattr(widget, "children", ()):
        close(child)
    widget.close()
