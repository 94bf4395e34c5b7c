"""What the cells of a file say: numbers, with their decimal mark, unit words and side letters.

A column of a file holds few distinct texts, so each text is read once and spread over the rows by its code.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from coachlab.intake.columns import sign_of, words_for
from coachlab.schema import COLUMNS, LATERAL
from coachlab.units import factor_to_column, read_unit, units_for

NOTHING = frozenset({"-", "--", "---", "n/a", "na", "n.a.", "nan", "null", "none", "#n/a", "<na>", "nat"})
"""How devices write that there is no value: a remark, but no sign of a wrongly mapped column."""


_ISO = re.compile(r"\d{4}-\d{2}-\d{2}[ T]\d{2}:\d{2}")
_WRAPPED = r"""^(?:'([^']*)'|="([^"]*)")$"""
"""A text in quotes of its own, as databases write it, or as a formula, so that a spreadsheet takes it for a text."""


@dataclass(frozen=True, eq=False)
class Cells:
    """One column of a file: its distinct cells, and for each row which of them stands there.

    Attributes
    ----------
    words : pyarrow string array, shape (k,), or None
        The distinct texts; None where the file has numbers or times and no text.
    codes : int array, shape (n,), or None
        The place of each row's word; None where each row is a word of its own (k = n).
    typed : float or datetime array, shape (k,), or None
        Values of cells that are no text in the file; missing where they are.
    """

    words: pa.Array | None
    codes: np.ndarray | None = None
    typed: np.ndarray | None = None

    def spread(self, by_word: np.ndarray) -> np.ndarray:
        """Return a value for each word as a value for each row, shape (n,)."""
        return by_word if self.codes is None else by_word[self.codes]

    @property
    def size(self) -> int:
        """How many words there are."""
        return len(self.words) if self.words is not None else len(self.typed)  # type: ignore[arg-type]

    @cached_property
    def trimmed(self) -> pa.Array:
        """The texts without outer blanks, typed cells written out, shape (k,)."""
        if self.words is not None:
            words = pc.utf8_trim_whitespace(self.words)
            if pc.any(pc.or_(pc.starts_with(words, "'"), pc.starts_with(words, '="'))).as_py():
                words = pc.replace_substring_regex(words, _WRAPPED, r"\1\2")
            return words
        return pc.fill_null(pa.array(self.typed, from_pandas=True).cast(pa.string()), "")

    @cached_property
    def blank(self) -> np.ndarray:
        """Which words are blank, shape (k,)."""
        if self.words is None:
            return np.isnan(self.typed) if self.typed.dtype.kind == "f" else np.isnat(self.typed)  # type: ignore
        if self.iso_times is not None:
            return np.zeros(self.size, dtype=bool)
        return _mask(pc.equal(self.trimmed, ""))

    @cached_property
    def iso_times(self) -> np.ndarray | None:
        """The words as times, shape (k,), where every one of them is a day with its time as ISO 8601 writes it."""
        if self.words is None or not len(self.words) or not _ISO.match(self.words[0].as_py()):
            return None
        try:
            return pc.cast(self.words, pa.timestamp("us")).to_numpy(zero_copy_only=False)
        except pa.ArrowInvalid:
            return None

    def rows(self) -> np.ndarray:
        """Return the text of each row, shape (n,)."""
        return self.spread(self.trimmed.to_numpy(zero_copy_only=False))

    def texts(self, which: np.ndarray) -> list[str]:
        """Return some of the texts, by their places among the words."""
        return self.trimmed.take(pa.array(which)).to_pylist()


@dataclass(frozen=True, eq=False)
class Numbers:
    """What the words of a column say as numbers; arrays of shape (k,).

    ``value`` is in the column's own unit and in our direction, missing where there is no number. ``plain`` marks
    words that name no unit, whose value is still to be multiplied by the column's factor; ``world`` those whose
    side is the world's, to be mirrored for a left-hander. ``odd`` marks what is no number, ``nothing`` the part of
    it that only says so, ``other_mark`` numbers that are written with the other decimal mark.
    """

    value: np.ndarray
    plain: np.ndarray
    world: np.ndarray
    blank: np.ndarray
    odd: np.ndarray
    nothing: np.ndarray
    other_mark: np.ndarray


_PLAIN = {".": r"^-?(?:[0-9]+\.?[0-9]*|\.[0-9]+)$", ",": r"^-?(?:[0-9]+,?[0-9]*|,[0-9]+)$"}


