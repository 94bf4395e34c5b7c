"""Whether a spread is more than none: likelihood ratio test by parametric bootstrap.

An SD of 0 lies on the boundary of what is possible, where twice the log likelihood ratio does not follow chi-square
with as many degrees of freedom as parameters were left out; its distribution is therefore simulated.
"""

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.errors import FitError, need, need_seed
from coachlab.mixed.bootstrap import PORTION, counting, made_seed, truth_of
from coachlab.mixed.draw import draw, source
from coachlab.mixed.fit import Fit
from coachlab.mixed.hold import empty, find
from coachlab.mixed.infer import Inference
from coachlab.mixed.many import Responses, fit_many
from coachlab.mixed.solve import search

CHANCE = 1e-6  # how far below 0 a ratio may come by where two searches ended


@dataclass(frozen=True, eq=False)
class SpreadTest:
    """Test of one SD against none.

    table    one row: group, term, sd, ratio (fall of the criterion that the spread brings), p, refits
    ratios   the same fall in each refit without the spread in truth
    failed   columns reason, refits
    seed     of the draws
    """

    table: pd.DataFrame
    ratios: np.ndarray
    failed: pd.DataFrame
    seed: int

    def text(self) -> str:
        """Return one sentence, and one on failures if there were any."""
        row = self.table.iloc[0]
        reached = round(row["p"] * (row["refits"] + 1)) - 1
        first = (
            f"SD of {row['term']} over {row['group']} {row['sd']:.3g}: leaving it out raises the criterion by "
            f"{row['ratio']:.3g}; of {row['refits']} data sets simulated without it {reached} came to as much "
            f"(p {row['p']:.3g}, seed {self.seed})."
        )
        lost = [f"{row.refits} failed: {row.reason}" for row in self.failed.itertuples()]
        return "\n".join([first, *lost])

    def _repr_html_(self) -> str:
        return f"<p>{self.text()}</p>"


def spread_test(
    fit: Fit, group: str, term: str = "Intercept", refits: int = 1000, seed: int | None = None, progress: bool = False
) -> SpreadTest:
    """Test of one random SD against none, by simulating from the model without it.

    Parameters
    ----------
    fit : Fit
        From `fit_mixed`, from moments too.
    group, term : str
        The effect as it stands in ``fit.components``, such as ``"student", "on"``; its correlations go with it.
    refits : int
        How many data sets are simulated.
    seed : int, optional
        Of the draws; one is made up and kept in the answer if none is given.
    progress : bool
        Show a progress bar.

    Returns
    -------
    SpreadTest
        Its p is (1 + refits that reach the ratio) / (1 + refits), so never 0.

    Raises
    ------
    FitError
        If the model has no such effect, its SD is held fixed, or no refit succeeds.

    References
    ----------
    Self, Liang, J. American Statistical Association 82 (1987) 605 (why not chi-square); Davison, Hinkley, Bootstrap
    Methods and their Application (1997), section 4.2.
    """
    need(
        fit, Fit, f"testing the SD of {term} over {group}", "fit", "Pass what fit_mixed(formula, data) gives.", FitError
    )
    asked = f"testing the SD of {term} over {group} in {fit.formula}"
    if not (isinstance(refits, int | np.integer) and refits >= 2):
        raise FitError(asked, f"refits={refits!r}", "Give a whole number of 2 or more; 1000 for a p-value.")
    need_seed(seed, asked, FitError)
    problem = fit.problem
    t, effect = find(problem, group, term, asked)
    without, near = empty(problem, fit.inference.optimum.x, t, effect)
    bare = search(without, near)
    truth = truth_of(without, Inference(without, bare))
    seed, held, ratios = made_seed(seed), source(problem), []
    failed: Counter[str] = Counter()
    rng = np.random.default_rng(seed)
    with counting(refits, progress) as step:
        for first in range(0, refits, PORTION):
            batch = Responses(*draw(held, truth, min(PORTION, refits - first), rng))
            small, large = fit_many(without, bare.x, batch), fit_many(problem, fit.inference.optimum.x, batch)
            for i in range(batch.count):
                reason = small.failed.get(i) or large.failed.get(i)
                fall = float(small.point.value[i] - large.point.value[i])
                if reason is None and fall < -CHANCE * max(1.0, abs(float(small.point.value[i]))):
                    reason = "the larger model ended above the smaller"
                if reason is None:
                    ratios.append(max(fall, 0.0))
                else:
                    failed[reason] += 1
            step(batch.count)
    if not ratios:
        raise FitError(asked, f"none of {refits} refits succeeded: {next(iter(failed))}", "Simplify the random terms.")
    ratio = max(float(bare.point.value[0]) - fit.criterion, 0.0)
    p = (1 + sum(each >= ratio - CHANCE for each in ratios)) / (1 + len(ratios))
    named = fit.components[(fit.components["group"] == group) & fit.components["other"].isna()].set_index("term")
    row = {"group": group, "term": term, "sd": float(named.loc[term, "sd_or_corr"]), "ratio": ratio, "p": p}
    lost = pd.DataFrame({"reason": pd.Series(list(failed), dtype="str"), "refits": list(failed.values())})
    return SpreadTest(
        pd.DataFrame([row | {"refits": len(ratios)}]), np.array(ratios), lost.astype({"refits": int}), seed
    )
