"""The frames of a simulated academy: students, the lesson log, the shots."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from coachlab.academy.assumptions import HEADS, Assumptions
from coachlab.academy.layout import reset_club
from coachlab.academy.players import Players
from coachlab.academy.swings import MEASURED, Blocks, swing
from coachlab.academy.value import Hidden
from coachlab.intake.clean import clean_shots
from coachlab.intake.shots import FLAG_COLUMNS, Shots
from coachlab.schema import CLUBS, LATERAL, PLAIN

CHUNK_SHOTS = 500_000
MANY_SHOTS = 1_000_000
JOINED = (
    "session_day", "block_index", "period", "phase", "cue", "cue_version", "offered", "followed_0_10", "order_plan",
    "order_seed", "pain_0_10", "feedback_shown", "family", "moves", "direction",
)  # fmt: skip
"""The columns of the log that stand beside each shot."""

BAYS = ("bay 1", "bay 2", "bay 3", "bay 4")
SOURCE = "simulated"
DEVICES = ("unit A", "unit A", "unit B", "unit C")


def name_students(hidden: Hidden, prefix: str, rng: np.random.Generator) -> pd.DataFrame:
    """Return the table ``students``."""
    players = hidden.players
    number = len(players.handicap)
    band = np.array(["low", "mid", "high"], object)[np.digitize(players.handicap, [10, 20])]
    ages = np.array(["18-29", "30-44", "45-59", "60+"], object)
    agreed = np.where(rng.random(number) < 0.85, "lesson reports draws retention", "lesson reports draws")
    frame = {
        "student": _numbered(prefix + "Q", number, 3),
        "hand": np.where(players.left, "L", "R"),
        "handicap_band": band,
        "age_band": rng.choice(ages, number, p=[0.15, 0.3, 0.35, 0.2]),
        "consents": agreed,
    }
    table = pd.DataFrame({name: _text(values) for name, values in frame.items()})
    table.insert(4, "minor", False)
    return table


def usual_delivery(players: Players, clubs: Sequence[str], students: pd.DataFrame) -> pd.DataFrame:
    """Return each student's true usual delivery with each club."""
    parts = []
    for club in clubs:
        head = HEADS.index(CLUBS[club])
        usual = players.usual[:, head]
        parts.append(
            pd.DataFrame(
                {
                    "student": students["student"],
                    "club": club,
                    "handicap": players.handicap,
                    "attack_up_deg": usual[:, 0],
                    "path_out_deg": players.path(head),
                    "face_open_deg": usual[:, 2],
                    "club_speed_mps": usual[:, 3],
                    "arc_azimuth_deg": usual[:, 1],
                    "arc_incline_deg": players.incline_deg[:, head],
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def lesson_log(
    held: pd.DataFrame, students: pd.DataFrame, hidden: Hidden, cues: pd.DataFrame, ids: Sequence[str], design: str,
    prefix: str, began_at: np.ndarray, rng: np.random.Generator,
) -> pd.DataFrame:  # fmt: skip
    """Return the lesson log, one row a block that was held."""
    session, cue, test = (held[name].to_numpy() for name in ("session", "cue", "test"))
    number = len(held)
    coaches = [f"{prefix}c{coach}" for coach in range(1, len(hidden.coach_z) + 1)]
    bay = rng.integers(len(BAYS), size=len(began_at))[session]
    visits = _numbered(prefix + "v", len(began_at), 4)
    name = _take(visits, session)
    cards = cues.set_index("cue").loc[[*ids, PLAIN]]
    rating = np.where(held["done"] < 1, 3.0, 8.0) + 1.2 * rng.standard_normal(number)
    phase = np.where(test >= 0, np.where(cue >= 0, "cue", "plain"), held["phase"].to_numpy(object))
    chooser = np.array(["drawn" if design == "drawn" else "coach", None], object)
    index = held["index"].to_numpy()
    return pd.DataFrame(
        {
            "session": name,
            "student": students["student"].array.take(held["student"].to_numpy()),
            "coach": _take(coaches, hidden.coach[held["student"].to_numpy()]),
            "session_day": began_at[session].astype("M8[D]").astype("M8[us]"),
            "bay": _take(BAYS, bay),
            "device": _take(DEVICES, bay),
            "surface": _take(["mat"], np.zeros(number, int)),
            "indoors": True,
            "ball_type": _take(["range"], np.zeros(number, int)),
            "feedback_shown": False,
            "block": name + _take([f"/{place}" for place in range(index.max() + 1)], index),
            "block_index": index,
            "period": np.where(test >= 0, test + 1.0, np.nan),
            "phase": _text(phase),
            "cue": _take([*ids, PLAIN], cue),
            "cue_version": _take(cards["version"], cue),
            "offered": _text(chooser[(test < 0).astype(int)]),
            "followed_0_10": np.where(cue >= 0, np.clip(np.rint(rating), 0, 10), np.nan),
            "order_plan": held["order_plan"],
            "order_seed": held["order_seed"],
            "pain_0_10": rng.choice([0.0, 1.0, 2.0], number, p=[0.94, 0.05, 0.01]),
            "rest_s": held["rest_s"].astype(float),
            "first_shot": held["first"],
            "last_shot": held["first"] + held["shots"] - 1,
            "family": _take(cards["family"], cue),
            "moves": _take([moves or None for moves in cards["moves"]], cue),
            "direction": cards["direction"].to_numpy()[cue],
        }
    )


def joined_shots(
    held: pd.DataFrame, levels: Blocks, log: pd.DataFrame, clubs: Sequence[str], hidden: Hidden, rogue: int,
    began_at: np.ndarray, a: Assumptions, rng: np.random.Generator,
) -> Shots:  # fmt: skip
    """Return every shot, joined with the log and cleaned: struck, measured, as far as the coach logged it."""
    student = held["student"].to_numpy()
    picked = (hidden.coach[student] == rogue) & (log["phase"] == "cue").to_numpy()
    aim = _aim(log)
    parts = []
    for rows in _chunks(levels.shots):
        struck = swing(levels.part(rows), a, rng)
        struck["block"] += rows.start
        best = _best_only(struck, picked, aim, a) if picked.any() else np.ones(len(struck["shot"]), bool)
        parts.append({name: values[best] for name, values in struck.items() if not name.startswith("true_")})
    columns = {name: np.concatenate([part.pop(name) for part in parts]) for name in list(parts[0])}
    block, read = columns["block"], columns["read"]
    many = len(block) > MANY_SHOTS
    logged = np.bincount(block, minlength=len(held))
    labels = {name: pd.factorize(log[name]) for name in ("student", "coach", "session", "block")}
    label = {name: _label(codes[block], texts, many) for name, (codes, texts) in labels.items()}
    second = (columns.pop("second") * 1e6).astype("m8[us]")
    struck_at = began_at[held["session"].to_numpy()][block] + second
    club = _label(held["club"].to_numpy()[block], [*clubs, reset_club(clubs)], many)
    left = hidden.players.left[student][block]
    hand = _label(left.astype(int), ["R", "L"], many)

    raw = {"source": _label(np.zeros(len(block), int), [SOURCE], many), "source_row": np.arange(2, len(block) + 2)}
    raw |= {"student": label["student"], "session": label["session"], "shot": columns["shot"]}
    raw |= {"struck_at": struck_at, "club": club, "hand": hand}
    raw |= {name: _as_exported(name, columns[name], left, read) for name in MEASURED}
    rejects = {"source": raw["source"][~read], "source_row": raw["source_row"][~read]}
    rejects |= {"session": label["session"][~read], "shot": columns["shot"][~read], "rule": "no reading"}

    kept = np.flatnonzero(read)
    block = block[kept]
    table = {name: values[kept] for name, values in label.items()}
    table |= {"shot": columns["shot"][kept], "struck_at": struck_at[kept], "club": club[kept]}
    table |= {name: columns.pop(name)[kept] for name in MEASURED}
    table |= {"read_ok": np.ones(len(kept), bool), "excluded": np.zeros(len(kept), bool)}
    table["excluded_reason"] = _label(np.zeros(len(kept), int), [""], many)
    table |= {"source": raw["source"][kept], "source_row": raw["source_row"][kept]}
    for name in JOINED:
        values = log[name]
        if isinstance(values.dtype, pd.StringDtype):
            codes, texts = pd.factorize(values)
            table[name] = _label(codes[block], texts, many)
        else:
            table[name] = values.to_numpy()[block]
    table["hand"] = hand[kept]
    table["shots_logged"] = levels.shots[block]
    table["shots_missing"] = (levels.shots - logged)[block]
    note = "Simulated: no real person is in these shots."
    flags = pd.DataFrame(columns=list(FLAG_COLUMNS))
    return clean_shots(Shots(pd.DataFrame(table), pd.DataFrame(raw), pd.DataFrame(rejects), flags, (note,)))


def _chunks(shots: np.ndarray) -> list[slice]:
    """Return runs of blocks with about as many shots as fit the memory at once."""
    part = np.cumsum(shots) // CHUNK_SHOTS
    edges = [0, *(np.flatnonzero(np.diff(part)) + 1).tolist(), len(shots)]
    return [slice(low, high) for low, high in zip(edges[:-1], edges[1:], strict=True)]


def _aim(log: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Return by block if a coach judges a cue shot by its path (else by its attack), and which way is good."""
    return log["moves"].fillna("").str.startswith("path_out_deg").to_numpy(bool), log["direction"].to_numpy()


def _best_only(
    struck: dict[str, np.ndarray], picked: np.ndarray, aim: tuple[np.ndarray, np.ndarray], a: Assumptions
) -> np.ndarray:
    """Return True for the shots that get logged, where a coach leaves out the worst of each cue block."""
    block = struck["block"]
    rows = np.flatnonzero(picked[block] & struck["read"])
    kept = np.ones(len(block), bool)
    if len(rows):
        of = block[rows]
        good = aim[1][of] * np.where(aim[0][of], struck["path_out_deg"][rows], struck["attack_up_deg"][rows])
        order = np.lexsort((good, of))
        _, start, count = np.unique(of[order], return_index=True, return_counts=True)
        rank = np.arange(len(rows)) - np.repeat(start, count)
        kept[rows[order[rank < np.repeat(np.rint(a.rogue_drops * count), count)]]] = False
    return kept


def _as_exported(name: str, values: np.ndarray, left: np.ndarray, read: np.ndarray) -> np.ndarray:
    """Return a measure as the bay exported it: the world's signs, and nothing where nothing was read."""
    exported = values.astype(np.float32)
    if name in LATERAL:
        exported[left] *= -1
    exported[~read] = np.nan
    return exported


def _numbered(start: str, number: int, digits: int) -> list[str]:
    digits = max(digits, len(str(number)))
    return [f"{start}{one:0{digits}d}" for one in range(1, number + 1)]


def _text(values: np.ndarray | Sequence[str | None]) -> pd.api.extensions.ExtensionArray:
    return pd.array(np.asarray(values, object), dtype="str")


def _take(texts: Sequence[str | None], codes: np.ndarray) -> pd.api.extensions.ExtensionArray:
    """Return texts by code; code -1 is the last one."""
    return _text(list(texts)).take(codes % len(texts))


def _label(codes: np.ndarray, texts: Sequence[str], many: bool) -> pd.Categorical | pd.api.extensions.ExtensionArray:
    """Return a label column, missing at code -1: text, or categories where text would fill the memory."""
    return (
        pd.Categorical.from_codes(codes, categories=list(texts)) if many else _text(texts).take(codes, allow_fill=True)
    )
