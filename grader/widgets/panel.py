"""A panel: sliders, a picture that follows them, and a caption that says the same in words.

What stands still in a figure is drawn once and goes to the page as PNG. On a change only
the artists that move are drawn again, as SVG that lies over it: a few kilobytes in the
place of a picture, and the page draws them sharp at any size.
"""

import io
import itertools
import logging
import re
from collections.abc import Callable, Iterable, Mapping
from html import escape
from typing import Any, Generic, TypeVar

from ipywidgets import HTML, Box, HBox, Image, IntSlider, Layout, SelectionSlider, VBox
from matplotlib import rc_context
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.text import Text

from grader.errors import TimingMarkError
from grader.units import GROUPED_FROM, grouped
from grader.widgets import style

# On its first run matplotlib tells stderr that it looks for fonts; a marked notebook must stay silent.
logging.getLogger("matplotlib").setLevel(logging.ERROR)

_POINTS_PER_INCH = 72  # an SVG renderer counts in points
_TOO_FINE = re.compile(r"(\.\d\d)\d+")  # a hundredth of a point is seen by nobody
_HEAD = re.compile(r"\A.*?<svg\b[^>]*>|<metadata>.*?</metadata>|<style\b.*?</style>|</svg>\s*\Z", re.S)
_HATCHES = re.compile(r"<defs>\s*<pattern\b.*?</defs>", re.S)
_BLANKS = re.compile(r">\s+<")
_LINE = re.compile(r'(?<= d=")(?:[ML] -?[\d.]+ -?[\d.]+\s+)+(?=z|")')
_STRAIGHT = 0.02  # points off a straight line that nobody sees
_pictures = itertools.count(1)

State = TypeVar("State")  # what a panel computes and its pictures show
_Patch = TypeVar("_Patch", bound=Patch)


def add_patch(axes: Axes, patch: _Patch) -> _Patch:
    """The patch itself, put on the axes; matplotlib's own returns it too, but as a patch of no known shape."""
    axes.add_patch(patch)
    return patch


class Picture(Generic[State]):
    """A figure of which only some artists move.

    A subclass draws everything once in `draw`, returns the moving artists, and
    puts new values into them in `update`. Axis limits stay as they are. What moves
    lies above all that stands still.

    Parameters
    ----------
    width, height : int
        Size on the page in pixels of the page.
    """

    def __init__(self, width: int, height: int):
        self.width, self.height = width, height
        self.figure = Figure(figsize=(width / 100, height / 100), dpi=_POINTS_PER_INCH, facecolor=style.PAPER)
        self.canvas = FigureCanvasAgg(self.figure)
        self.moving = tuple(self.draw(self.figure))
        for artist in self.moving:
            artist.set_animated(True)
        # Hatches and clips are found by names that hold for the whole page.
        self._rules: dict[Any, Any] = {"svg.fonttype": "none", "svg.hashsalt": f"tm-{next(_pictures)}"}

    def draw(self, figure: Figure) -> Iterable[Artist]:
        """Draw all that stands still and return the artists that move."""
        raise NotImplementedError

    def update(self, state: State) -> None:
        """Put the values of a state into the moving artists."""
        raise NotImplementedError

    def still(self) -> bytes:
        """All that does not move as PNG, `style.SHARPNESS` dots for one of the page."""
        png, seen = io.BytesIO(), [artist.get_visible() for artist in self.moving]
        for artist in self.moving:
            artist.set_visible(False)  # a figure that is saved draws what is animated too
        self.figure.savefig(png, format="png", dpi=style.SHARPNESS * style.DOTS_PER_INCH)
        for artist, visible in zip(self.moving, seen, strict=True):
            artist.set_visible(visible)
        # The canvas that drew holds on to 4 MB of bare pixels, and each text that it drew holds on to them too, for
        # which matplotlib has no public way; a text without a renderer asks the new canvas for one.
        self.canvas = FigureCanvasAgg(self.figure)
        for text in self.figure.findobj(Text):
            text._renderer = None  # pyright: ignore[reportAttributeAccessIssue]
        return png.getvalue()

    def layer(self, state: State) -> tuple[str, str]:
        """What moves, for a state, as SVG of the picture's size.

        Returns
        -------
        (str, str)
            The layer, and the hatches that it names, which hardly ever change.
        """
        self.update(state)
        written = io.StringIO()
        box = self.figure.bbox
        with rc_context(self._rules):
            renderer = RendererSVG(box.width, box.height, written, image_dpi=_POINTS_PER_INCH)
            for artist in self.moving:
                if artist.get_alpha() != 0:  # as good as not there
                    artist.draw(renderer)
            renderer.finalize()
        drawn = _LINE.sub(_without_straight_points, _TOO_FINE.sub(r"\1", _HEAD.sub("", written.getvalue())))
        hatches = "".join(_HATCHES.findall(drawn))
        begins = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" aria-hidden="true"'
        layer = f'{begins} viewBox="0 0 {box.width:g} {box.height:g}">{_HATCHES.sub("", drawn)}</svg>'
        return _BLANKS.sub("><", layer), f'{begins} width="0" height="0">{hatches}</svg>' if hatches else ""


