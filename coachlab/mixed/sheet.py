"""Small tables ready to be shown, on a page or as text, and numbers with as many digits as they deserve."""

import html
import re
from dataclasses import dataclass

import numpy as np

SHORT = 36  # letters of a label that stays on one line
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


@dataclass(frozen=True)
class Sheet:
    """A small table ready to be shown: heads, rows of texts, and titles between them.

    A row of one text is a title, below which rows stand indented; an empty one ends that. Columns in `words` hold
    words, the others numbers.
    """

    caption: str
    heads: tuple[str, ...]
    rows: list[tuple[str, ...]]
    words: tuple[int, ...] = (0,)

    def html(self) -> str:
        """Return the table as HTML, decimal points below each other."""
        head = "".join(
            f'<th scope="col" class="{self._kind(i)}">{html.escape(name)}</th>' for i, name in enumerate(self.heads)
        )
        after, lines, kind = self._after(), [], ""
        for row in self.rows:
            if len(row) == 1:
                kind = "inside" if row[0] else "next"
                if row[0]:
                    title = html.escape(row[0])
                    lines.append(f'<tr class="part"><th scope="rowgroup" colspan="{len(self.heads)}">{title}</th></tr>')
                continue
            short = ' class="short"' if len(row[0]) <= SHORT else ""
            cells = [f'<th scope="row"{short}>{html.escape(row[0])}</th>']
            for i, text in enumerate(row[1:], 1):
                pad = self._pad(i, text, after)
                hidden = f'<span class="pad" aria-hidden="true">{pad}</span>' if pad else ""
                cells.append(f'<td class="{self._kind(i)}">{html.escape(text)}{hidden}</td>')
            lines.append(f'<tr class="{kind}">{"".join(cells)}</tr>')
            kind = "" if kind == "next" else kind
        title = f"<caption>{html.escape(self.caption)}</caption>" if self.caption else ""
        return f"<table>{title}<thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table>"

    def text(self) -> str:
        """Return the table as lines of text, columns below each other."""
        after = self._after()
        rows, inside = [self.heads], False
        for row in self.rows:
            if len(row) == 1:
                inside = bool(row[0])
                rows += [row] if inside else []
                continue
            padded = [text + " " * len(self._pad(i, text, after)) for i, text in enumerate(row[1:], 1)]
            rows.append(("  " * inside + row[0], *padded))
        width = [max(len(row[i]) for row in rows if len(row) > 1) for i in range(len(self.heads))]
        lines = [self.caption] if self.caption else []
        for row in rows:
            cells = [
                text.ljust(w) if i in self.words else text.rjust(w)
                for i, (text, w) in enumerate(zip(row, width, strict=False))
            ]
            lines.append("  ".join(cells).rstrip() if len(row) > 1 else row[0])
        return "\n".join(lines)

    def _kind(self, i):
        return "words" if i in self.words else "number"

    def _after(self):
        """Return the most decimals in each column."""
        whole = [row for row in self.rows if len(row) > 1]
        return [max((_decimals_in(row[i]) for row in whole), default=0) for i in range(len(self.heads))]

    def _pad(self, i, text, after):
        """Return what is missing at the right for the decimal points to stand below each other."""
        if i in self.words or not re.search(r"\d$", text):
            return ""
        own = _decimals_in(text)
        return ("." if after[i] and not own else "") + "0" * (after[i] - own)


def _decimals_in(text):
    found = re.search(r"\.(\d+)$", text)
    return len(found.group(1)) if found else 0


def decimals(se: float) -> int | None:
    """Return how many decimals an estimate with this error deserves: two digits of the error; None: none would do.

    >>> decimals(0.34), decimals(0.0123), decimals(25.0), decimals(1e-9)
    (2, 3, 0, None)
    """
    if not np.isfinite(se) or se <= 0:
        return None
    digits = max(0, 1 - int(np.floor(np.log10(se) + 1e-9)))
    return digits if digits <= 6 else None


def number(value: float, digits: int | None) -> str:
    """Return a number with these decimals, a true minus and thousands apart; without decimals given, three digits.

    >>> number(-1234.56, 1), number(-0.0001, 2), number(1.23456e-9, None), number(float("nan"), 1)
    ('−1,234.6', '0.00', '1.23 × 10⁻⁹', '–')
    """
    if not np.isfinite(value):
        return "–" if np.isnan(value) else "∞" if value > 0 else "−∞"
    if digits is not None:
        return f"{round(value, digits) + 0.0:,.{digits}f}".replace("-", "−")
    if value == 0 or 1e-4 <= abs(value) < 1e6:
        return f"{value:.3g}".replace("-", "−")
    mantissa, power = f"{value:.2e}".split("e")
    return f"{mantissa} × {ten(int(power))}".replace("-", "−")


def ten(power: int) -> str:
    """Return a power of ten."""
    return "10" + str(power).translate(_RAISED)
