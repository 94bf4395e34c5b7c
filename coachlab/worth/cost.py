"""Which number of the delivery costs one student most with one club, within what that student can reach."""

import html
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from coachlab.academy.assumptions import Assumptions
from coachlab.errors import DataError
from coachlab.intake.shots import Shots, is_usable, shots_table
from coachlab.physics.aero import ENSEMBLE
from coachlab.physics.air import Air
from coachlab.physics.impact import Delivery, head_of
from coachlab.physics.ops import said
from coachlab.schema import OUTCOMES, show_club
from coachlab.settings import Settings
from coachlab.units import shown
from coachlab.worth.model import ATTACK, LOFT, LOFTS, NAMES, head_of_club, land, number, own_delivery

COST_COLUMNS = ("number", "loft", "along", "own", "se", "reach", "best", "gain_m", "low_m", "high_m")

ALONG = {"attack_up_deg": "carry", "club_speed_mps": "carry", "path_out_deg": "side", "face_open_deg": "side"}
"""The numbers that are asked about, and by what each is judged: carry, or how far beside the line the ball lands."""

LEAST_SHOTS = 10
_OWN_PHASES = ("screen", "plain")
_GRID = 9
_TOLD = 5

SENTENCES = {
    "own": "{shots:,} plain shots in {sessions} {visits} with {club}; a reach is one of the student's own shot-to-shot "
    "SDs, which they come to now and then already.",
    "carry": "With {loft}, this model puts what {number} costs in carry at {gain} ({range}): from {own} to {best}.",
    "side": "With {loft}, this model puts what {number} costs sideways at {gain} ({range}): from {own} to {best}.",
    "one": "{number} costs most under each assumption about loft, beyond the ranges of the others.",
    "several": "Which costs most cannot be told: the ranges of {numbers} overlap, or hang on what loft does.",
    "range": "Each range goes over four models of the ball's flight and the spring of the face, and takes in the "
    "uncertainty of the student's own mean ({level}).",
    "loft": "The delivered loft was not measured; a typical one was taken ({loft}).",
    "model": "These are figures of a model for one number changed alone, head speed and strike else unchanged, and no "
    "promise: attack and path hang together by the arc.",
    "caution": "Before anyone tries to change it: ask for pain today, and stop if it hurts; new, severe or spreading "
    "pain is for a licensed clinician. One hitter a bay; the local rules go first.",
}
"""Everything that may be said of what a number costs; no gain without its assumption."""


@dataclass(frozen=True, eq=False)
class Costs:
    """What each number of a student's delivery costs with one club.

    Attributes
    ----------
    table : DataFrame
        One row for each number under each assumption about loft: `COST_COLUMNS`, the costliest first. ``own`` is the
        student's mean and ``se`` its error, ``best`` the best value within ``reach`` (all in the number's own unit);
        ``gain_m`` is what coming there is worth, in carry or sideways (``along``); ``low_m`` and ``high_m`` its range.
    ranking : tuple of str
        The numbers, the one with the largest gain (mean over the assumptions about loft) first.
    shots, sessions : int
        The plain shots that the student's own delivery is told from, and their visits.
    loft_measured : bool
    student, club, level, settings, delivery
        What was asked, and the student's own mean delivery.
    """

    table: pd.DataFrame
    ranking: tuple[str, ...]
    shots: int
    sessions: int
    loft_measured: bool
    student: str
    club: str
    level: float
    settings: Settings
    delivery: Delivery

    @property
    def clear(self) -> bool:
        """Whether the first number's range lies above those of all others under each assumption."""
        first = self.table[self.table["number"] == self.ranking[0]]
        return bool(first["low_m"].min() > self.table.loc[self.table["number"] != self.ranking[0], "high_m"].max())

    def sentences(self) -> list[str]:
        """Return what may be said, from the closed list."""
        system = self.settings.units
        metres = shown("carry_m", system)
        visits = "visit" if self.sessions == 1 else "visits"
        club = show_club(self.club)
        said = [SENTENCES["own"].format(shots=self.shots, sessions=self.sessions, visits=visits, club=club)]
        if self.clear:
            said.append(SENTENCES["one"].format(number=OUTCOMES[self.ranking[0]].capitalize()))
        else:
            first = self.table.loc[self.table["number"] == self.ranking[0], "low_m"].min()
            near = self.table.groupby("number")["high_m"].max()
            numbers = [OUTCOMES[name] for name in self.ranking if float(near.loc[name]) >= first]
            said.append(SENTENCES["several"].format(numbers=" and ".join([", ".join(numbers[:-1]), numbers[-1]])))
        for row in self.table.itertuples():
            unit = shown(str(row.number), system)
            sign = row.number != "club_speed_mps"
            said.append(
                SENTENCES[str(row.along)].format(
                    loft=LOFTS[str(row.loft)],
                    number=OUTCOMES[str(row.number)],
                    gain=metres.text(row.gain_m),
                    range=metres.span(row.low_m, row.high_m),
                    own=unit.text(row.own, sign=sign),
                    best=unit.text(row.best, sign=sign),
                )
            )
        said.append(SENTENCES["range"].format(level=f"{self.level:.0%}".replace("%", " %")))
        if not self.loft_measured:
            said.append(SENTENCES["loft"].format(loft=f"{float(np.asarray(self.delivery.delivered_loft_deg)):g}°"))
        return [*said, SENTENCES["model"], SENTENCES["caution"]]

    def text(self) -> str:
        """Return all sentences as one text."""
        return " ".join(self.sentences())

    def __repr__(self) -> str:
        return f"<Costs with {self.club}: {', '.join(self.ranking)}>"

    def _repr_html_(self) -> str:
        return "".join(f"<p>{html.escape(sentence)}</p>" for sentence in self.sentences())


