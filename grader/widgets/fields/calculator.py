"""A pocket calculator beside an exercise: what is typed here is neither saved nor marked."""

import ast
import math
import operator
import re

from grader.errors import Unreadable
from grader.widgets import style

LONGEST = 120
HELP = "Use + - * / ^ ( ), pi, sqrt, sin, cos, tan, asin, acos, atan, ln, log, exp, abs. Angles are in degrees."

_SIGNS = str.maketrans(
    {"×": "*", "·": "*", "÷": "/", ":": "/", "−": "-", "–": "-", "\u00a0": " ", "\u202f": " ", "²": "^2"}
)
# Thousands as the lessons write them, 60 000, and as the answer fields read them.
_GROUPS = re.compile(r"(?<![\w.,])(?<!\d\s)[1-9]\d{0,2}(?:\s\d{3})+(?![\w])(?!\s\d)")
_OPERATIONS = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv, ast.Pow: operator.pow,
}  # fmt: skip
_SIGN = {ast.UAdd: operator.pos, ast.USub: operator.neg}
_NAMES = {"pi": math.pi, "π": math.pi}
_FUNCTIONS = {
    "sqrt": math.sqrt, "abs": abs, "ln": math.log, "log": math.log10, "exp": math.exp,
    "sin": lambda x: math.sin(math.radians(x)), "cos": lambda x: math.cos(math.radians(x)),
    "tan": lambda x: math.tan(math.radians(x)), "asin": lambda x: math.degrees(math.asin(x)),
    "acos": lambda x: math.degrees(math.acos(x)), "atan": lambda x: math.degrees(math.atan(x)),
}  # fmt: skip


def work_out(text: str) -> float:
    """The value of what was typed.

    Parameters
    ----------
    text : str
        Such as "1,5*pi*20/360"; a comma or a point parts the decimals, and a space
        may part the thousands.

    Returns
    -------
    float

    Raises
    ------
    Unreadable
        It is no sum, or has no value; one sentence says why.
    """
    if len(text) > LONGEST:
        raise Unreadable(f"{len(text)} characters are too many at once. Work it out in steps.")
    plain = re.sub(r"°|\bdeg\b", "", text.translate(_SIGNS))
    if re.search(r"(?<!\d)[1-9]\d{0,2},\d{3}(?!\d)", plain):
        raise Unreadable("A comma before three figures can mean two things. Write 1000 or 1.000.")
    plain = _GROUPS.sub(lambda value: re.sub(r"\s", "", value[0]), plain)
    spaced = re.search(r"[\d.,]*\d\s+\d[\d.,]*", plain)
    if spaced:
        raise Unreadable(
            f"There is a space inside “{spaced[0][:20]}”. Put a sign such as + or * between two numbers, and no space "
            "inside one."
        )
    plain = re.sub(r"(?<=\d),(?=\d)", ".", plain).replace("^", "**").strip()
    if not plain:
        raise Unreadable("Nothing is written yet.")
    if re.search(r"\d\s*(?:[A-Za-zπ(])", re.sub(r"\d[eE][+-]?\d", "0", plain)) or re.search(r"\)\s*[\w(]", plain):
        raise Unreadable("Write * where something is multiplied: 2*pi, 3*(4+1).")
    try:
        value = float(_value(ast.parse(plain, mode="eval").body))
    except Unreadable:  # is a ValueError too
        raise
    except ZeroDivisionError:
        raise Unreadable("This divides by zero.") from None
    except OverflowError:
        raise Unreadable("The result is too large. Check the powers.") from None
    except ValueError:
        raise Unreadable("One of the functions has no value there, such as the root of a negative number.") from None
    except (SyntaxError, RecursionError, MemoryError):
        raise Unreadable("This is no whole sum yet. Check brackets and signs.") from None
    if not math.isfinite(value):
        raise Unreadable("The result is too large. Check the powers.")
    return value


def _value(node):
    # Floats only: 9^9^9 then overflows at once instead of filling the memory with figures.
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool):
        return float(node.value)
    if isinstance(node, ast.Name) and node.id.lower() in _NAMES:
        return _NAMES[node.id.lower()]
    if isinstance(node, ast.UnaryOp) and type(node.op) in _SIGN:
        return _SIGN[type(node.op)](_value(node.operand))
    if isinstance(node, ast.BinOp) and type(node.op) in _OPERATIONS:
        value = _OPERATIONS[type(node.op)](_value(node.left), _value(node.right))
        if isinstance(value, complex):
            raise ValueError("root of a negative number")
        return value
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and len(node.args) == 1 and not node.keywords:
        function = _FUNCTIONS.get(node.func.id.lower())
        if function is not None:
            return function(_value(node.args[0]))
        raise Unreadable(f"“{node.func.id[:20]}” is not on this calculator. {HELP}")
    if isinstance(node, ast.Name):
        raise Unreadable(f"“{node.id[:20]}” is no number. Type its value. {HELP}")
    raise Unreadable(f"This calculator does sums only. {HELP}")


class Calculator:
    """A button that unfolds one line to reckon in; the line is made when it is first asked for."""

    def __init__(self, title: str) -> None:
        self.title = title
        self._button = style.Button(
            description="Calculator", tooltip=f"Calculator for: {title}", layout=style.layout(align_self="flex-start")
        )
        self._button.on_click(lambda _: self._fold())
        self.box = style.VBox([self._button], layout=style.column())
        self.text = self.echo = None

    def _fold(self):
        if self.text is None:
            self.text = style.Text(
                "",
                continuous_update=True,
                tooltip=f"Calculator for: {self.title}",
                layout=style.layout(width="100%", max_width="26rem"),
            )
            self.text.observe(self._typed, "value")
            self.echo = style.HTML(style.sentence(HELP)).add_class("tm-echo")
            label = style.HTML("Calculator (nothing here is saved or marked)").add_class("tm-label")
            self._line = (label, self.text, self.echo)
        self.box.children = (self._button,) if len(self.box.children) > 1 else (self._button, *self._line)

    def _typed(self, change):
        if self.echo is None:
            return
        if not change["new"].strip():
            self.echo.value = style.sentence(HELP)
            return
        try:
            value = work_out(change["new"])
            together = "".join(
                f" ({group} read as one number)" for group in _GROUPS.findall(change["new"].translate(_SIGNS))
            )
            self.echo.value = style.sentence(f"= {value + 0.0:.7g}{together}")  # + 0.0: no minus before nought
        except Unreadable as problem:
            self.echo.value = style.sentence(str(problem))
