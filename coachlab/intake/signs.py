"""Which way a column counts, by what physics ties together: a sign that runs the other way in a file, or for a player.

The ball starts between path and face, its spin axis tilts with face to path, it lands where start and tilt send it; on
an inclined arc a steeper attack goes with a path further out; a steeper attack starts the ball lower. Each tie gives a
correlation within players whose sign is known; the turned columns are those that bring most of them into order.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd

from coachlab.intake.findings import Findings, counted, found
from coachlab.intake.shots import Shots
from coachlab.schema import OUTCOMES

TIES = (
    # two columns, the sign of their correlation within a player and club, how much it may say
    ("launch_out_deg", "face_open_deg", 1, 1.0),
    ("launch_out_deg", "path_out_deg", 1, 1.0),
    ("spin_tilt_deg", "face_open_deg", 1, 1.0),
    ("spin_tilt_deg", "path_out_deg", -1, 0.5),
    ("spin_tilt_deg", "face_to_path_deg", 1, 1.0),
    ("face_to_path_deg", "face_open_deg", 1, 0.5),
    ("side_out_m", "launch_out_deg", 1, 1.0),
    ("side_out_m", "spin_tilt_deg", 1, 1.0),
    ("side_out_m", "face_open_deg", 1, 0.5),
    ("face_open_deg", "path_out_deg", 1, 0.5),
    ("path_out_deg", "attack_up_deg", -1, 1.0),
    ("attack_up_deg", "launch_up_deg", 1, 1.0),
)
TURNED = tuple(dict.fromkeys(name for tie in TIES for name in tie[:2] if name != "launch_up_deg"))
"""The columns that may run the other way."""

LEAST_SHOTS, LEAST_OF_PLAYER = 40, 30
MARGIN = 8.0
"""How much better, in units of the correlations' own error, a turned column must fit; four such errors, both ways."""
HAND_Z = 2.0
"""From where a player's path follows the attack the wrong way: about 1 right-hander in 1,000,000 with 100 shots."""
_CAP, _USUAL_ATTACK_DEG, _CAP_MEAN = 20.0, 2.5, 6.0


@dataclass(frozen=True)
class Turned:
    """Which columns seem to run the other way, each with its margin over running as it stands (1 is the border)."""

    columns: Mapping[str, float]
    looked_at: tuple[str, ...]


def find_turned(columns: Mapping[str, np.ndarray], group: np.ndarray) -> Turned:
    """Return which of some columns run against the others.

    Parameters
    ----------
    columns : mapping of str to array, shape (n,)
        Any of `TURNED` and ``launch_up_deg``; other columns are left alone.
    group : int array, shape (n,)
        Player and club of each shot; what differs between them says nothing here.
    """
    there = {name: _centred(columns[name], group) for name in (*TURNED, "launch_up_deg") if name in columns}
    lost = len(np.unique(group))
    pull: list[tuple[str, str, float]] = []
    for one, other, sign, weight in TIES:
        if one in there and other in there:
            z, n = _z_of(there[one], there[other], lost)
            if n >= LEAST_SHOTS:
                pull.append((one, other, weight * sign * float(np.clip(z, -_CAP, _CAP))))
    if not pull:
        return Turned({}, ())
    names = [name for name in TURNED if any(name in pair for *pair, _ in pull)]
    lean = _lean(columns["attack_up_deg"], group) if "attack_up_deg" in names else 0.0

    def score(turned: Mapping[str, int]) -> float:
        tied = sum(turned.get(one, 1) * turned.get(other, 1) * z for one, other, z in pull)
        return tied + turned.get("attack_up_deg", 1) * lean - 0.5 * sum(way < 0 for way in turned.values())

    ways = [dict(zip(names, way, strict=True)) for way in product((1, -1), repeat=len(names))]
    best = max(ways, key=score)
    as_it_is = score(dict.fromkeys(names, 1))
    margins = {}
    for name in names:
        if best[name] < 0:
            kept = max(score(way) for way in ways if way[name] > 0)
            margins[name] = min(score(best) - kept, score(best) - as_it_is) / MARGIN
    return Turned(margins, tuple(names))


def audit_signs(shots: Shots) -> Findings:
    """Return the columns whose plus runs the other way in one of the files, as it does where a map has a side wrong.

    Parameters
    ----------
    shots : Shots
        Cleaned; the files are told apart by ``source``.

    Notes
    -----
    A file needs `LEAST_SHOTS` analysed shots with two columns that are tied. A file in which all sideways columns run
    the other way is found by attack against path; without both it cannot be told from a file of left-handers.
    """
    rows, looked = [], 0
    table = counted(shots)
    if not len(table):
        return found([], "Signs: no shot is analysed.")
    group = _players(table)
    for source, part in table.groupby(table["source"].astype("str"), sort=False):
        here = table.index.get_indexer(part.index)
        turned = find_turned(_numbers(part), group[here])
        looked += bool(turned.looked_at)
        for name, margin in turned.columns.items():
            if margin >= 1:
                word = OUTCOMES.get(name, name)
                rows.append(
                    (
                        "signs", source, name,
                        f"{word} runs against what the other columns say: its plus seems to be the other side.",
                        f"Turn positive of {name} round in the map of this file, and read it again.", round(margin, 2),
                    )
                )  # fmt: skip
    files = table["source"].nunique()
    return found(rows, f"Signs: {looked} of {files} files had columns that could be held against each other.")


