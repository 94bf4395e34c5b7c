"""What a shift of the delivery is worth in carry: shared out over what changed, under each assumption about loft."""

from collections.abc import Mapping
from math import factorial

import numpy as np
import pandas as pd
from scipy import stats

from coachlab.errors import DataError, FlightError
from coachlab.physics.aero import ENSEMBLE
from coachlab.physics.air import Air
from coachlab.physics.arc import ARCS
from coachlab.physics.impact import Delivery, check_delivery, head_of
from coachlab.physics.ops import said
from coachlab.schema import show_club
from coachlab.settings import Settings
from coachlab.worth.arc import split_path
from coachlab.worth.model import (
    ATTACK,
    LOFT,
    LOFTS,
    NAMES,
    PATH,
    head_of_club,
    land,
    number,
    own_delivery,
    scatter,
    usual_spread,
)
from coachlab.worth.value import COLUMNS, PARTS, SPREAD_COLUMNS, TOGETHER, Worth


def shift_worth(
    delivery: Delivery,
    shift: Mapping[str, float],
    se: Mapping[str, float] | None = None,
    club: str = "driver",
    air: Air | None = None,
    shot_sd: Mapping[str, float] | None = None,
    shot_sd_after: Mapping[str, float] | None = None,
    incline_deg: float | None = None,
    settings: Settings | None = None,
    level: float = 0.95,
) -> Worth:
    """Return what a shift is worth in carry at a student's own delivery, split, and with its spread.

    Parameters
    ----------
    delivery : Delivery
        The student's own mean delivery with this club, before the shift.
    shift : mapping of str to float
        How far each number of the delivery moves, by its name: ``attack_up_deg``, ``path_out_deg``, ``face_open_deg``,
        ``delivered_loft_deg``, ``club_speed_mps``, ``strike_toe_mm``, ``strike_high_mm``. Where loft is among them it
        was measured, and nothing is assumed about it.
    se : mapping of str to float or None
        Standard errors of these shifts, taken as independent; None: the shift is taken as it is.
    club : str
        Whose head and arc.
    air : Air or None
        None: 20 degrees at the sea, no wind.
    shot_sd, shot_sd_after : mapping of str to float or None
        The student's shot-to-shot SDs before and after, by the same names; None: those of a mid-handicap adult, and
        after as before.
    incline_deg : float or None
        The student's own incline of the arc; None: the head's typical one.
    settings : Settings or None
        The academy's, for units.
    level : float
        Level of the shift's own uncertainty.

    Returns
    -------
    Worth
        With a ``table`` of gains, a table of ``dispersion`` and the ``path`` split.

    Raises
    ------
    DataError
        If a name, a number, the club or the level is not one.
    FlightError
        If the delivery is of many shots, or cannot be struck after the shift.

    Notes
    -----
    Three assumptions about loft with a driver: refitted to carry furthest before and after, held, rising with the
    attack degree for degree. With other clubs nobody refits for distance: held and rising only. Each gain is shared
    over the inputs that changed by Shapley's rule (what an input adds, averaged over all orders in which the inputs
    could change), so that the parts add up to the joint gain. The range goes over four aerodynamic models times three
    values of the face's tangential restitution, and then `level` of the shift's own uncertainty further out on either
    side (second-order propagation).
    """
    head = head_of_club(club)
    asked = f"The worth of a shift with {show_club(club)} was asked for."
    settings, air = settings or Settings(), air or Air()
    base = own_delivery(delivery, asked)
    move, errors = _vector(asked, "shift", shift), _vector(asked, "se", {} if se is None else se)
    if not shift:
        raise DataError(asked, "The shift is empty.", f"Name what moves: {', '.join(NAMES)}.")
    if (errors < 0).any():
        raise DataError(asked, "A standard error is below 0.", "Give standard errors of 0 or more.")
    if not 0 < number(asked, "level", level) < 1:
        raise DataError(asked, f"level is {said(level)}.", "Give a level between 0 and 1, as .95.")
    parts = [part for part, names in PARTS.items() if any(name in shift for name in names)]
    lofts = ["measured"] if "delivered_loft_deg" in shift else ["refitted", "held", "rises"][head != "driver" :]
    before = dict(usual_spread(head)) | _known(asked, "shot_sd", shot_sd)
    after = before | _known(asked, "shot_sd_after", shot_sd_after)
    z = float(stats.norm.ppf((1 + level) / 2))
    for loft in lofts:
        _refuse_end(asked, base, move, loft)
    table, fitted = _gains(base, move, errors, parts, lofts, head, air, z)
    incline = ARCS[head].incline_deg if incline_deg is None else number(asked, "incline_deg", incline_deg)
    path = split_path(base[ATTACK], base[ATTACK] + move[ATTACK], move[PATH], incline) if move[ATTACK] else None
    return Worth(
        table=table,
        dispersion=_spreads(base, move, fitted, head, air, before, after),
        path=path,
        delivery=delivery,
        shift={name: float(value) for name, value in shift.items()},
        se={name: float(value) for name, value in (se or {}).items()},
        club=club,
        level=level,
        settings=settings,
    )


