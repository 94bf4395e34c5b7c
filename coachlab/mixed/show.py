"""How fits and estimates show themselves: as a reader would print them, on a page or as text."""

import html
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from coachlab.mixed.estimates import Estimates
    from coachlab.mixed.fit import Coefficients, Fit
    from coachlab.mixed.newcomer import NewLevel

MOST_ROWS = 30  # of a table of predictions; the rest stands in .table
METHODS = {
    "satterthwaite": "Satterthwaite's",
    "kenward-roger": "Kenward and Roger's",
    "residual": "residual",
}
_LEVEL = re.compile(r"^(.*)\[(?:T\.)?(.*)\]$")
_STYLE = """<style>
.mixed-fit {max-width: 46em; line-height: 1.45}
.mixed-fit p {margin: .4em 0}
.mixed-fit .asked {font-size: 1.1em}
.mixed-fit .quiet {opacity: .75}
.mixed-fit table {border-collapse: collapse; margin: .8em 0 .5em; font-size: 1em; font-variant-numeric: tabular-nums}
.mixed-fit caption {text-align: left; font-weight: 600; padding-bottom: .3em; caption-side: top; color: inherit}
.mixed-fit table thead th {border-bottom: 1px solid; font-weight: 600; vertical-align: bottom; padding: .2em .9em}
.mixed-fit table tbody tr:nth-child(n) {background: none; border: 0}
.mixed-fit table tbody th, .mixed-fit table tbody td {padding: .12em .9em; border: 0; font-weight: 400}
.mixed-fit table tr > :first-child {padding-left: 0; text-align: left; max-width: 22em; overflow-wrap: anywhere}
.mixed-fit table tr > .number {text-align: right; white-space: nowrap}
.mixed-fit table tr > .words {text-align: left}
.mixed-fit table tbody tr.part th {font-weight: 600; padding-top: .6em; text-align: left}
.mixed-fit table tbody tr.inside > th {padding-left: 1.2em}
.mixed-fit table tbody tr:last-child > * {border-bottom: 1px solid #8886}
.mixed-fit .mind {border-left: 3px solid #de8f05; padding-left: .8em; margin: .8em 0}
.mixed-fit .mind ul {margin: .2em 0; padding-left: 1.2em}
.mixed-fit .pad {visibility: hidden}
</style>"""


@dataclass(frozen=True)
class Sheet:
    """A small table ready to be shown: heads, rows of texts, and titles between them; a row of one text is a title."""

    caption: str
    heads: tuple[str, ...]
    rows: list[tuple[str, ...]]
    words: int = 1  # columns of words before those of numbers

    def html(self) -> str:
        """Return the table as HTML, decimal points below each other."""
        head = "".join(
            f'<th scope="col" class="{self._kind(i)}">{html.escape(name)}</th>' for i, name in enumerate(self.heads)
        )
        after, lines, inside = self._after(), [], False
        for row in self.rows:
            if len(row) == 1:
                inside = bool(row[0])
                if inside:
                    title = html.escape(row[0])
                    lines.append(f'<tr class="part"><th scope="rowgroup" colspan="{len(self.heads)}">{title}</th></tr>')
                continue
            cells = [f'<th scope="row">{html.escape(row[0])}</th>']
            for i, text in enumerate(row[1:], 1):
                pad = self._pad(i, text, after)
                hidden = f'<span class="pad" aria-hidden="true">{pad}</span>' if pad else ""
                cells.append(f'<td class="{self._kind(i)}">{html.escape(text)}{hidden}</td>')
            lines.append(f"<tr{' class=' + chr(34) + 'inside' + chr(34) if inside else ''}>{''.join(cells)}</tr>")
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
                text.ljust(w) if i < self.words else text.rjust(w)
                for i, (text, w) in enumerate(zip(row, width, strict=False))
            ]
            lines.append("  ".join(cells).rstrip() if len(row) > 1 else row[0])
        return "\n".join(lines)

    def _kind(self, i):
        return "words" if i < self.words else "number"

    def _after(self):
        """Most decimals in each column."""
        whole = [row for row in self.rows if len(row) > 1]
        return [max((_decimals_in(row[i]) for row in whole), default=0) for i in range(len(self.heads))]

    def _pad(self, i, text, after):
        """Return what is missing at the right for the decimal points to stand below each other."""
        if i < self.words or not re.search(r"\d$", text):
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
    """Return a number with these decimals, a true minus and thousands apart; without decimals given, four digits.

    >>> number(-1234.56, 1), number(-0.0001, 2), number(1.23456e-9, None), number(float("nan"), 1)
    ('−1,234.6', '0.00', '1.235 × 10^−9', '–')
    """
    if not np.isfinite(value):
        return "–" if np.isnan(value) else "∞" if value > 0 else "−∞"
    if digits is not None:
        return f"{round(value, digits) + 0.0:,.{digits}f}".replace("-", "−")
    if value == 0 or 1e-4 <= abs(value) < 1e7:
        return f"{value:.4g}".replace("-", "−")
    mantissa, power = f"{value:.3e}".split("e")
    return f"{mantissa} × 10^{int(power)}".replace("-", "−")


