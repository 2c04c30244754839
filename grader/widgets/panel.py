"""A panel: sliders, a picture that follows them, and a caption that says the same in words.

The figure is drawn once. On a change only the artists that move are drawn again
on the kept background, and the picture goes out as PNG.
"""

import logging
import struct
import zlib
from html import escape

import numpy as np
from ipywidgets import HTML, HBox, Image, IntSlider, Layout, SelectionSlider, VBox
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from grader.errors import TimingMarkError
from grader.units import GROUPED_FROM, grouped
from grader.widgets import style

# On its first run matplotlib tells stderr that it looks for fonts; a marked notebook must stay silent.
logging.getLogger("matplotlib").setLevel(logging.ERROR)

_RGB = 2
_UP = 2


def png(pixels):
    """A picture as the bytes of a PNG file.

    Each row is stored as its difference from the row above, which suits lines and
    plain areas, and is packed at the fastest level: twice as quick as a general writer.

    Parameters
    ----------
    pixels : uint8 array of shape (rows, columns, 3 or 4)
        Opaque; a fourth channel is left out.

    Returns
    -------
    bytes
    """
    rows, columns = pixels.shape[:2]
    colour = np.empty((rows, columns, 3), np.uint8)
    for channel in range(3):  # plane by plane: twice as quick as one copy of pixels[:, :, :3]
        colour[:, :, channel] = pixels[:, :, channel]
    colour = colour.reshape(rows, 3 * columns)
    lines = np.empty((rows, 1 + 3 * columns), np.uint8)
    lines[:, 0] = _UP
    lines[0, 1:] = colour[0]
    np.subtract(colour[1:], colour[:-1], out=lines[1:, 1:])
    header = struct.pack(">IIBBBBB", columns, rows, 8, _RGB, 0, 0, 0)
    parts = ((b"IHDR", header), (b"IDAT", zlib.compress(lines, 1)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body)) for kind, body in parts
    )


class Picture:
    """A figure of which only some artists move.

    A subclass draws everything once in `draw`, returns the moving artists, and
    puts new values into them in `update`. Axis limits stay as they are.

    Parameters
    ----------
    width, height : int
        Size on the page in pixels of the page.
    """

    def __init__(self, width, height):
        self.width, self.height = width, height
        scale = style.SHARPNESS * style.DOTS_PER_INCH
        self.figure = Figure(figsize=(width / 100, height / 100), dpi=scale, facecolor=style.PAPER)
        self.canvas = FigureCanvasAgg(self.figure)
        self._moving = tuple(self.draw(self.figure))
        for artist in self._moving:
            artist.set_animated(True)
        self.canvas.draw()
        self._background = self.canvas.copy_from_bbox(self.figure.bbox)

    def draw(self, figure):
        """Draw all that stands still and return the artists that move."""
        raise NotImplementedError

    def update(self, state):
        """Put the values of a state into the moving artists."""
        raise NotImplementedError

    def pixels(self, state):
        """The picture of a state as an array of shape (rows, columns, 4)."""
        self.canvas.restore_region(self._background)
        self.update(state)
        for artist in self._moving:
            artist.axes.draw_artist(artist)
        return np.asarray(self.canvas.buffer_rgba())

    def render(self, state):
        """The picture of a state as PNG."""
        return png(self.pixels(state))


class Panel:
    """Sliders and one or more pictures; `box` is the widget to show.

    Parameters
    ----------
    title : str
    controls : dict of str to widget
        Named as `compute` wants them; each holds its value in `value`. A slider that
        reaches thousands to be kept together is replaced by one that prints them so.
    compute : function of the controls' values
        Gives a state: what is true, without any drawing.
    views : sequence of (Picture, function of a state giving its caption)
    """

    def __init__(self, title, controls, compute, views):
        self.controls = {name: _spaced(control) for name, control in controls.items()}
        self.compute, self.views = compute, tuple(views)
        self.images, self.captions = [], []
        frames = []
        for picture, _ in self.views:
            image = Image(format="png", width=picture.width, height=picture.height).add_class("tm-picture")
            image.layout = Layout(width="100%", max_width=f"{picture.width}px", height="auto")
            caption = HTML().add_class("tm-caption")
            self.images.append(image)
            self.captions.append(caption)
            # Wide pages show the views side by side, narrow ones below each other.
            share = Layout(flex=f"1 1 {picture.width // 25}rem", max_width=f"{picture.width}px", min_width="0")
            frames.append(VBox([image, caption], layout=share).add_class("tm-view"))
        self.message = HTML().add_class("tm-verdict")
        rows = [
            HTML(f"<h3>{escape(title)}</h3>"),
            *self.controls.values(),
            HBox(frames, layout=style.row()),
            self.message,
        ]
        self.box = VBox(rows, layout=style.column()).add_class("tm-panel")
        for control in self.controls.values():
            control.observe(self.refresh, "value")
        self.refresh()

    def refresh(self, _=None):
        """Compute and show anew; an error appears under the picture."""
        try:
            state = self.compute(**{name: control.value for name, control in self.controls.items()})
            for image, words, (picture, caption) in zip(self.images, self.captions, self.views, strict=True):
                image.value = picture.render(state)
                words.value = f"<div>{escape(caption(state))}</div>"
            self.message.value = ""
        except TimingMarkError as problem:
            self.message.value = style.sentence(str(problem), "wrong")
        except Exception as problem:
            self.message.value = style.sentence(
                f"The picture stumbled here ({type(problem).__name__}: {problem}). Move another slider, or reload.",
                "wrong",
            )


def _spaced(control):
    """A slider whose read-out writes 24 000 as the texts do, in the place of one that cannot; any other as it is.

    A slider of numbers prints "24000" or "24,000", and takes the latter for 24 when it
    is left. A slider over a list prints what stands in the list.
    """
    if not isinstance(control, IntSlider) or control.max < GROUPED_FROM:
        return control
    steps = range(control.min, control.max + 1, control.step)
    made = SelectionSlider(
        options=[(grouped(step), step) for step in steps], value=control.value, description=control.description,
        layout=control.layout,
    )  # fmt: skip
    made.style.description_width = control.style.description_width
    control.close()
    return made.add_class("jupyter-widgets").add_class("tm-steps")  # looks and names of the other sliders


def keep_readable(panel, place, least):
    """A chart that is read off keeps a least width [pixel of the page]; a narrow page scrolls it sideways."""
    chart = panel.images[place]
    chart.layout.min_width = f"{least}px"
    frame = next(box for row in panel.box.children for box in getattr(row, "children", ()) if chart in box.children)
    frame.layout.overflow = "auto hidden"
    frame.layout.flex = f"1 1 {least // 16}rem"  # beside another picture only where all of it has room
    frame.add_class("tm-wide")  # a narrow page says above it that there is more to the side
    return panel