def share(values: np.ndarray) -> np.ndarray:
    """Return Shapley's shares of each of k inputs, shape (..., k), from the values of all subsets, shape (..., 2**k).

    Subset number s holds input i where bit i of s is set. The shares add up to the value of all less that of none.
    """
    k = int(np.log2(values.shape[-1]))
    shares = np.zeros((*values.shape[:-1], k))
    for subset in range(2**k):
        size = bin(subset).count("1")
        for i in range(k):
            if not subset >> i & 1:
                weight = factorial(size) * factorial(k - size - 1) / factorial(k)
                shares[..., i] += weight * (values[..., subset | 1 << i] - values[..., subset])
    return shares


def _gains(
    base: np.ndarray,
    move: np.ndarray,
    errors: np.ndarray,
    parts: list[str],
    lofts: list[str],
    head: str,
    air: Air,
    z: float,
) -> tuple[pd.DataFrame, dict[str, tuple[float, float]]]:
    """Return the table of gains, and each assumption's loft before and after."""
    made = head_of(head, "")
    e_ts = (made.e_t, *made.e_t_span)
    # the shift itself, then each uncertain input one standard error up and down
    uncertain = np.flatnonzero(errors)
    moves = [move, *(move + sign * errors * (np.arange(7) == at) for at in uncertain for sign in (1, -1))]
    cases = {loft: np.stack([_subsets(base, each, parts, loft) for each in moves], axis=1) for loft in lofts}
    own = [(cases[loft], loft, made.e_t) for loft in lofts]  # (7, moves, subsets)
    landed = {}
    for aero in ENSEMBLE:
        others = [(cases[loft][:, 0], loft, e_t) for loft in lofts for e_t in e_ts]
        landed[aero] = land([*own, *others] if aero == ENSEMBLE[0] else others, head, air, aero)
    default = landed[ENSEMBLE[0]]
    landed[ENSEMBLE[0]] = default[len(own) :]
    tables, fitted = [], {}
    for at, loft in enumerate(lofts):
        carry, side, angle = default[at]
        by_model = [answers[at * len(e_ts) + i][0] for answers in landed.values() for i in range(len(e_ts))]
        gains, ranges = _with_total(carry), _with_total(np.stack(by_model))
        up, down = gains[1::2], gains[2::2]
        slope, bend = (up - down) / 2, (up + down) / 2 - gains[0]
        out = z * np.sqrt(np.sum(slope**2 + 2 * bend**2, axis=0))
        alone = [carry[0, -1], *(carry[0, 1 << i] for i in range(len(parts)))]
        columns = {
            "loft": loft,
            "part": [TOGETHER, *parts],
            "alone_m": np.array(alone) - carry[0, 0],
            "gain_m": gains[0],
            "low_m": ranges.min(axis=0) - out,
            "high_m": ranges.max(axis=0) + out,
            "side_m": _with_total(side)[0],
        }
        tables.append(pd.DataFrame(columns)[list(COLUMNS)])
        fitted[loft] = (float(angle[0, 0]), float(angle[0, -1]))
    return pd.concat(tables, ignore_index=True), fitted


