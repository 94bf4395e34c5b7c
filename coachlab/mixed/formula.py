"""A model formula in words becomes its parts: response, fixed part, random terms."""

import re
from dataclasses import dataclass

from coachlab.errors import FormulaError

_FORM = "Write it like 'y ~ x + (1 + x | g)': response, tilde, fixed part, random terms in brackets."


@dataclass(frozen=True)
class Bar:
    """One random term ``(left | group)``.

    left    what varies, as written: ``"1 + x"``
    group   the columns whose combinations are the levels: ``("g",)``, ``("a", "b")`` for ``a:b``
    """

    left: str
    group: tuple[str, ...]

    @property
    def name(self) -> str:
        """Grouping factor as written, ``a:b`` for a combination."""
        return ":".join(self.group)


@dataclass(frozen=True)
class Formula:
    """Parsed formula: the response and the fixed part as text, and the random terms."""

    text: str
    response: str
    fixed: str
    bars: tuple[Bar, ...]


def read_formula(text: str) -> Formula:
    """Parts of a formula such as ``y ~ x + (1 + x | g) + (1 | g:h)``.

    ``(x | g)`` means ``(1 + x | g)``; ``(x || g)`` gives every part of the left side a term of its own, so that none
    are correlated; ``(1 | a/b)`` means ``(1 | a) + (1 | a:b)``.

    Parameters
    ----------
    text : str
        The formula.

    Raises
    ------
    FormulaError
        If there is no tilde, a bracket is not closed, or there is no random term.
    """
    asked = f"reading the formula {text!r}"
    if not isinstance(text, str) or text.count("~") != 1:
        raise FormulaError(asked, "it needs exactly one '~' between response and model", _FORM)
    response, right = (side.strip() for side in text.split("~"))
    if not response or not right:
        raise FormulaError(asked, "one side of '~' is empty", _FORM)
    fixed, bars = [], []
    for sign, part in split_sum(right, asked):
        inner = part[1:-1] if part.startswith("(") and part.endswith(")") else part
        cut = _bar(inner)
        if cut is None:
            fixed.append(f"{sign} {part}")
        elif sign == "-" or inner is part:
            raise FormulaError(asked, f"{part!r} is no random term", "Put it in brackets and add it: '+ (1 | g)'.")
        else:
            bars += _bars(*cut, asked)
    if not bars:
        raise FormulaError(
            asked,
            "it has no random term",
            "Add one for what repeats, such as '+ (1 | g)'; without any, least squares is enough.",
        )
    return Formula(text, response, " ".join(fixed).removeprefix("+ ") or "1", tuple(bars))


def split_sum(text: str, asked: str = "") -> list[tuple[str, str]]:
    """Summands of an expression with their signs, brackets kept whole."""
    parts, depth, start, sign = [], 0, 0, "+"
    for at, letter in enumerate(text):
        depth += (letter in "([{") - (letter in ")]}")
        if depth < 0:
            break
        if letter in "+-" and depth == 0:
            if text[start:at].strip():
                parts.append((sign, text[start:at].strip()))
            sign, start = letter, at + 1
    if depth:
        raise FormulaError(asked or f"reading {text!r}", "a bracket is opened or closed once too often", _FORM)
    if text[start:].strip():
        parts.append((sign, text[start:].strip()))
    return parts


def _bar(text: str) -> tuple[str, str, str] | None:
    """Left side, bar and right side at the outermost ``|`` or ``||``."""
    depth = 0
    for at, letter in enumerate(text):
        depth += (letter in "([{") - (letter in ")]}")
        if letter == "|" and depth == 0:
            bar = "||" if text[at : at + 2] == "||" else "|"
            return text[:at].strip(), bar, text[at + len(bar) :].strip()
    return None


def _bars(left: str, bar: str, right: str, asked: str) -> list[Bar]:
    if not left or not re.fullmatch(r"\w+(\s*[:/]\s*\w+)*", right):
        raise FormulaError(
            asked,
            f"({left} {bar} {right}) is no random term",
            "Left of the bar stands what varies, right of it a column, a:b or a/b: (1 + x | g), (1 | a:b), (1 | a/b).",
        )
    if "/" in right:
        names = [re.split(r"\s*:\s*", name) for name in re.split(r"\s*/\s*", right)]
        groups = [tuple(sum(names[: n + 1], [])) for n in range(len(names))]
    else:
        groups = [tuple(re.split(r"\s*:\s*", right))]
    if bar == "|":
        lefts = [left]
    else:
        parts = split_sum(left, asked)
        whole = ("-", "1") not in parts and ("+", "0") not in parts
        lefts = ["1"] * whole + [f"0 + {part}" for sign, part in parts if sign == "+" and part not in "01"]
    return [Bar(each, group) for group in groups for each in lefts]