def costliest(
    shots: Shots | pd.DataFrame,
    student: str | None = None,
    club: str | None = None,
    air: Air | None = None,
    settings: Settings | None = None,
    level: float = 0.95,
) -> Costs:
    """Return what each number of a student's delivery costs, the costliest first.

    Attack and club speed are judged by carry, path and face by how far beside the line the ball lands; each alone, from
    the student's own mean of plain shots to the best value within one of their own shot-to-shot SDs.

    Parameters
    ----------
    shots : Shots or DataFrame
        Joined shots; screening and plain blocks are looked at, or all shots where no phase is said.
    student : str or None
        None: the one with the most such shots.
    club : str or None
        None: the club with the most such shots, of that student where one is named.
    air : Air or None
        None: 20 degrees at the sea, no wind.
    settings : Settings or None
        The academy's, for units.
    level : float
        Level of the uncertainty of the student's own mean.

    Raises
    ------
    DataError
        If a column, the club or the student is not there, or there are fewer than `LEAST_SHOTS` shots.

    Notes
    -----
    The range of a gain goes over four aerodynamic models times three values of the face's tangential restitution, and
    over the student's own number `level` of its error either way. That error is told from the means of the visits; from
    the shots alone where there is one visit.
    """
    settings, air = settings or Settings(), air or Air()
    asked = "What costs a student most was asked for."
    if not 0 < number(asked, "level", level) < 1:
        raise DataError(asked, f"level is {said(level)}.", "Give a level between 0 and 1, as .95.")
    table = shots_table(shots, asked)
    club = _most_hit(table, student) if club is None else club
    head = head_of_club(club)
    asked = f"What costs a student most with {show_club(club)} was asked for."
    own, who = _own_shots(table, student, club, asked)
    mean, se, sd, measured = _mean_delivery(own, head)
    delivery = Delivery(*mean)
    base = own_delivery(delivery, asked)
    z = float(stats.norm.ppf((1 + level) / 2))
    lofts = ["refitted", "held", "rises"][head != "driver" :]
    rows = [row for loft in lofts for row in _costs(base, se, sd, z, loft, head, air)]
    table = pd.DataFrame(rows)[list(COST_COLUMNS)]
    order = table.groupby("number")["gain_m"].mean().sort_values(ascending=False, kind="stable").index
    place = table["number"].map({name: at for at, name in enumerate(order)})
    table = table.iloc[np.argsort(place.to_numpy(), kind="stable")].reset_index(drop=True)
    sessions = own["session"].nunique() if "session" in own else 1
    return Costs(table, tuple(map(str, order)), len(own), int(sessions), measured, who, club, level, settings, delivery)


def counted_students(shots: Shots | pd.DataFrame) -> pd.DataFrame:
    """Return who can be asked about: ``club student shots``, how many shots `costliest` would take of each.

    Only those with `LEAST_SHOTS` or more.
    """
    table = shots_table(shots, "Students with enough plain shots were looked for.")
    if not {"student", "club", *ALONG} <= set(table.columns):
        return pd.DataFrame({"club": [], "student": [], "shots": []})
    own = table.loc[_own_rows(table), ["club", "student"]].dropna().astype("str")
    counts = own.groupby(["club", "student"], sort=True).size().rename("shots").reset_index()
    return counts[counts["shots"] >= LEAST_SHOTS].reset_index(drop=True)


def _most_hit(table: pd.DataFrame, student: str | None) -> str:
    """Return the club with the most own shots, of one student where one is named; the driver where there are none."""
    if {"student", "club", *ALONG} <= set(table.columns):
        own = table[_own_rows(table)]
        if student is not None:
            own = own[own["student"].astype("str") == student]
        clubs = own["club"].dropna().astype("str").value_counts()
        if len(clubs):
            return str(clubs.index[0])
    return "driver"


def _own_rows(table: pd.DataFrame) -> pd.Series:
    rows = is_usable(table) & table[list(ALONG)].notna().all(axis=1)
    return rows & table["phase"].astype("str").isin(_OWN_PHASES) if "phase" in table else rows