class Panel(Generic[State]):
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

    def __init__(
        self,
        title: str,
        controls: Mapping[str, Any],
        compute: Callable[..., State],
        views: Iterable[tuple[Picture[State], Callable[[State], str]]],
    ):
        self.controls = {name: _spaced(control) for name, control in controls.items()}
        self.compute, self.views = compute, tuple(views)
        self.stacks, self.images, self.layers, self.hatches, self.captions = [], [], [], [], []
        frames = []
        for picture, _ in self.views:
            image = Image(format="png", width=picture.width, height=picture.height, value=picture.still())
            image.add_class("tm-picture").layout = style.layout(width="100%", height="auto")
            layer, hatches = (HTML(layout=style.column()).add_class(name) for name in ("tm-moving", "tm-hatches"))
            caption = HTML().add_class("tm-caption")
            stack = Box([image, hatches, layer], layout=Layout(width="100%", max_width=f"{picture.width}px"))
            self.stacks.append(stack.add_class("tm-stack"))
            self.images.append(image)
            self.layers.append(layer)
            self.hatches.append(hatches)
            self.captions.append(caption)
            # Wide pages show the views side by side, narrow ones below each other.
            share = Layout(flex=f"1 1 {picture.width // 25}rem", max_width=f"{picture.width}px", min_width="0")
            frames.append(VBox([stack, caption], layout=share).add_class("tm-view"))
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

    def refresh(self, _: object = None) -> None:
        """Compute and show anew; an error appears under the picture."""
        try:
            state = self.compute(**{name: control.value for name, control in self.controls.items()})
            rows = zip(self.layers, self.hatches, self.captions, self.views, strict=True)
            for layer, hatches, words, (picture, caption) in rows:
                layer.value, hatches.value = picture.layer(state)
                words.value = f"<div>{escape(caption(state))}</div>"
            self.message.value = ""
        except TimingMarkError as problem:
            self.message.value = style.sentence(str(problem), "wrong")
        except Exception as problem:
            self.message.value = style.sentence(
                f"The picture stumbled here ({type(problem).__name__}: {problem}). Move another slider, or reload.",
                "wrong",
            )


def _without_straight_points(line):
    """A path of straight pieces, a match of `_LINE`, without the points between which it runs straight on."""
    kept = []
    for piece in line[0].split("M")[1:]:
        places = [tuple(map(float, place.split())) for place in piece.split("L")]
        start, ends = 0, [0]
        for end in range(2, len(places)):
            if not _is_straight(places[start : end + 1]):
                start = end - 1
                ends.append(start)
        ends += [len(places) - 1] if len(places) > 1 else []
        kept.append("M" + "L".join(f"{places[end][0]:g} {places[end][1]:g}" for end in ends))
    return "".join(kept)


def _is_straight(places):
    """True where all points lie, in their order, on the straight line from the first to the last of them."""
    (x, y), (to_x, to_y) = places[0], places[-1]
    along, across = to_x - x, to_y - y
    length, before = (along**2 + across**2) ** 0.5, 0.0
    if length == 0:
        return False
    for at_x, at_y in places[1:-1]:
        reached = ((at_x - x) * along + (at_y - y) * across) / length
        off = abs((at_x - x) * across - (at_y - y) * along) / length
        if off > _STRAIGHT or not before <= reached <= length:
            return False
        before = reached
    return True


def _spaced(control):
    """A slider whose read-out writes 24 000 as the texts do, in the place of one that cannot; any other as it is.

    A slider of numbers prints "24000" or "24,000", and takes the latter for 24 when it
    is left. A slider over a list prints what stands in the list.
    """
    if not isinstance(control, IntSlider) or control.max < GROUPED_FROM:
        return control
    steps = range(control.min, control.max + 1, control.step)
    made = SelectionSlider(
        options=[(grouped(step), step) for step in steps],
        value=control.value,
        description=control.description,
        layout=control.layout,
    )
    made.style.description_width = control.style.description_width
    control.close()
    return made.add_class("jupyter-widgets").add_class("tm-steps")  # looks and names of the other sliders


def keep_readable(panel: Panel, place: int, least: int) -> Panel:
    """A chart that is read off keeps a least width [pixel of the page]; a narrow page scrolls it sideways."""
    chart = panel.stacks[place]
    chart.layout.min_width = f"{least}px"
    frame = next(
        box
        for row in panel.box.children
        for box in getattr(row, "children", ())
        if chart in getattr(box, "children", ())
    )
    frame.layout.overflow = "auto hidden"
    frame.layout.flex = f"1 1 {least // 16}rem"  # beside another picture only where all of it has room
    frame.add_class("tm-wide")  # a narrow page says above it that there is more to the side
    return panel


def beside_controls(panel: Panel) -> Panel:
    """The first picture stands beside the controls, and the others below both; a narrow page shows all below each other."""
    count = len(panel.controls)
    title, controls, (row, *rest) = (
        panel.box.children[0],
        panel.box.children[1 : 1 + count],
        panel.box.children[1 + count :],
    )
    first, *others = row.children
    hand = VBox(controls, layout=Layout(flex="1 1 20rem", min_width="0")).add_class("tm-hand")
    panel.box.children = (title, HBox([hand, first], layout=style.row()), *others, *rest)
    return panel
