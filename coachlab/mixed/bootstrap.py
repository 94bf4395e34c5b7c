"""Bootstrap of a fit: any number it gives, over responses drawn from it or over whole levels drawn anew."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.errors import FitError, need, need_seed, need_share
from coachlab.mixed.cases import Levels, split
from coachlab.mixed.draw import Truth, draw, source
from coachlab.mixed.fit import Fit
from coachlab.mixed.infer import Inference
from coachlab.mixed.many import Many, Responses, fit_many
from coachlab.mixed.problem import Problem
from coachlab.mixed.solve import SINGULAR, minimise

PORTION = 250  # refits between two steps of the progress bar
Statistic = Callable[[Fit], float | Mapping[str, float] | pd.Series]


@dataclass(frozen=True, eq=False)
class Bootstrap:
    """What some numbers of a fit came to in refits.

    table     columns name, estimate (of the fit itself), se (SD over refits), low, high (percentiles), refits
    draws     one row a refit that succeeded, one column a number
    failed    columns reason, refits: what did not succeed, and why
    singular  share of the refits with a random direction without variance
    drawn     what was drawn: "responses", or the factor whose levels were
    seed      of the draws; the same seed gives the same numbers
    level     of the intervals
    """

    table: pd.DataFrame
    draws: pd.DataFrame
    failed: pd.DataFrame
    singular: float
    drawn: str
    seed: int
    level: float

    def text(self) -> str:
        """Say what was done and how much of it failed, then one sentence a number."""
        lost = int(self.failed["refits"].sum())
        asked = len(self.draws) + lost
        what = "responses drawn from the fit" if self.drawn == "responses" else f"levels of {self.drawn} drawn anew"
        first = f"{asked} refits to {what}, seed {self.seed}; {lost or 'none'} failed"
        first += f", {100 * self.singular:.0f} % were singular."
        lines = [
            f"{row.name}: {row.estimate:.3g} ({100 * self.level:.3g} % interval {row.low:.3g} to {row.high:.3g})."
            for row in self.table.itertuples(index=False)
        ]
        reasons = [f"{row.refits} failed: {row.reason}" for row in self.failed.itertuples()]
        return "\n".join([first, *lines, *reasons])

    def _repr_html_(self) -> str:
        first, *_ = self.text().split("\n")
        shown = self.failed.to_html(index=False) if len(self.failed) else ""
        return f"<p>{first}</p>{self.table.to_html(index=False, float_format='{:.4g}'.format)}{shown}"


def bootstrap(
    fit: Fit,
    statistic: Statistic | None = None,
    by: str | None = None,
    refits: int = 1000,
    seed: int | None = None,
    level: float = 0.95,
    progress: bool = False,
) -> Bootstrap:
    """Intervals of any numbers of a fit, from refits to simulated responses or to levels drawn anew.

    Parameters
    ----------
    fit : Fit
        From `fit_mixed`; from moments too, unless `by` is given.
    statistic : callable, optional
        Takes a Fit and returns a number, or named numbers. Without it: all coefficients, SDs and correlations, for
        which the refits are made together and quickest.
    by : str, optional
        A grouping factor whose whole levels are drawn with replacement, such as ``"student"``. Without it responses
        are drawn from the fitted model.
    refits : int
        How many.
    seed : int, optional
        Of the draws; one is made up and kept in the answer if none is given.
    level : float
        Level of the percentile intervals.
    progress : bool
        Show a progress bar.

    Returns
    -------
    Bootstrap

    Raises
    ------
    FitError
        If `by` is no factor of the model, the fit has no rows to draw levels from, or no refit succeeds.

    References
    ----------
    Davison, Hinkley, Bootstrap Methods and their Application (1997), chapters 2 and 3.

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> rng = np.random.default_rng(1)
    >>> table = pd.DataFrame({"g": np.repeat(np.arange(12), 6), "x": [0, 1] * 36})
    >>> table["y"] = table["x"] + rng.normal(0, 1, 12)[table["g"]] + rng.normal(0, 1, 72)
    >>> found = bootstrap(fit_mixed("y ~ x + (1 | g)", table), refits=200, seed=3)
    >>> found.table["name"].to_list()
    ['Intercept', 'x', 'sd Intercept over g', 'sd residual']
    """
    need(fit, Fit, "bootstrapping a fit", "fit", "Pass what fit_mixed(formula, data) gives.", FitError)
    asked = f"bootstrapping {fit.formula}"
    if not (isinstance(refits, int | np.integer) and refits >= 2):
        raise FitError(asked, f"refits={refits!r}", "Give a whole number of 2 or more; 1000 for an interval.")
    need_share(level, asked, error=FitError)
    do = "Give a function of a fit that returns a number or named numbers, or None for the model's own."
    need(statistic, (Callable, type(None)), asked, "statistic", do, FitError)  # type: ignore[arg-type]
    need(by, (str, type(None)), asked, "by", "Name a grouping factor, or None to draw responses.", FitError)
    need_seed(seed, asked, FitError)
    seed = made_seed(seed)
    rng = np.random.default_rng(seed)
    own = _numbers(statistic(fit), asked) if statistic else standard(fit)
    rows, singular = [], []
    failed: Counter[str] = Counter()
    with counting(refits, progress) as step:
        for found, empty in _refits(fit, by, refits, rng, statistic):
            if isinstance(found, str):
                failed[found] += 1
            else:
                rows.append(found)
                singular.append(empty)
            step(1)
    if not rows:
        raise FitError(asked, f"none of {refits} refits succeeded: {next(iter(failed))}", "Simplify the random terms.")
    draws = pd.DataFrame(rows, columns=list(own)).astype(float)
    low, high = np.quantile(draws.to_numpy(), [0.5 - 0.5 * level, 0.5 + 0.5 * level], axis=0)
    table = pd.DataFrame(
        {
            "name": list(own),
            "estimate": list(own.values()),
            "se": draws.std(axis=0, ddof=1).to_numpy(),
            "low": low,
            "high": high,
            "refits": len(draws),
        }
    )
    lost = pd.DataFrame({"reason": pd.Series(list(failed), dtype="str"), "refits": list(failed.values())})
    return Bootstrap(
        table, draws, lost.astype({"refits": int}), float(np.mean(singular)), by or "responses", seed, level
    )


def made_seed(seed: int | None) -> int:
    """Seed as given, or one made up, so that it can be said."""
    return int(np.random.default_rng().integers(2**32)) if seed is None else int(seed)


def standard(fit: Fit) -> dict[str, float]:
    """All coefficients, SDs and correlations of a fit by name; those not estimable are left out."""
    numbers = {fit.terms[j]: float(b) for j, b in zip(fit.problem.kept, fit.inference.beta, strict=True)}
    for row in fit.components.itertuples(index=False):
        if row.group == "residual":
            name = f"sd residual {row.term}" if isinstance(row.term, str) else "sd residual"
        elif isinstance(row.other, str):
            name = f"correlation {row.term}, {row.other} over {row.group}"
        else:
            name = f"sd {row.term} over {row.group}"
        numbers[name] = float(row.sd_or_corr)
    return numbers


def truth_of(problem: Problem, inference: Inference) -> Truth:
    """Parameters of a fit, to draw responses from."""
    x, sigma = inference.optimum.x, inference.sigma
    ratios = np.exp(np.r_[0.0, x[len(problem.free) :][: problem.strata - 1]])
    return Truth(inference.optimum.point.beta[0], [sigma * f for f in problem.factors_at(x)], sigma * ratios)


def made_fit(many: Many, i: int) -> Fit:
    """Fit of one of several responses."""
    problem, found = many.alone(i)
    return Fit(problem, Inference(problem, found), None)


@contextmanager
def counting(total: int, shown: bool) -> Iterator[Callable[[int], None]]:
    """Progress bar, if it is to be shown, as a function of the steps made."""
    if not shown:
        yield lambda _: None
        return
    from rich.progress import Progress  # heavy, and rarely asked for

    with Progress(transient=True) as bar:
        task = bar.add_task("refits", total=total)
        yield lambda n: bar.advance(task, n)


def _refits(fit, by, refits, rng, statistic):
    """Numbers of each refit and whether it is singular; or why there are none, and None."""
    problem, many = fit.problem, None
    for batch in _drawn(fit, by, refits, rng):
        if isinstance(batch, Levels) and not batch.parts.widest:
            yield from _one_by_one(fit, batch, statistic)
            continue
        many = fit_many(problem, fit.inference.optimum.x, batch)
        together = None if statistic else _standard_many(fit, many)
        empty = _singular(many)
        for i in range(batch.count):
            if i in many.failed:
                yield many.failed[i], None
            elif together is not None:
                yield together[i], empty[i]
            else:
                yield _tried(statistic, made_fit(many, i)), empty[i]


def _drawn(fit, by, refits, rng):
    """Portions of what is drawn."""
    problem = fit.problem
    if by is None:
        held, truth = source(problem), truth_of(problem, fit.inference)
    else:
        parts = split(problem, fit.design, by)
    for first in range(0, refits, PORTION):
        count = min(PORTION, refits - first)
        if by is None:
            yield Responses(*draw(held, truth, count, rng))
        else:
            yield Levels(parts, rng.integers(0, len(parts.cells), (count, len(parts.cells))))


def _one_by_one(fit, batch, statistic):
    """Do as `_refits` where the factor's levels share others, which then have to be put together for each draw."""
    old = fit.inference.optimum
    for i in range(batch.count):
        try:
            problem = batch.alone(fit.problem, i)
            found = minimise(problem) if fit.singular else minimise(problem, old.x, old.hessian)
        except (FitError, np.linalg.LinAlgError) as err:
            yield str(err), None
            continue
        if not found.record.converged:
            yield f"the search did not converge: {found.record.why}", None
            continue
        drawn = Fit(problem, Inference(problem, found), None)
        yield _tried(statistic or standard, drawn), found.record.singular