def audit_hands(shots: Shots) -> Findings:
    """Return the students whose sideways numbers are those of a player of the other hand.

    Parameters
    ----------
    shots : Shots
        Cleaned, with student, attack and path.

    Notes
    -----
    On an arc that leans like every golf swing's, a steeper attack goes with a path further out, for a left-hander in
    the player's frame as for a right-hander. Where it goes with a path further in, the numbers stand in the other
    frame. A file that runs the other way as a whole is `audit_signs`' matter.
    """
    table = counted(shots)
    needed = {"student", "attack_up_deg", "path_out_deg"}
    if not needed <= set(table.columns):
        return found([], "Hands: this needs student, attack and path.")
    signs = audit_signs(shots).table
    whole = set(signs.loc[signs["column"].isin(["attack_up_deg", "path_out_deg"]), "where"])
    table = table[~table["source"].astype("str").isin(whole)]
    rows, looked = [], 0
    if len(table):
        group = _players(table)
        one, other = (_centred(table[name].to_numpy(float), group) for name in ("attack_up_deg", "path_out_deg"))
        codes, students = pd.factorize(table["student"])
        for place, student in enumerate(students):
            mine = codes == place
            z, n = _z_of(one[mine], other[mine], len(np.unique(group[mine])))
            looked += n >= LEAST_OF_PLAYER
            if n >= LEAST_OF_PLAYER and z > HAND_Z:
                hand = str(table["hand"][mine].iloc[0]) if "hand" in table else "R"
                rows.append(
                    (
                        "hands", str(student), "hand",
                        f"the numbers of {student} are mirrored: read as {_HANDS.get(hand, hand)}, and path follows "
                        "attack the other way round.",
                        f"Map the hand, or write hand = \"{'L' if hand == 'R' else 'R'}\" where it holds for the file.",
                        round(z / HAND_Z, 2),
                    )
                )  # fmt: skip
    return found(rows, f"Hands: {looked} students had {LEAST_OF_PLAYER} shots with attack and path.")


_HANDS = {"R": "a right-hander", "L": "a left-hander"}


def _numbers(table: pd.DataFrame) -> dict[str, np.ndarray]:
    names = [name for name in (*TURNED, "launch_up_deg") if name in table]
    return {name: table[name].to_numpy(dtype=float, na_value=np.nan) for name in names}


def _players(table: pd.DataFrame) -> np.ndarray:
    """Return a number for each player and club, or the nearest to it that the table knows."""
    who = next((name for name in ("student", "session", "source") if name in table), None)
    keys = [name for name in (who, "club") if name in table]
    code = np.zeros(len(table), dtype=np.int64)
    for name in keys:
        part = pd.factorize(table[name])[0]
        code = code * (part.max(initial=0) + 2) + part + 1
    return pd.factorize(code)[0]


def _centred(values: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Return values less their group's middle, far ones pulled in: a misread must not decide."""
    series = pd.Series(values)
    centred = (series - series.groupby(group).transform("median")).to_numpy()
    spread = 1.4826 * np.nanmedian(np.abs(centred)) if np.isfinite(centred).any() else 0.0
    return np.clip(centred, -3 * spread, 3 * spread) if spread > 0 else centred


def _z_of(one: np.ndarray, other: np.ndarray, lost: int) -> tuple[float, int]:
    """Return Fisher's z of a correlation over its error, and of how many shots; 0 where there is none."""
    both = np.isfinite(one) & np.isfinite(other)
    n = int(both.sum())
    x, y = one[both], other[both]
    if n - lost <= 3 or not x.std() or not y.std():
        return 0.0, 0
    r = float(np.clip(np.corrcoef(x, y)[0, 1], -0.999999, 0.999999))
    return float(np.arctanh(r) * np.sqrt(n - lost - 2)), n


def _lean(attack: np.ndarray, group: np.ndarray) -> float:
    """Return how far the players' usual attack speaks for down being minus: most hit down."""
    usual = pd.Series(attack).groupby(group).median().dropna()
    if not len(usual):
        return 0.0
    return float(np.clip(-usual.mean() / _USUAL_ATTACK_DEG * np.sqrt(len(usual)), -_CAP_MEAN, _CAP_MEAN))
