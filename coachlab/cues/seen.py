"""What twelve looks at the model of one cue are made of: everything that a picture draws, computed once."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse, stats

from coachlab.cues.blocks import paired_means
from coachlab.cues.ladder import Answer
from coachlab.cues.parts import Part
from coachlab.cues.verdict import study_verdict
from coachlab.errors import FitError
from coachlab.mixed.envelope import Envelope, Lineup, effect_envelopes, lineup, residual_envelope, simulated
from coachlab.mixed.fit import Fit
from coachlab.mixed.influence import leave_out
from coachlab.mixed.residuals import Slope, added_slope, residuals
from coachlab.mixed.scatter import Neighbours, Spread, neighbours, spread_by
from coachlab.settings import Settings

PANELS = 8
"""Simulated sets beside the real one."""


@dataclass(frozen=True, eq=False)
class Screening:
    """How the shift goes with the screening value, and what regression to the mean alone would show.

    ``slope`` with ``low``, ``high`` and ``p`` is of the shift on the screening value; ``alone`` the slope that a
    change since screening would have with no cue at all, found from how the students' own plain means go with it, and
    missing where the screening measure is not the outcome; ``line`` has ``at estimate low high alone`` over the range.
    ``model`` is slope, low and high of the pattern's model (`pattern_shifts`), where the lessons let it be asked.
    """

    measure: str
    students: int
    slope: float
    low: float
    high: float
    p: float
    alone: float
    line: pd.DataFrame
    model: tuple[float, float, float] | None = None


@dataclass(frozen=True, eq=False)
class Seen:
    """Everything that the twelve pictures draw; None where the rung of the model does not give it.

    blocks      student session block period on shots mean se: the block means in order
    students    student plain cued shift low high shrunken shrunken_low shrunken_high pattern shots
    outlier     p of the student farthest from the others (Grubbs)
    jump        share of simulated sets with a block as far from its student's own mean as the farthest here
    rough       two-sided share of simulated sets whose neighbouring blocks differ as much, or as little
    shots       student block on period shot_in_session residual standardised, a row a shot (a block on rung d)
    by_shot     shot mean low high: the residuals brought together by shot number
    by_slope    shot mean low high: what a slope by shot number would explain of them
    robust      mean, low, high of the students' shifts from block means that give far shots less weight
    without     student rows estimate low high verdict change: one student left out
    panels      panel student session period on away: block means of the real and the simulated sets, from the
                student's own mean
    """

    blocks: pd.DataFrame
    students: pd.DataFrame
    outlier: float
    robust: tuple[float, float, float]
    screening: Screening | None
    jump: float = np.nan
    rough: float = np.nan
    shots: pd.DataFrame | None = None
    by_shot: pd.DataFrame | None = None
    by_slope: pd.DataFrame | None = None
    residual: Envelope | None = None
    effects: dict[tuple[str, str], Envelope] | None = None
    spreads: dict[str, Spread] | None = None
    drift: Slope | None = None
    neighbours: Neighbours | None = None
    without: pd.DataFrame | None = None
    lineup: Lineup | None = None
    panels: pd.DataFrame | None = None


def see(
    part: Part,
    table: pd.DataFrame,
    answer: Answer,
    outcome: str,
    club: str,
    settings: Settings,
    sets: int,
    seed: int,
    level: float,
) -> Seen:
    """Return all that the looks at one cue need.

    Parameters
    ----------
    part : Part
        The lessons of the cue.
    table : DataFrame
        The rows of ``part.rows`` with all columns of the model table, in the same order.
    answer : Answer
        The model of the cue.
    outcome, club : str, str
        The outcome's column, and the club.
    settings : Settings
        For the verdict without one student.
    sets, seed, level
        Simulated sets, seed, level of the intervals and bands.
    """
    fit = answer.fit
    sigma = fit.sigma if fit is not None else float(table.groupby("block", observed=True)[outcome].std().mean())
    by_shots = fit is not None and len(fit.design.kept) == len(table)  # type: ignore[union-attr]
    # on rung d the residual is that of block means weighted by shots: for each shot, as it is elsewhere
    students = _students(part, answer, sigma, level)
    blocks = part.blocks[["student", "session", "block", "period", "on", "shots", "mean"]].reset_index(drop=True)
    half = stats.norm.ppf(0.5 + 0.5 * level) * sigma / np.sqrt(blocks["shots"])
    blocks = blocks.assign(low=blocks["mean"] - half, high=blocks["mean"] + half)
    shift = students["shift"].to_numpy()
    common = (blocks, students, _grubbs(shift), _robust(table, outcome, part.cue, sigma, level))
    screening = _screening(students, table, outcome, level)
    if fit is None:
        return Seen(*common, screening)
    rows = table if by_shots else blocks.set_index("block").loc[list(dict.fromkeys(table["block"]))].reset_index()
    left = residuals(fit).table
    rows = rows.iloc[left.index].reset_index(drop=True)
    kept = [name for name in ("student", "session", "block", "on", "period", "shot_in_session") if name in rows]
    shots = rows[kept].assign(residual=left["conditional"].to_numpy(), standardised=left["standardised"].to_numpy())
    real, drawn = simulated(fit, _block_statistics(rows), sets, seed + 2)
    hidden = lineup(fit, PANELS, seed + 3)
    drift = _drift(fit, rows, level) if by_shots else None
    return Seen(
        *common,
        screening,
        jump=(1 + int((drawn[0] >= real[0]).sum())) / (1 + sets),
        rough=_two_sided(real[1], drawn[1]),
        shots=shots,
        by_shot=_by_shot(shots, level) if by_shots else None,
        residual=residual_envelope(fit, sets, seed, level),
        effects=effect_envelopes(fit, sets, seed + 1, level),
        spreads=_spreads(fit, rows, level) if by_shots else None,
        drift=drift,
        by_slope=_by_slope(drift, shots) if drift is not None else None,
        neighbours=neighbours(shots["residual"], shots["block"], shots["shot_in_session"], shots["student"], level)
        if by_shots
        else None,
        without=_without(fit, answer, judge(part, settings, outcome, club, len(students)), level),
        lineup=hidden,
        panels=_panels(rows, hidden),
    )


def _students(part: Part, answer: Answer, within: float, level: float) -> pd.DataFrame:
    """Each student's own shift with its error, and the same drawn towards the students' mean by the model."""
    students = paired_means(part.blocks, part.cue)
    fit, side = answer.fit, part.blocks["on"].to_numpy() > 0
    block_sd = 0.0
    if fit is not None:
        sds = fit.components[fit.components["other"].isna()].set_index("group")["sd_or_corr"]
        block_sd = float(sds.get("block", 0.0))
    noise = block_sd**2 + within**2 / part.blocks["shots"].to_numpy(float)
    variance = np.zeros(len(students))
    for mine in (side, ~side):
        blocks = pd.DataFrame({"student": part.blocks["student"].to_numpy()[mine], "noise": noise[mine]})
        found = blocks.groupby("student")["noise"].agg(["sum", "size"]).loc[students["student"].astype("str")]
        variance += (found["sum"] / found["size"] ** 2).to_numpy()
    half = stats.norm.ppf(0.5 + 0.5 * level) * np.sqrt(variance)
    students = students.drop(columns="cue").assign(
        low=students["shift"] - half, high=students["shift"] + half, shrunken=np.nan
    )
    if fit is None:
        return students.assign(shrunken_low=np.nan, shrunken_high=np.nan)
    terms = fit.problem.terms
    t, i = next(
        (t, i)
        for t, term in enumerate(terms)
        for i, name in enumerate(term.names)
        if term.group == "student" and name in ("on", "on_h")
    )
    place = {label: at for at, label in enumerate(fit.problem.labels[terms[t].factor])}
    level_of = np.array([place[str(name)] for name in students["student"]])
    pick = np.zeros((len(students), terms[t].size))
    pick[:, i] = 1.0
    wanted = np.repeat([[float(name == "on") for name in fit.terms]], len(students), axis=0)
    estimate, spread, _ = fit.inference.predict(wanted, {t: (level_of, pick)}, {}, None)
    half = stats.norm.ppf(0.5 + 0.5 * level) * np.sqrt(spread)
    return students.assign(shrunken=estimate, shrunken_low=estimate - half, shrunken_high=estimate + half)


def _grubbs(shift: np.ndarray) -> float:
    """How often the farthest of so many normal values lies so far from their mean (at most; two-sided)."""
    n, sd = len(shift), shift.std(ddof=1)
    if n < 3 or sd == 0:
        return 1.0
    g = np.abs(shift - shift.mean()).max() / sd
    most = (n - 1) / np.sqrt(n)
    if g >= most * (1 - 1e-12):
        return 0.0
    t = g * np.sqrt(n * (n - 2) / ((n - 1) ** 2 - n * g**2))
    return float(min(1.0, 2 * n * stats.t.sf(t, n - 2)))


def _robust(table: pd.DataFrame, outcome: str, cue: str, scale: float, level: float) -> tuple[float, float, float]:
    """Mean shift with interval from Huber's block means (k = 1.345): a far shot counts as one at the edge."""
    codes = pd.factorize(table["block"])[0]
    values, count = table[outcome].to_numpy(float), np.bincount(codes)
    mean = table.groupby(codes)[outcome].median().to_numpy()
    spread = max(1.4826 * float(np.median(np.abs(values - mean[codes]))), 1e-12 * max(scale, 1e-300))
    for _ in range(30):
        pulled = np.clip((values - mean[codes]) / spread, -1.345, 1.345)
        inside = np.bincount(codes, np.abs(pulled) < 1.345)
        mean = mean + spread * np.bincount(codes, pulled) / np.maximum(inside, 0.5 * count)
    first = table.iloc[np.unique(codes, return_index=True)[1]]
    blocks = pd.DataFrame(
        {"student": first["student"].astype("str"), "on": first["on"].to_numpy(), "mean": mean, "shots": count}
    )
    shift = paired_means(blocks, cue)["shift"].to_numpy()
    half = stats.t.ppf(0.5 + 0.5 * level, len(shift) - 1) * shift.std(ddof=1) / np.sqrt(len(shift))
    return float(shift.mean()), float(shift.mean() - half), float(shift.mean() + half)