def _tried(statistic, fit):
    """Numbers of a refit, or why there are none."""
    try:
        values = list(_numbers(statistic(fit), "reading the statistic").values())
    except Exception as err:  # of whoever wrote the statistic; counted and shown, as every failure is
        return f"the statistic failed: {type(err).__name__}: {err}"
    return values if np.isfinite(values).all() else "the statistic is not a finite number"


def _numbers(found, asked):
    """Statistic as named numbers."""
    if isinstance(found, pd.Series | Mapping):
        named = {str(name): found[name] for name in found}
    else:
        values = np.atleast_1d(np.asarray(found, float))
        named = {"value" if len(values) == 1 else f"value {i + 1}": v for i, v in enumerate(values)}
    try:
        return {name: float(value) for name, value in named.items()}
    except (TypeError, ValueError) as err:
        raise FitError(
            asked, f"the statistic gave {found!r}", "It has to return a number, or numbers by name."
        ) from err


def _factors_many(many):
    """Factors F of each term, sigma^2 F F' being the covariance, shape (count, k, k), in the order of the effects."""
    problem = many.problem
    theta = problem.unpack(many.x)[0]
    result = []
    for t, term in enumerate(problem.terms):
        size, order = term.size, list(problem.layers.orders[t])
        factor = np.zeros((len(theta), size, size))
        at = problem.layers.first_parameter[t]
        for j in range(size):
            factor[:, order[j:], j] = theta[:, at : at + size - j]
            at += size - j
        result.append(factor * problem.scale[list(term.columns)][:, None])
    return result


