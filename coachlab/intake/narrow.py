"""Whether somebody's shots scatter too little to be all of them: logs of the best shots where no counter shows a gap.

Who leaves out the bad shots leaves a narrower scatter with cut-off tails. It is held against the other coaches' (or
files'), club by club, a student being one case: students differ in how evenly they strike, and that is the error.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy import stats

from coachlab.errors import need, need_share
from coachlab.intake.audit import kept_in
from coachlab.intake.findings import Findings, counted, found
from coachlab.intake.journal import Log
from coachlab.intake.shots import Shots
from coachlab.schema import COLUMNS

KEPT_BY = {
    "carry_m": "carry", "side_out_m": "side", "launch_out_deg": "start to the side", "attack_up_deg": "attack",
    "face_open_deg": "face", "strike_toe_mm": "strike across", "strike_high_mm": "strike up and down",
}  # fmt: skip
"""What somebody may choose shots by, or what is chosen along with it."""
FAR = 0.8
"""How many times the others' scatter is little enough to be said; an assumption."""
LEFT = {"three": 0.6, "four": 0.7}
"""What the best three, or four, shots in five by distance from the target leave of the scatter of carry, to a tenth, in
simulated academies."""
LEAST_OF_BLOCK, LEAST_OF_STUDENT, LEAST_STUDENTS = 4, 12, 2
"""Shots in one go; shots beyond one a block of a student; students of a coach, and of all others."""
SKEWED = 0.5
"""How much less skewed to the short side carry must be for its short misses to count as gone; an assumption."""
SURE = 0.95
"""How often a scatter must be found to count as one that could have been found."""
_LONG = ("carry_m", "side_out_m")


class _Compared(NamedTuple):
    """One group's scatter against the others' by one reading: log ratio, its error, degrees of freedom, counts."""

    group: str
    reading: str
    where: str
    log: float
    se: float
    df: float
    p: float
    students: int
    others: int


@dataclass(frozen=True, eq=False)
class _Scatter:
    """Deviations within blocks of one reading, and the log SD of each student's with each club."""

    shots: pd.DataFrame
    cases: pd.DataFrame


def audit_scatter(shots: Shots, log: Log | None = None, level: float = 0.95) -> Findings:
    """Return the coaches, or the files where no coach is known, whose shots scatter too little to be all of them.

    Parameters
    ----------
    shots : Shots
        Cleaned, with student and one of `KEPT_BY`. Joined with the log the scatter is that within blocks, else that
        within a visit; cue blocks are then held against plain ones besides.
    log : path, folder, sequence of paths, or DataFrame, optional
        The lesson log, to name its files.
    level : float
        One minus the chance that anybody who keeps every shot is named.

    Raises
    ------
    DataError
        If `shots` are none, or `level` is no share.

    Notes
    -----
    By reading, student and club: the log SD within blocks, far shots pulled in to 3 robust SDs, carry and side as a
    share of the student's carry. Its mean over a coach's students, less the others' with the same clubs, is held
    against its error between students (pooled or Welch's, whichever says less), one-sided, with Bonferroni's correction
    for coaches and readings. With blocks, the log SD of cue less that of plain blocks of the same student likewise,
    which is free of how good the students are. A coach is not named if most of the shots come from files whose numbers
    show a gap somewhere: there `audit_logging` sees what is left out. In simulated academies of 38 students and 3 or 4
    coaches one who keeps the best 60 % of the shots of each block, or of each cue block, is found in at least 95 of
    100. One who leaves out only the worst fifth of the cue shots, judged by the attack or path that the cue is for,
    leaves .85 of their scatter and is mostly missed: only a counter shows that.

    References
    ----------
    B. L. Welch, Biometrika 34 (1947) 28.
    """
    asked = "An audit of the scatter of shots was asked for."
    need(shots, Shots, asked, "shots", "Give what read_shots and clean_shots return.")
    need_share(level, asked)
    table = counted(shots)
    readings = [name for name in KEPT_BY if name in table and table[name].notna().any()]
    if "student" not in table or not readings or not table["student"].notna().any():
        return found([], "Scatter: this needs student and one of carry, side, attack, face, strike.")
    by = "coach" if "coach" in table and table["coach"].notna().any() else "source"
    table = table[table["student"].notna() & table[by].notna()]
    groups = table[by].astype("str")
    numbered = _numbered(shots, groups)
    suspects = [name for name in sorted(groups.unique()) if name not in numbered]
    if not suspects:
        return found([], "Scatter: not looked at, as the shot numbers themselves show what is left out.")
    if groups.nunique() < 2:
        what = "coach" if by == "coach" else "file"
        return found([], f"Scatter: there is one {what} only, and so nobody to hold the shots against.")
    everyone = [one for name in readings for one in _compare(_scatter(table, name, groups), name)]
    mine = [one for one in everyone if one.group in suspects]
    alpha = (1 - level) / max(len(mine), 1)
    rows = []
    for name in suspects:
        narrow = [one for one in mine if one.group == name and one.p < alpha and one.log <= np.log(FAR)]
        if narrow:
            where = f"coach {name}{kept_in(shots, name, log)}" if by == "coach" else name
            rows.append(_row(where, narrow, alpha, table, groups))
    return found(rows, _power(mine, suspects, alpha, by))