def read_numbers(cells: Cells, column: str, mark: str, positive: str | None = None) -> Numbers:
    """Return what a column's words say, given the file's decimal mark and which way the map counts as plus."""
    size = cells.size
    typed = cells.typed is not None and cells.typed.dtype.kind == "f"
    value = cells.typed.copy() if typed else np.full(size, np.nan)  # type: ignore[union-attr]
    factor = np.full(size, np.nan)
    sign, world = sign_of(column, positive)
    signs, worlds = np.full(size, sign, dtype=np.int8), np.full(size, world and column in LATERAL)
    blank = cells.blank
    odd, nothing, other_mark = (np.zeros(size, dtype=bool) for _ in range(3))
    if cells.words is not None:
        trimmed = cells.trimmed
        plain = pc.match_substring_regex(trimmed, _PLAIN[mark])
        numbers = pc.filter(trimmed, plain)
        if mark == ",":
            numbers = pc.replace_substring(numbers, ",", ".")
        value[_mask(plain)] = pc.cast(numbers, pa.float64()).to_numpy(zero_copy_only=False)
        slow = np.flatnonzero(np.isnan(value) & ~blank)
        cell = _CellReader(column, mark)
        for place, text in zip(slow, trimmed.take(pa.array(slow)).to_pylist(), strict=True):
            read = cell.read(text)
            if read is None:
                odd[place] = True
                nothing[place] = text.casefold().translate(SAME) in NOTHING
                continue
            value[place], unit_factor, side, way, other_mark[place] = read
            if unit_factor is not None:
                factor[place] = unit_factor
            if side:
                signs[place], worlds[place] = side, True
            elif way:
                signs[place], worlds[place] = way, False
    elif not typed:
        odd = ~blank
    infinite = np.isinf(value)
    odd, value[infinite] = odd | infinite, np.nan
    without_unit = np.isnan(factor)
    value = value * np.where(without_unit, signs, signs * np.nan_to_num(factor))
    return Numbers(value + 0.0, without_unit, worlds, blank, odd, nothing, other_mark)


SAME = str.maketrans(
    dict.fromkeys("−–—‐‑﹣－", "-")
    | dict.fromkeys("\u00a0\u202f\u2009\u2007", " ")
    | {"’": "'", "٫": ".", "．": ".", "·": ".", "٬": "'", "，": ",", "＋": "+", "（": "(", "）": ")"}
    | {"→": " right ", "←": " left ", "↑": " up ", "↓": " down "}
)
"""Signs that mean a minus, blanks that are none in ASCII, marks of other scripts, and arrows."""
_CELL = re.compile(
    r"""([^\d+\-.,]*?) \s*                              # a side or unit before the number
    ([+-]? \s? (?:\d[\d.,'\ ]*|[.,]\d+)) (e[+-]?\d+)?    # the number, with its groups of three
    \s* (.*)""",
    re.VERBOSE | re.IGNORECASE | re.DOTALL,
)
_LONGEST = 200
"""No number is longer; on a text of any length the pattern below could take for ever."""
_BOOKED = re.compile(r"^(?:\(\s*([\d.,' ]*\d[^\d()]{0,9})\)|([\d.,' ]*\d)\s?-(?=\s|$))")
"""A minus as bookkeepers write it: in brackets, or behind the number."""
SIDES = {"r": 1, "right": 1, "rechts": 1, "droite": 1, "derecha": 1, "höger": 1} | {
    "l": -1, "left": -1, "links": -1, "gauche": -1, "izquierda": -1, "vänster": -1
}  # fmt: skip
_WAYS = {"shut": "closed", "forward": "ahead", "fwd": "ahead", "back": "behind", "above": "high", "below": "low"}
"""Other words for which way."""
ACROSS = (
    (re.compile(r"\b(?:i|in|inside)\W{0,2}(?:to\W)?(?:o|out|outside)\b", re.IGNORECASE), "out"),
    (re.compile(r"\b(?:o|out|outside)\W{0,2}(?:to\W)?(?:i|in|inside)\b", re.IGNORECASE), "in"),
)
_FILLING = frozenset({"", "to", "the", "of", "from", "target", "line"})
_COUNTED = re.compile(r"(?:#|(?:shot|ball|stroke|no|nr)\b\.?)\s*#?", re.IGNORECASE)


class _CellReader:
    """Reads the odd cells of one column, those that are no bare number in the file's own decimal mark."""

    def __init__(self, column: str, mark: str) -> None:
        self.column, self.mark = column, mark
        self.units = {unit: factor_to_column(unit, column) for unit in units_for(column)}
        self.sides = SIDES if column in LATERAL else {}
        self.ways = {word: sign_of(column, word)[0] for word in words_for(column) if word not in SIDES}
        self.ways |= {word: self.ways[way] for word, way in _WAYS.items() if way in self.ways}
        self.ways |= {word[0]: sign for word, sign in self.ways.items() if word in words_for(column)}

    def read(self, text: str) -> tuple[float, float | None, int, int, bool] | None:
        """Return number, factor of its unit, side, the player's way, and if the other mark was used; or None."""
        if len(text) > _LONGEST:
            return None
        text = plain_number(text)
        if self.column == "shot":
            text = _COUNTED.sub("", text, count=1)
        for across, word in ACROSS if self.sides else ():
            text = across.sub(word, text)
        found = _CELL.fullmatch(text)
        if found is None:
            return None
        before, digits, power, after = found.groups()
        digits = digits.rstrip(" '") + (power or "").casefold()
        if after:
            digits = digits.rstrip(",")
        number = number_of(digits, self.mark)
        other_mark = number is None
        if number is None:
            number = number_of(digits, "," if self.mark == "." else ".")
        if number is None:
            return None
        factor: float | None = None
        side = way = 0
        for word in (*split_words(before), *split_words(after)):
            unit = read_unit(word)
            plain = word.casefold().rstrip(".")
            if unit in self.units and factor is None:
                factor = self.units[unit]
            elif plain in self.sides and not side and not way:
                side = self.sides[plain]
            elif plain in self.ways and not side and not way:
                way = self.ways[plain]
            else:
                return None
        if number < 0 and (side or way) or number > 0 and before.count("(") > before.count(")"):
            return None
        return number, factor, side, way, other_mark