def _standard_many(fit, many):
    """Do as `standard` for all refits at once, shape (count, numbers)."""
    problem, sigma = many.problem, many.point.sigma
    beta = many.point.beta @ fit.inference.uncentre.T
    if fit.inference._ones is not None:
        beta = beta + fit.inference._ones * problem.moments.centre[-1]
    columns = [beta]
    for factor in _factors_many(many):
        covariance = factor @ factor.swapaxes(1, 2)
        sd = np.sqrt(np.einsum("nii->ni", covariance))
        columns.append(sigma[:, None] * sd)
        row, other = np.triu_indices(sd.shape[1], 1)
        with np.errstate(invalid="ignore", divide="ignore"):
            columns.append(covariance[:, row, other] / (sd[:, row] * sd[:, other]))
    first = len(problem.free)
    ratios = np.exp(np.column_stack([np.zeros(len(sigma)), many.x[:, first : first + problem.strata - 1]]))
    return np.column_stack([*columns, sigma[:, None] * ratios])


def _singular(many):
    """Whether each refit has a random direction without variance."""
    lowest = np.full(len(many.x), np.inf)
    for term, factor in zip(many.problem.terms, _factors_many(many), strict=True):
        if term.group not in many.problem.fixed:
            own = np.abs(np.einsum("nii->ni", np.linalg.qr(factor.swapaxes(1, 2))[1]))
            lowest = np.minimum(lowest, own.min(axis=1))
    return lowest < SINGULAR