def _numbered(shots: Shots, groups: pd.Series) -> list[str]:
    """Return the groups most of whose shots come from files whose numbers show a gap: a counter that ran on."""
    table = shots.table
    if "shot" not in table or "session" not in table:
        return []
    kinds = {"session": "str", "source": "str", "shot": float}
    both = pd.concat([part[list(kinds)].astype(kinds) for part in (table, shots.rejects) if len(part)])
    both = both[both["session"].notna() & both["shot"].between(0, COLUMNS["shot"].high)]
    of = both.groupby("session", sort=False)["shot"].agg(["min", "max", "nunique"])
    gaps = of.index[of["max"] - of["min"] + 1 > of["nunique"]]
    files = set(both.loc[both["session"].isin(gaps), "source"])
    share = table.loc[groups.index, "source"].astype("str").isin(files).groupby(groups).mean()
    return share.index[share > 0.5].tolist()


def _scatter(table: pd.DataFrame, name: str, groups: pd.Series) -> _Scatter:
    """Return how far each shot lies from the middle of its block, and each student's log SD with each club."""
    keys = [key for key in ("student", "session", "club", "block") if key in table]
    frame = pd.DataFrame({key: pd.factorize(table[key])[0] for key in keys}, index=table.index)
    frame["group"] = groups
    frame["phase"] = table["phase"].astype("str") if "phase" in table else ""
    frame["value"] = table[name].to_numpy(dtype=float, na_value=np.nan)
    if name in _LONG and "carry_m" in table:
        usual = table["carry_m"].astype(float).groupby([frame[key] for key in keys if key in ("student", "club")])
        frame["value"] /= usual.transform("median").where(lambda carry: carry > 0)
    frame = frame[frame["value"].abs() < 1e6]  # beyond, and no number: a misread in any unit
    cell = frame.groupby(keys, sort=False).ngroup()
    frame = frame.assign(cell=cell)[cell.groupby(cell).transform("size").to_numpy() >= LEAST_OF_BLOCK]
    case = [key for key in ("group", "student", "club") if key in frame]
    away = frame["value"] - frame.groupby("cell")["value"].transform("median")
    bound = 3 * 1.4826 * away.abs().groupby([frame[key] for key in case]).transform("median")
    away = away.clip(-bound, bound)
    frame["away"] = away - away.groupby(frame["cell"]).transform("mean")
    return _Scatter(frame, _cases(frame, case))