def _with_total(values: np.ndarray) -> np.ndarray:
    """Return what all inputs give together, then each one's share; shape (..., 1 + k)."""
    total = values[..., -1:] - values[..., :1]
    return np.concatenate([total, share(values)], axis=-1)


def _subsets(base: np.ndarray, move: np.ndarray, parts: list[str], loft: str) -> np.ndarray:
    """Return the delivery with each subset of the parts shifted, shape (7, 2**k)."""
    cases = np.repeat(base[:, None], 2 ** len(parts), axis=1)
    for i, part in enumerate(parts):
        has = (np.arange(2 ** len(parts)) >> i & 1).astype(bool)
        for name in PARTS[part]:
            cases[NAMES.index(name), has] += move[NAMES.index(name)]
    if loft == "rises":
        cases[LOFT] += cases[ATTACK] - base[ATTACK]
    return cases


def _spreads(
    base: np.ndarray,
    move: np.ndarray,
    fitted: Mapping[str, tuple[float, float]],
    head: str,
    air: Air,
    before: Mapping[str, float],
    after: Mapping[str, float],
) -> pd.DataFrame:
    """Return how the shots spread before and after, under each assumption about loft."""
    ends = (("before", before, 0.0), ("after", after, 1.0))
    sets = []
    for loft, angles in fitted.items():
        for (_, shot_sd, by), angle in zip(ends, angles, strict=True):
            middle = base + by * move
            middle[LOFT] = angle
            shots = middle[:, None] + scatter(head, shot_sd)
            if loft == "rises":
                shots[LOFT] += shots[ATTACK] - middle[ATTACK]
            sets.append((shots, "held", head_of(head, "").e_t))
    landed = iter(land(sets, head, air, ENSEMBLE[0]))
    rows = []
    for loft, angles in fitted.items():
        for (end, _, _), angle in zip(ends, angles, strict=True):
            carry, side, _ = next(landed)
            flew = np.isfinite(carry)
            along, across = carry[flew], side[flew]
            rows.append((loft, end, along.mean(), along.std(), across.mean(), across.std(), angle, float(flew.mean())))
    return pd.DataFrame(rows, columns=list(SPREAD_COLUMNS))


def _refuse_end(asked: str, base: np.ndarray, move: np.ndarray, loft: str) -> None:
    """Refuse a shift after which no ball could be struck."""
    end = base + move
    if loft == "rises":
        end[LOFT] += move[ATTACK]
    why = "" if loft == "refitted" else check_delivery(*end)
    if why:
        raise FlightError(
            asked,
            f"After the shift, with {LOFTS[loft]}, {why}.",
            "Ask for a smaller shift, or give the loft that goes with it.",
            loft=loft,
        )


def _vector(asked: str, what: str, values: Mapping[str, float]) -> np.ndarray:
    known = _known(asked, what, values)
    return np.array([known.get(name, 0.0) for name in NAMES])


def _known(asked: str, what: str, values: Mapping[str, float] | None) -> dict[str, float]:
    """Return a mapping by the delivery's names as floats; refuse other names and values that are no number."""
    if not isinstance(values, Mapping | None):
        raise DataError(asked, f"{what} is {said(values)}.", f"Name what moves, as in {{{NAMES[1]!r}: 1.0}}.")
    found = {}
    for name, value in (values or {}).items():
        if name not in NAMES:
            raise DataError(asked, f"{what} names {said(name)}.", f"A delivery has {', '.join(NAMES)}.", column=name)
        found[name] = number(asked, f"{what} of {name}", value)
    return found