def plain_number(text: str) -> str:
    """Return a cell with its signs and digits as ASCII has them, and a bookkeeper's minus in front."""
    if not text.isascii():
        text = "".join(str(unicodedata.decimal(sign, sign)) for sign in text.translate(SAME))
    return _BOOKED.sub(r"-\1\2", text.strip().lstrip("'"))


def split_words(text: str) -> list[str]:
    """Split the words around a number into unit and side; a unit may hold a blank (``m s-1``)."""
    text = text.strip()
    if not text or read_unit(text):
        return [text] if text else []
    words = [word.strip("(),/:-") for word in re.sub(r"([°º\"%])", r" \1 ", text).split()]
    return [word for word in words if word.casefold() not in _FILLING]


def number_of(digits: str, mark: str) -> float | None:
    """Return the number that digits, groups and a decimal mark write, or None if they write none."""
    group = "," if mark == "." else r"\."
    found = re.fullmatch(
        rf"([+-]?)\s?(\d{{1,3}}(?:[{group}' ]\d{{3}})+|\d*)(?:{re.escape(mark)}(\d*))?(e[+-]?\d+)?", digits
    )
    if found is None or not (found[2] or found[3]):
        return None
    return float(f"{found[1]}{re.sub(r'[^0-9]', '', found[2]) or '0'}.{found[3] or '0'}{found[4] or ''}")


def _decides(mark: str, group: str) -> str:
    """Return a pattern of numbers that can be read only with one decimal mark."""
    m, g = re.escape(mark), re.escape(group)
    return (
        rf"^[^0-9.,]*(?:[0-9]*{m}(?:[0-9]{{1,2}}|[0-9]{{4,}})|0{m}[0-9]{{3}}|[0-9]{{4,}}{m}[0-9]{{3}}"
        rf"|[0-9]{{1,3}}(?:{g}[0-9]{{3}})+{m}[0-9]+|[0-9]{{1,3}}(?:{g}[0-9]{{3}}){{2,}})[^0-9.,]*$"
    )


DECIDES = {".": _decides(".", ","), ",": _decides(",", ".")}
_EITHER = r"^[^0-9.,]*[1-9][0-9]{0,2}[.,][0-9]{3}[^0-9.,]*$"


def settle_marks(columns: Mapping[str, Cells], decimal: str, separator: str | None) -> tuple[dict[str, str], str]:
    """Return the decimal mark of each column, and a note where it had to be assumed.

    A column whose numbers can be read one way only keeps that mark. The others take the mark of most such columns;
    without any, the one that puts more numbers into the range of their column; failing that, a comma in a file
    that separates by semicolons, and a point elsewhere.
    """
    texts = {name: cells.trimmed for name, cells in columns.items() if cells.words is not None}
    if decimal != "auto":
        return dict.fromkeys(columns, decimal), ""
    own: dict[str, str] = {}
    for name, words in texts.items():
        votes = {
            mark: pc.sum(pc.match_substring_regex(words, pattern)).as_py() or 0 for mark, pattern in DECIDES.items()
        }
        if votes["."] != votes[","]:
            own[name] = max(votes, key=votes.__getitem__)
        elif name == "spin_rpm":  # no device writes thousandths of a turn: three digits are a group
            for mark, group in ((".", ","), (",", ".")):
                if pc.any(pc.match_substring_regex(words, _EITHER.replace("[.,]", re.escape(group)))).as_py():
                    own[name] = mark
    settled = [mark for name, mark in own.items() if name != "spin_rpm"]
    if settled:
        common = "," if settled.count(",") > settled.count(".") else "."
        return {name: own.get(name, common) for name in columns}, ""
    either = {name: words.filter(pc.match_substring_regex(words, _EITHER)) for name, words in texts.items()}
    if not any(len(words) for words in either.values()):
        return dict.fromkeys(columns, "."), ""
    fits = {mark: sum(_in_range(name, words.to_pylist(), mark) for name, words in either.items()) for mark in ".,"}
    usual = "," if separator == ";" else "."
    common = usual if fits["."] == fits[","] else max(fits, key=fits.__getitem__)
    word = {".": "point", ",": "comma"}[common]
    return dict.fromkeys(columns, common), f"No number settles the decimal mark: it is read as a {word}."


def _in_range(column: str, words: list[str], mark: str) -> int:
    low, high = COLUMNS[column].low, COLUMNS[column].high
    cell = _CellReader(column, mark)
    numbers = [read[0] * (read[1] or 1) for read in map(cell.read, words) if read is not None]
    return sum(low <= number <= high for number in numbers)


def _mask(values: pa.Array) -> np.ndarray:
    return np.asarray(values.to_numpy(zero_copy_only=False), dtype=bool)