def _cases(frame: pd.DataFrame, case: list[str]) -> pd.DataFrame:
    """Return one row a case: its log SD, and the degrees of freedom behind it."""
    by = frame.assign(square=frame["away"] ** 2).groupby(case, sort=False)
    sums = by.agg(square=("square", "sum"), shots=("square", "size"), cells=("cell", "nunique")).reset_index()
    sums["df"] = sums["shots"] - sums["cells"]
    sums = sums[(sums["df"] >= LEAST_OF_STUDENT) & (sums["square"] > 0)]
    return sums.assign(log=0.5 * np.log(sums["square"] / sums["df"]))


def _compare(scatter: _Scatter, name: str) -> Iterator[_Compared]:
    """Hold each group against all others: all shots, and cue blocks against plain ones."""
    yield from _against(scatter.cases, name, "all")
    frame = scatter.shots
    case = [key for key in ("group", "student", "club") if key in frame]
    cue, plain = (_cases(frame[frame["phase"].isin(kind)], case) for kind in (["cue"], ["plain", "sham"]))
    both = cue.merge(plain, on=case, suffixes=("", "_plain"))
    if len(both):
        both["log"] -= both["log_plain"]
        both["df"] = 1 / (1 / both["df"] + 1 / both["df_plain"])
        yield from _against(both, name, "cue")


def _against(cases: pd.DataFrame, name: str, where: str) -> Iterator[_Compared]:
    club = cases["club"] if "club" in cases else pd.Series(0, index=cases.index)
    for group in cases["group"].unique():
        mine = (cases["group"] == group).to_numpy()
        usual = cases["log"][~mine].groupby(club[~mine]).mean()
        rest = (cases["log"] - club.map(usual)) * cases["df"]
        known = rest.notna()
        sums = pd.DataFrame({"rest": rest, "df": cases["df"]})[known].groupby([mine[known], cases["student"][known]])
        value = sums["rest"].sum() / sums["df"].sum()
        own, others = (value[value.index.get_level_values(0) == side].to_numpy() for side in (True, False))
        if min(len(own), len(others)) < LEAST_STUDENTS:
            continue
        yield _Compared(group, name, where, *_welch(own, others), len(own), len(others))


def _welch(own: np.ndarray, others: np.ndarray) -> tuple[float, float, float, float]:
    """Return difference of the means, error, degrees of freedom and p (of less), by the error that says less."""
    log, n, m = own.mean() - others.mean(), len(own), len(others)
    a, b = own.var(ddof=1) / n, others.var(ddof=1) / m
    pooled = ((n - 1) * a * n + (m - 1) * b * m) / (n + m - 2) * (1 / n + 1 / m)
    ways = [(pooled, n + m - 2.0)]
    if a + b > 0:
        ways.append((a + b, (a + b) ** 2 / (a**2 / (n - 1) + b**2 / (m - 1))))
    both = [(log, np.sqrt(v), df, float(stats.t.cdf(log / np.sqrt(v), df))) for v, df in ways if v > 0]
    return max(both, key=lambda one: one[3]) if both else (log, np.inf, 1.0, 1.0)


def _row(where: str, narrow: list[_Compared], alpha: float, table: pd.DataFrame, groups: pd.Series) -> tuple:
    """Return a finding: how narrow, how sure, what the shape of carry says, and what else could make it so."""
    one = min(narrow, key=lambda one: (one.where != "all", one.log))
    half = stats.t.ppf(0.975, one.df) * one.se
    ratio, low, high = np.exp([one.log, one.log - half, one.log + half])
    also = [KEPT_BY[other.reading] for other in narrow if other.where == one.where and other is not one]
    told = f" (and in {' and '.join([', '.join(also[:-1]), also[-1]] if also[1:] else also)})" if also else ""
    times = f"{ratio:.2f} times (95 % interval {low:.2f} to {high:.2f})"
    if one.where == "all":
        what = f"the shots scatter {times} as much in {KEPT_BY[one.reading]} as those of the others"
        else_ = "Better players, one task only or a device that smooths its numbers would look alike"
    else:
        what = f"against plain blocks, cue blocks scatter {times} as much in {KEPT_BY[one.reading]} as the others' do"
        else_ = "A cue that steadies the swing, given by nobody else, would look alike"
    what += f"{told}; {one.students} students against {one.others}. It looks like best shots only. {else_}"
    do = "Ask whether every ball is kept, with the device's own numbers; until then trust no cue by these lessons."
    strength = min(stats.t.ppf(one.p, one.df) / stats.t.ppf(alpha, one.df), one.log / np.log(FAR))
    return "scatter", where, one.reading, f"{what}{_shape(table, groups, one)}", do, round(float(strength), 2)