def _screening(students: pd.DataFrame, table: pd.DataFrame, outcome: str, level: float) -> Screening | None:
    """Regression of the students' shifts on their screening value; None with fewer than six screened students."""
    known = students[students["pattern"].notna()]
    n = len(known)
    if n < 6 or known["pattern"].std() == 0:
        return None
    measure = str(table["pattern_of"].iloc[0]) if "pattern_of" in table else outcome
    x, y = known["pattern"].to_numpy(), known["shift"].to_numpy()
    centre = float(x.mean())
    spread = float(((x - centre) ** 2).sum())
    slope = float((x - centre) @ y / spread)
    rest = float(((y - y.mean() - slope * (x - centre)) ** 2).sum()) / (n - 2)
    se = np.sqrt(rest / spread)
    half = stats.t.ppf(0.5 + 0.5 * level, n - 2) * se
    p = float(2 * stats.t.sf(abs(slope) / se, n - 2)) if se > 0 else np.nan
    at = np.linspace(x.min(), x.max(), 41)
    middle = y.mean() + slope * (at - centre)
    band = stats.t.ppf(0.5 + 0.5 * level, n - 2) * np.sqrt(rest / n + se**2 * (at - centre) ** 2)
    line = pd.DataFrame({"at": at, "estimate": middle, "low": middle - band, "high": middle + band, "alone": np.nan})
    alone = np.nan
    if measure == outcome:
        plain = known["plain"].to_numpy()
        alone = float((x - centre) @ plain / spread) - 1.0
        line["alone"] = plain.mean() - centre + alone * (at - centre)
    return Screening(measure, n, slope, slope - half, slope + half, p, alone, line)