def fit_html(fit: "Fit") -> str:
    """Return a fit as a page shows it: what was asked of which rows, estimates, spreads, what to mind."""
    asked, rows, how = _opening(fit)
    missing = _not_estimable(fit)
    mind = "".join(f"<li>{html.escape(check)}</li>" for check in fit.checks)
    return (
        f'{_STYLE}<div class="mixed-fit"><p class="asked">{html.escape(asked)}</p>'
        f"<p>{html.escape(rows)}</p>{_coefficients(fit.coefficients(), fit, p=False).html()}"
        + (f"<p>{html.escape(missing)}</p>" if missing else "")
        + f'{_spreads(fit).html()}<p class="quiet">{html.escape(_TWO_THIRDS)}</p>'
        + (f'<div class="mind"><b>To mind</b><ul>{mind}</ul></div>' if mind else f"<p>{_FINE}</p>")
        + f'<p class="quiet">{html.escape(how)}<br><code>{html.escape(fit.formula)}</code></p></div>'
    )


def fit_text(fit: "Fit") -> str:
    """Return a fit as text: what was asked of which rows, estimates, spreads, what to mind."""
    asked, rows, how = _opening(fit)
    missing = _not_estimable(fit)
    table, spreads = _coefficients(fit.coefficients(), fit, p=False).text(), _spreads(fit).text()
    parts = [f"{asked}\n{rows}", table, *([missing] if missing else []), f"{spreads}\n{_TWO_THIRDS}"]
    mind = "\n".join(f"- {check}" for check in fit.checks)
    return "\n\n".join([*parts, f"To mind:\n{mind}" if mind else _FINE, f"{how}\n{fit.formula}"])


_TWO_THIRDS = "About two in three levels lie within one SD of the average."
_FINE = "Nothing to mind: the search ended at a minimum and no spread at zero."


def coefficients_html(found: "Coefficients") -> str:
    """Return fixed effects as a page shows them."""
    return f'{_STYLE}<div class="mixed-fit">{_coefficients(found).html()}<p class="quiet">{_df_by(found.df)}</p></div>'


def coefficients_text(found: "Coefficients") -> str:
    """Return fixed effects in a sentence each."""
    return " ".join(_say(row.term, row._asdict(), found.level) for row in found.table.itertuples())


def estimates_html(found: "Estimates") -> str:
    """Return means, differences or predictions as a page shows them."""
    notes = "".join(f"<p>{html.escape(note)}</p>" for note in found.notes)
    return f'{_STYLE}<div class="mixed-fit">{_estimates(found).html()}{notes}</div>'


def estimates_text(found: "Estimates") -> str:
    """Return means, differences or predictions in a sentence each, with what to mind."""
    rows = found.table.head(MOST_ROWS)
    said = [
        _say(_name_of(index, row), row, found.level)
        for index, row in zip(rows.index, rows.to_dict("records"), strict=True)
    ]
    return " ".join([f"{found.question}:", *said, *_more(found.table), *found.notes])


def new_level_html(found: "NewLevel") -> str:
    """Return the range of an effect in a new level as a page shows it."""
    return f'{_STYLE}<div class="mixed-fit"><p>{html.escape(found.text())}</p></div>'


def _opening(fit):
    """Return what was asked, of how many rows and levels, and how it was found."""
    m, problem = fit.problem.moments, fit.problem
    fixed = [" × ".join(sorted(term, key=m.coding.variables.index)) for term in m.coding.together if term]
    asked = f"{m.coding.formula.response} by {_listed(fixed)}." if fixed else f"{m.coding.formula.response}: its mean."
    order = sorted(range(len(problem.factors)), key=lambda f: -max(t.size for t in problem.terms if t.factor == f))
    sizes = _listed(f"{len(problem.labels[f]):,} {problem.factors[f]}" for f in order)
    rows = f"{m.rows:,} rows, of {sizes} levels."
    if m.strata[0]:
        rows += f" Each of the {len(m.strata[1])} levels of {m.strata[0]} has its own residual spread."
    if fit.design is not None and fit.design.weights is not None:
        rows += " Rows are weighted."
    kind = "Restricted maximum likelihood" if fit.reml else "Maximum likelihood"
    return asked, rows, f"{kind}, criterion {number(fit.criterion, 2)}. {_df_by('satterthwaite')}"


def _df_by(method):
    return f"Degrees of freedom: {METHODS[method]}."


def _coefficients(found, fit=None, p=True):
    """Sheet of fixed effects; the levels of a factor stand together below its name."""
    factors = {} if fit is None else fit.problem.moments.coding.factors
    rows: list[tuple[str, ...]] = []
    parts = [_taken_apart(term) for term in found.table["term"]]
    names = [names for names, _ in parts]
    before: object = None
    for (own, levels), row in zip(parts, found.table.to_dict("records"), strict=True):
        together = bool(levels) and names.count(own) > 1
        if together and own != before:
            rows.append((_title(own, factors),))
        elif not together and isinstance(before, tuple):
            rows.append(("",))
        before = own if together else None
        label = " × ".join(levels) if together else _title(own, factors, levels)
        rows.append((label, *_cells(row, p)))
    heads = ("", "estimate", "SE", f"{100 * found.level:.3g} % interval", "df", *(["p"] if p else []))
    return Sheet("Estimates", heads, rows)