def _own_shots(table: pd.DataFrame, student: str | None, club: str, asked: str) -> tuple[pd.DataFrame, str]:
    missing = [name for name in ("student", "club", *ALONG) if name not in table]
    if missing:
        raise DataError(
            asked,
            f"The shots have no column {', '.join(missing)}.",
            "Map it, or ask with club data.",
            column=missing[0],
        )
    there = table[_own_rows(table) & (table["club"].astype("str") == club)]
    counts = there["student"].astype("str").value_counts(sort=False)
    if student is None:
        student = str(counts.idxmax()) if len(counts) else ""
    _refuse_unknown(table, student, counts, asked)
    found = int(counts.get(student, 0))
    if found < LEAST_SHOTS:
        raise DataError(
            asked,
            f"There are {found} plain shots of {student or 'anybody'} with {show_club(club)}.",
            f"Ask with a student and a club of at least {LEAST_SHOTS} such shots.",
            student=student,
            club=club,
        )
    return there[there["student"].astype("str") == student], student


def _refuse_unknown(table: pd.DataFrame, student: str, counts: pd.Series, asked: str) -> None:
    """Refuse who stands nowhere in the shots, as a name does; some of those who do are told, not all of them."""
    known = set(table["student"].dropna().astype("str").unique())
    if not student or student in known:
        return
    some = [str(name) for name in counts[counts >= LEAST_SHOTS].sort_values(ascending=False).index[:_TOLD]]
    raise DataError(
        asked,
        "There is no such student in the shots: names became pseudonyms when the files were read. Students with "
        f"enough plain shots are{' among others' if len(counts) > len(some) else ''}: {', '.join(some) or 'none'}.",
        "Pass one of these, or study.student_of(...) with the name as it stands in your files.",
    )


def _mean_delivery(own: pd.DataFrame, head: str) -> tuple[list[float], np.ndarray, np.ndarray, bool]:
    """Return mean, standard error and shot-to-shot SD of the delivery's numbers in the order of `NAMES`."""
    mean, se, sd = np.zeros(7), np.zeros(7), np.zeros(7)
    measured = "delivered_loft_deg" in own and bool(own["delivered_loft_deg"].notna().any())
    mean[LOFT] = own["delivered_loft_deg"].mean() if measured else Assumptions().heads[head].loft
    visit = own["session"].astype("str") if "session" in own else pd.Series("", index=own.index)
    for name in ALONG:
        values, at = own[name].astype(float), NAMES.index(name)
        means = values.groupby(visit).mean()
        many = len(means) > 1
        mean[at] = means.mean()
        se[at] = means.std() / np.sqrt(len(means)) if many else values.std() / np.sqrt(len(values))
        sd[at] = np.sqrt(values.groupby(visit).var().mean())
    return mean.tolist(), se, sd, measured


def _costs(
    base: np.ndarray, se: np.ndarray, sd: np.ndarray, z: float, loft: str, head: str, air: Air
) -> list[dict[str, object]]:
    """Return the rows of the table under one assumption about loft."""
    made, names = head_of(head, ""), list(ALONG)
    # for each number: own value as it is, and its error below and above, then the values within reach
    grid = np.linspace(-1, 1, _GRID)
    cases = np.repeat(base[:, None, None, None], len(names), axis=1).repeat(3, axis=2).repeat(_GRID + 1, axis=3)
    for k, name in enumerate(names):
        at = NAMES.index(name)
        off = np.array([0.0, -z * se[at], z * se[at]])
        cases[at, k] = base[at] + off[:, None] + np.append(0.0, grid * sd[at])[None]
    if loft == "rises":
        cases[LOFT] += cases[ATTACK] - base[ATTACK]
    default = land([(cases, loft, made.e_t)], head, air, ENSEMBLE[0])[0]
    score = np.stack([_score(name, default[0][k], default[1][k]) for k, name in enumerate(names)])
    best = np.nanargmax(score[:, 0], axis=1)
    ends = np.stack([cases[:, k, 0, [0, best[k]]] for k in range(len(names))], axis=1)
    gains = []
    for aero in ENSEMBLE:
        for carry, side, _ in land([(ends, loft, e_t) for e_t in (made.e_t, *made.e_t_span)], head, air, aero):
            gains.append([np.diff(_score(name, carry[k], side[k]))[0] for k, name in enumerate(names)])
    by_model = np.array(gains)
    rows: list[dict[str, object]] = []
    for k, name in enumerate(names):
        at = NAMES.index(name)
        # the reach goes with the student's own number, and so does what is best within it
        own = np.nanmax(score[k], axis=1) - score[k, :, 0]
        rows.append(
            {
                "number": name,
                "loft": loft,
                "along": ALONG[name],
                "own": base[at],
                "se": se[at],
                "reach": sd[at],
                "best": cases[at, k, 0, best[k]],
                "gain_m": own[0],
                "low_m": by_model[:, k].min() - max(own[0] - own.min(), 0.0),
                "high_m": by_model[:, k].max() + max(own.max() - own[0], 0.0),
            }
        )
    return rows


def _score(name: str, carry: np.ndarray, side: np.ndarray) -> np.ndarray:
    return carry if ALONG[name] == "carry" else -np.abs(side)