def _block_statistics(rows: pd.DataFrame):
    """Statistics of the block means about their student's own: the farthest, and how much neighbours differ."""
    block = pd.factorize(rows["block"])[0]
    first = np.unique(block, return_index=True)[1]
    session = pd.factorize(rows["session"])[0][first]
    order = np.lexsort([rows["period"].to_numpy(float)[first], session])
    follows = session[order][1:] == session[order][:-1]
    average = sparse.csr_array((1.0 / np.bincount(block)[block], (block, np.arange(len(block)))))

    def statistics(model, responses):
        solutions, _ = model.solve(responses)
        means = average @ (responses - model.fixed(solutions) - model.part(solutions, ("student",)))
        size = (means**2).mean(axis=0)
        steps = (np.diff(means[order], axis=0)[follows] ** 2).mean(axis=0) if follows.any() else np.ones_like(size)
        return np.stack([np.abs(means).max(axis=0) / np.sqrt(size), steps / size])

    return statistics


def _two_sided(real: float, drawn: np.ndarray) -> float:
    above, below = int((drawn >= real).sum()), int((drawn <= real).sum())
    return min(1.0, 2 * (1 + min(above, below)) / (1 + len(drawn)))


def _by_shot(shots: pd.DataFrame, level: float) -> pd.DataFrame:
    """Mean residual of a run of shot numbers, about twelve runs of like size, with an interval by students."""
    number = shots["shot_in_session"].to_numpy(float)
    edges = np.unique(np.quantile(number, np.linspace(0, 1, 13)))
    run = np.clip(np.searchsorted(edges, number, side="right") - 1, 0, max(len(edges) - 2, 0))
    student, residual = pd.factorize(shots["student"])[0], shots["residual"].to_numpy()
    rows = []
    for which in np.unique(run):
        mine = run == which
        size = np.bincount(student[mine])
        own, size = np.bincount(student[mine], residual[mine])[size > 0], size[size > 0]
        mean, n = own.sum() / size.sum(), len(own)
        half = np.nan
        if n > 1:
            scatter = ((own - mean * size) ** 2).sum()
            half = stats.t.ppf(0.5 + 0.5 * level, n - 1) * np.sqrt(n / (n - 1) * scatter) / size.sum()
        rows.append((number[mine].mean(), mean, mean - half, mean + half))
    return pd.DataFrame(rows, columns=["shot", "mean", "low", "high"])