def _shape(table: pd.DataFrame, groups: pd.Series, one: _Compared) -> str:
    """Return whether the short misses are there: who plays better has some, who leaves out the bad shots has none."""
    if "carry_m" not in table:
        return "."
    frame = _scatter(table, "carry_m", groups).shots
    if one.where == "cue":
        frame = frame[frame["phase"] == "cue"]
    mine = frame["group"] == one.group
    if not 0 < mine.sum() < len(mine):
        return "."
    size = (frame["away"] ** 2).groupby(frame["student"]).transform("mean") ** 0.5
    away = (frame["value"] - frame.groupby("cell")["value"].transform("median")) / size.where(size > 0)
    own, others = (float(stats.skew(away[side].dropna().clip(-4, 4))) for side in (mine, ~mine))
    numbers = f"(skew of carry {own:.1f}, the others' {others:.1f})".replace("-", "\N{MINUS SIGN}")
    if own - others > SKEWED:
        return f", but players of any level now and then miss short, and few such shots are here {numbers}."
    return f", and the short misses are there {numbers}; who leaves out the crooked ones alone keeps those too."


def _border(one: _Compared, alpha: float, more: float = 1.0) -> float:
    """Return the ratio that is found `SURE` of the time, with so many times the students."""
    df = (one.df + 2) * more - 2
    se = one.se / np.sqrt(more)
    return float(np.exp(min(stats.t.ppf(alpha, df) * se, np.log(FAR)) - stats.t.ppf(SURE, df) * se))


def _power(compared: list[_Compared], suspects: list[str], alpha: float, by: str) -> str:
    """Return what could have been found with this many shots, and for whom nothing can be told."""
    many = "coaches" if by == "coach" else "files"
    said = [f"Scatter, where no shot number can show a gap: {len(suspects)} {many} held against the others."]
    for where, words in (("all", "all shots"), ("cue", "cue blocks against plain ones")):
        firsts = {one.group: one for one in reversed(compared) if one.where == where}
        border = {name: _border(one, alpha) for name, one in firsts.items()}
        can = [name for name in firsts if border[name] >= 0.5]
        if can:
            reading = KEPT_BY[firsts[can[0]].reading]
            of = "" if len(can) == len(suspects) else f" of {', '.join(can)}"
            said.append(
                f"By {reading}, {words}{of}: {min(border[name] for name in can):.2f} times the others' scatter or less "
                f"is found {SURE:.0%} of the time."
            )
        for name in suspects if where == "all" or firsts else ():
            if name not in firsts:
                said.append(f"{name}, {words}: too few shots or students to tell.")
            elif name not in can:
                one = firsts[name]
                more = next((k for k in np.arange(1.1, 50, 0.1) if _border(one, alpha, k) >= 0.5), 50.0)
                said.append(
                    f"{name}, {words}: too little to tell, as half the others' scatter could be missed; it takes about "
                    f"{np.ceil(more * one.students):.0f} students, and {np.ceil(more * one.others):.0f} of the others."
                )
    if any("is found" in sentence for sentence in said):
        said.append(
            "Of the scatter of carry the best three shots in five by distance from the target leave about "
            f"{LEFT['three']:g}, the best four in five about {LEFT['four']:g}."
        )
    return " ".join(said)
