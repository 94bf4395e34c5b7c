"""How fits and estimates show themselves: as a reader would print them, on a page or as text."""

import html
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from coachlab.mixed.sheet import Sheet, decimals, number, ten

if TYPE_CHECKING:
    from coachlab.mixed.estimates import Estimates
    from coachlab.mixed.fit import Coefficients, Fit
    from coachlab.mixed.newcomer import NewLevel

NOTHING = 1e-4  # of the residual SD: a spread below this is none
MOST_ROWS = 30  # of a table of predictions; the rest stands in .table
METHODS = {
    "satterthwaite": "Satterthwaite's",
    "kenward-roger": "Kenward and Roger's",
    "residual": "residual",
}
_LEVEL = re.compile(r"^(.*)\[(?:T\.)?(.*)\]$")
_STYLE = """<style>
.mixed-fit {line-height: 1.45; overflow-x: auto}
.mixed-fit p, .mixed-fit .mind {max-width: 46em}
.mixed-fit p {margin: .4em 0}
.mixed-fit .asked {font-size: 1.1em}
.mixed-fit .quiet {opacity: .75}
.mixed-fit table {border-collapse: collapse; margin: .8em 0 .5em; font-size: 1em; font-variant-numeric: tabular-nums}
.mixed-fit caption {text-align: left; font-weight: 600; padding-bottom: .3em; caption-side: top; color: inherit}
.mixed-fit table thead th {border-bottom: 1px solid; font-weight: 600; vertical-align: bottom; padding: .2em .7em}
.mixed-fit table tbody tr:nth-child(n) {background: none; border: 0}
.mixed-fit table tbody th, .mixed-fit table tbody td {padding: .12em .7em; border: 0; font-weight: 400}
.mixed-fit table tr > :first-child {padding-left: 0; text-align: left; min-width: 9em; overflow-wrap: break-word}
.mixed-fit table tr > .short {white-space: nowrap}
.mixed-fit table tr > .number {text-align: right; white-space: nowrap}
.mixed-fit table tr > .words {text-align: left}
.mixed-fit table tbody tr.part th {font-weight: 600; padding-top: .6em; text-align: left}
.mixed-fit table tbody tr.inside > th {padding-left: 1.2em}
.mixed-fit table tbody tr.next > * {padding-top: .6em}
.mixed-fit table tbody tr:last-child > * {border-bottom: 1px solid #8886}
.mixed-fit .mind {border-left: 3px solid #de8f05; padding-left: .8em; margin: .8em 0}
.mixed-fit .mind ul {margin: .2em 0; padding-left: 1.2em}
.mixed-fit .pad {visibility: hidden}
</style>"""