def _taken_apart(term):
    """Columns of a coefficient, and its levels: ``a[T.x]:b`` gives ("a", "b") and ("x",)."""
    names, levels = [], []
    for part in term.split(":"):
        found = _LEVEL.match(part)
        names.append(found.group(1) if found else part)
        levels += [found.group(2)] if found else []
    return tuple(names), tuple(levels)


def _title(names, factors, levels=()):
    title = " × ".join(names)
    if levels:
        title += f" {' × '.join(levels)}"
    base = [str(factors[name][0]) for name in names if name in factors]
    return f"{title}, against {' × '.join(base)}" if base and len(names) == 1 else title


def _cells(row, p):
    """Estimate, SE, interval, df and p of one row as texts."""
    if np.isnan(row["estimate"]):
        return ("not estimable", *[""] * (3 + p))
    digits = decimals(row["se"])
    texts = [number(row["estimate"], digits), number(row["se"], digits)]
    texts.append(f"{number(row['low'], digits)} to {number(row['high'], digits)}")
    texts.append(number(row["df"], 1 if row["df"] < 100 else 0))
    return (*texts, *([_probability(row["p"])] if p else []))


def _probability(p):
    return "–" if np.isnan(p) else "< 0.001" if p < 0.001 else f"{p:.3f}"


def _spreads(fit):
    """Sheet of the SDs between levels and within them."""
    table = fit.components
    sds = table.loc[table["other"].isna(), "sd_or_corr"]
    digits = decimals(sds.max() / 10.0)
    rows: list[tuple[str, ...]] = []
    paired = {}
    for row in table[table["other"].notna()].itertuples():
        paired.setdefault((row.group, row.other), []).append(f"{number(row.sd_or_corr, 2)} with {_what(row.term)}")
    levels = dict(zip(fit.problem.factors, map(len, fit.problem.labels), strict=True))
    before = None
    for row in table[table["other"].isna()].itertuples():
        if row.group == "residual":
            name, what = (
                "within all of these",
                "one row" if row.term is None or pd.isna(row.term) else f"one row, {row.term}",
            )
        else:
            name, what = f"between {levels[row.group]:,} levels of {row.group}", _what(row.term)
        sd = "0" if row.sd_or_corr == 0 else number(row.sd_or_corr, digits)
        held = " (held)" if row.group in fit.problem.fixed else ""
        with_others = "; ".join(paired.get((row.group, row.term), []))
        rows.append(("" if name == before else name, what, sd + held, with_others))
        before = name
    heads = ("", "of", "SD", "correlation")
    if not paired:
        rows, heads = [row[:3] for row in rows], heads[:3]
    return Sheet("Spread", heads, rows, words=2)


def _what(term):
    return "the mean" if term == "Intercept" else str(term)


def _estimates(found):
    """Sheet of means, differences or predictions."""
    table = found.table.head(MOST_ROWS)
    by = table["by"] if "by" in table and table["by"].notna().any() else None
    p = "p" in table
    rows: list[tuple[str, ...]] = []
    before = None
    for place, (index, row) in enumerate(zip(table.index, table.to_dict("records"), strict=True)):
        if by is not None and by.iloc[place] != before:
            before = by.iloc[place]
            rows.append((str(before),))
        adjusted = [_probability(row["p_adjusted"])] if p and not _same(table) else []
        cells = _cells(row, p)
        rows.append((_name_of(index, row, with_by=False), *cells, *adjusted))
    rows += [(text, *[""] * (4 + p)) for text in _more(found.table)]
    heads = ["", "estimate", "SE", f"{100 * found.level:.3g} % interval", "df", *(["p"] if p else [])]
    return Sheet(found.question, (*heads, *(["p, adjusted"] if p and not _same(table) else [])), rows)


def _same(table):
    return (table["p"].isna() | (table["p"] == table["p_adjusted"])).all()


def _more(table):
    return [f"and {len(table) - MOST_ROWS:,} rows more in .table"] if len(table) > MOST_ROWS else []


def _name_of(index, row, with_by=True):
    name = f"{row['a']} against {row['b']}" if "a" in row else str(row.get("level", f"row {index}"))
    return f"{name} at {row['by']}" if with_by and isinstance(row.get("by"), str) else name


def _say(name, row, level):
    if np.isnan(row["estimate"]):
        return f"{name} is not estimable."
    digits = decimals(row["se"])
    low, high, df = (
        number(row["low"], digits),
        number(row["high"], digits),
        number(row["df"], 1 if row["df"] < 100 else 0),
    )
    return f"{name} {number(row['estimate'], digits)} ({100 * level:.3g} % interval {low} to {high}, df {df})."


def _not_estimable(fit):
    """Which coefficients have no estimate, in a sentence each."""
    return " ".join(f"{name} is not estimable." for j, name in enumerate(fit.terms) if j not in fit.problem.kept)


def _listed(names: Iterable[str]) -> str:
    names = list(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