def _by_slope(drift: Slope, shots: pd.DataFrame) -> pd.DataFrame:
    """Mean of what a slope would explain at each shot number, with its ends: period and blocks take their part off."""
    number, codes = np.unique(shots["shot_in_session"].to_numpy(float), return_inverse=True)
    free = np.bincount(codes, drift.column) / np.bincount(codes)
    ends = np.sort(np.stack([drift.low * free, drift.high * free]), axis=0)
    return pd.DataFrame({"shot": number, "mean": drift.estimate * free, "low": ends[0], "high": ends[1]})


def _spreads(fit: Fit, rows: pd.DataFrame, level: float) -> dict[str, Spread]:
    side = np.where(rows["on"].to_numpy() > 0, "with the cue", "plain")
    columns = {"club": rows["club"], "side": side, "student": rows["student"]}
    return {name: spread_by(fit, [str(label) for label in column], name, level) for name, column in columns.items()}


def _drift(fit: Fit, rows: pd.DataFrame, level: float) -> Slope | None:
    try:
        return added_slope(fit, rows["shot_in_session"].to_numpy(float), "student", level)
    except FitError:
        return None  # the shot number is a sum of columns in the model, as where it does not vary


def judge(
    part: Part, settings: Settings, outcome: str, club: str, students: int
) -> Callable[[float, float, float], str]:
    """Return the rule that gives a verdict on estimate, standard error and df, for so many students."""
    blocks = part.blocks
    aim = int(blocks.loc[blocks["on"] > 0, "direction"].iloc[0]) if "direction" in blocks else 1
    useful = settings.smallest_useful_shift(outcome, club)

    def verdict(estimate: float, se: float, df: float) -> str:
        grade = part.grade.grade
        return study_verdict(estimate, se, df, useful, students, grade, settings.verdict_students, aim)

    return verdict


def _without(fit: Fit, answer: Answer, verdict: Callable[[float, float, float], str], level: float) -> pd.DataFrame:
    """Find the shift without one student after the other, and the verdict there, by the rule for all of them."""
    found = leave_out(fit, "student", "on", level=level).table
    df = np.minimum(found["df"], len(found) - 2)
    half = stats.t.ppf(0.5 + 0.5 * level, df) * found["se"]
    return pd.DataFrame(
        {
            "student": found["level"],
            "rows": found["rows"],
            "estimate": found["estimate"],
            "low": found["estimate"] - half,
            "high": found["estimate"] + half,
            "verdict": [verdict(*each) for each in zip(found["estimate"], found["se"], df, strict=True)],
            "change": found["estimate"] - answer.estimate,
        }
    )


def _panels(rows: pd.DataFrame, hidden: Lineup) -> pd.DataFrame:
    """Block means of every panel, from the student's own mean there."""
    block = pd.factorize(rows["block"])[0]
    first = rows.iloc[np.unique(block, return_index=True)[1]][["student", "session", "period", "on"]]
    count, student = np.bincount(block), pd.factorize(first["student"])[0]
    panels = []
    for panel, values in enumerate(hidden.responses.T, 1):
        mean = np.bincount(block, values) / count
        own = np.bincount(student, mean) / np.bincount(student)
        panels.append(first.assign(panel=panel, away=mean - own[student]))
    return pd.concat(panels, ignore_index=True)