def fit_html(fit: "Fit") -> str:
    """Return a fit as a page shows it: what was asked of which rows, estimates, spreads, what to mind."""
    asked, rows, how = _opening(fit)
    mind = "".join(f"<li>{html.escape(check)}</li>" for check in fit.checks)
    return (
        f'{_STYLE}<div class="mixed-fit"><p class="asked">{html.escape(asked)}</p>'
        f"<p>{html.escape(rows)}</p>{_coefficients(fit.coefficients(), fit, p=False).html()}"
        f'{_spreads(fit).html()}<p class="quiet">{html.escape(_TWO_THIRDS)}</p>'
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


_TWO_THIRDS = "About two in three levels lie within one SD of their average, and two in three rows within their levels."
_FINE = "Nothing to mind: the search ended at a minimum and no spread at zero."


def coefficients_html(found: "Coefficients") -> str:
    """Return fixed effects as a page shows them."""
    return f'{_STYLE}<div class="mixed-fit">{_coefficients(found).html()}<p class="quiet">{_df_by(found.df)}</p></div>'


def coefficients_text(found: "Coefficients") -> str:
    """Return fixed effects in a sentence each."""
    return " ".join(_say(row.term, row._asdict(), found.level) for row in found.table.itertuples())


def estimates_html(found: "Estimates") -> str:
    """Return means, differences or predictions as a page shows them."""
    notes = "".join(f"<p>{_prose(note)}</p>" for note in found.notes)
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
    return f'{_STYLE}<div class="mixed-fit"><p>{_prose(found.text())}</p></div>'


def _opening(fit):
    """Return what was asked, of how many rows and levels, and how it was found."""
    m, problem = fit.problem.moments, fit.problem
    fixed = [" × ".join(sorted(term, key=m.coding.variables.index)) for term in m.coding.together if term]
    groups = _listed(dict.fromkeys(term.group for term in problem.terms))
    asked = f"{m.coding.formula.response} by {_listed(fixed)}" if fixed else f"The mean of {m.coding.formula.response}"
    order = sorted(range(len(problem.factors)), key=lambda f: -max(t.size for t in problem.terms if t.factor == f))
    sizes = ", ".join(f"{len(problem.labels[f]):,} {'levels ' * (f == order[0])}of {problem.factors[f]}" for f in order)
    rows = f"{m.rows:,} rows; {sizes}."
    if m.strata[0]:
        rows += f" Each of the {len(m.strata[1])} levels of {m.strata[0]} has its own residual spread."
    if fit.design is not None and fit.design.weights is not None:
        rows += " Rows are weighted."
    kind = "Restricted maximum likelihood" if fit.reml else "Maximum likelihood"
    how = f"{kind}, criterion (−2 log likelihood) {number(fit.criterion, 2)}. {_df_by('satterthwaite')}"
    return f"{asked}, grouped by {groups}.", rows, how


def _df_by(method):
    return f"Degrees of freedom: {METHODS[method]}."


def _coefficients(found, fit=None, p=True):
    """Return the sheet of fixed effects; the levels of a factor stand together below its name."""
    factors = {} if fit is None else fit.problem.moments.coding.factors
    rows: list[tuple[str, ...]] = []
    parts = [_taken_apart(term) for term in found.table["term"]]
    names = [names for names, _ in parts]
    power, df_digits = _scales(found.table)
    before: object = None
    for (own, levels), row in zip(parts, found.table.to_dict("records"), strict=True):
        together = bool(levels) and names.count(own) > 1
        if together and own != before:
            rows.append((_title(own, factors),))
        elif not together and before is not None:
            rows.append(("",))
        before = own if together else None
        label = " × ".join(levels) if together else _title(own, factors, levels)
        rows.append((label, *_cells(row, p, power, df_digits)))
    heads = ("", "estimate", "SE", f"{100 * found.level:.3g} % interval", "df", *(["p"] if p else []))
    return Sheet("Estimates" + _in_units(power), heads, rows)


def _scales(table):
    """Return the power of ten in which the whole table is told, and the decimals of df."""
    se = table["se"].to_numpy(float)
    se = se[np.isfinite(se) & (se > 0)]
    power = 0
    if len(se) and (se.max() < 1e-4 or se.min() >= 1e7):
        power = 3 * int(np.floor(np.log10(se.max()) / 3))
    return power, int((table["df"] < 10).any())


def _in_units(power):
    return f", in units of {ten(power)}" if power else ""


def _taken_apart(term):
    """Return the columns of a coefficient, and its levels: ``a[T.x]:b`` gives ("a", "b") and ("x",)."""
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


def _cells(row, p, power=0, df_digits=1):
    """Return estimate, SE, interval, df and p of one row as texts."""
    if np.isnan(row["estimate"]):
        return ("not estimable", *[""] * (3 + p))
    estimate, se, low, high = (row[name] / 10.0**power for name in ("estimate", "se", "low", "high"))
    digits = decimals(se)
    texts = [number(estimate, digits), number(se, digits), f"{number(low, digits)} to {number(high, digits)}"]
    return (*texts, number(row["df"], df_digits), *([_probability(row["p"])] if p else []))


def _probability(p):
    return "–" if np.isnan(p) else "< 0.001" if p < 0.001 else f"{p:.3f}"


def _spreads(fit):
    """Return the sheet of the SDs between levels and within them."""
    table = fit.components
    rows: list[tuple[str, ...]] = []
    paired: dict[tuple, list[str]] = {}
    for row in table[table["other"].notna() & table["sd_or_corr"].notna()].itertuples():
        paired.setdefault((row.group, row.other), []).append(f"{number(row.sd_or_corr, 2)} with {_what(row.term)}")
    levels = dict(zip(fit.problem.factors, map(len, fit.problem.labels), strict=True))
    usual = {
        (term.group, name): 1.0 / fit.problem.scale[column]  # of the column, so that an SD can be told from none
        for term in fit.problem.terms
        for name, column in zip(term.names, term.columns, strict=True)
    }
    sds = table[table["other"].isna()]
    largest = (sds["sd_or_corr"] * [usual.get(key, 1.0) for key in zip(sds["group"], sds["term"], strict=True)]).max()
    before = None
    for row in sds.itertuples():
        size = usual.get((row.group, row.term), 1.0)
        if row.group == "residual":
            name, what = "within levels (residual)", "one row" if pd.isna(row.term) else f"one row, {row.term}"
        else:
            name, what = f"between {levels[row.group]:,} levels of {row.group}", _what(row.term)
        unit = largest / 10.0 if 0.1 < size < 10.0 else largest / size / 10.0
        sd = "0" if row.sd_or_corr * size < NOTHING * fit.sigma else number(row.sd_or_corr, decimals(unit))
        held = " (held)" if row.group in fit.problem.fixed else ""
        rows.append(("" if name == before else name, what, sd + held, "; ".join(paired.get((row.group, row.term), []))))
        before = name
    heads = ("", "of", "SD", "correlation")
    if not paired:
        rows, heads = [row[:3] for row in rows], heads[:3]
    return Sheet("Spread", heads, rows, words=(0, 1, 3))


def _what(term):
    return "the mean" if term == "Intercept" else str(term)


def _estimates(found):
    """Return the sheet of means, differences or predictions."""
    table = found.table.head(MOST_ROWS)
    by = table["by"] if "by" in table and table["by"].notna().any() else None
    p = "p" in table
    rows: list[tuple[str, ...]] = []
    before, (power, df_digits) = None, _scales(found.table)
    for place, (index, row) in enumerate(zip(table.index, table.to_dict("records"), strict=True)):
        if by is not None and by.iloc[place] != before:
            before = by.iloc[place]
            rows.append((f"at {before}",))
        adjusted = [_probability(row["p_adjusted"])] if p and not _same(table) else []
        adjusted = [""] * len(adjusted) if np.isnan(row["estimate"]) else adjusted
        rows.append((_name_of(index, row, with_by=False), *_cells(row, p, power, df_digits), *adjusted))
    rows += [(text, *[""] * (4 + p)) for text in _more(found.table)]
    heads = ["", "estimate", "SE", f"{100 * found.level:.3g} % interval", "df", *(["p"] if p else [])]
    return Sheet(
        found.question + _in_units(power), (*heads, *(["p, adjusted"] if p and not _same(table) else [])), rows
    )


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
    """Return which coefficients have no estimate, in a sentence each."""
    return " ".join(f"{name} is not estimable." for j, name in enumerate(fit.terms) if j not in fit.problem.kept)


def _listed(names: Iterable[str]) -> str:
    names = list(names)
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _prose(text):
    """Return a sentence for a page; a number keeps its per cent sign on one line."""
    return html.escape(re.sub(r"(?<=\d) %", "\u00a0%", text))
