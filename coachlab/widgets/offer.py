"""What each control of the explorer offers, from what the shots hold."""

import pandas as pd

from coachlab import claims
from coachlab.cues.pattern import NAMES as PATTERNS
from coachlab.errors import DataError, need
from coachlab.intake.shots import Shots
from coachlab.plots.look import in_order
from coachlab.schema import CLUBS, OUTCOMES, show_club
from coachlab.settings import cards_or_none

GROUPS = {
    "attack_up_deg": "club velocity",
    "path_out_deg": "club velocity",
    "club_speed_mps": "club velocity",
    "face_open_deg": "face",
    "face_to_path_deg": "face",
    "carry_m": "ball flight",
}
"""The outcomes in the order of cause and effect: how the club moves, how the face points, where the ball goes."""

FAMILIES = [
    ("setup and intent", ""),
    ("setup: seen before the swing", "setup"),
    ("intent: imagined or felt", "intent"),
]


def offered_choices(shots: Shots, cues: pd.DataFrame | None = None) -> dict[str, list[tuple[str, object]]]:
    """Return what each control offers, as pairs of words and value, from what the shots hold.

    Raises
    ------
    DataError
        If no lesson log is joined, or no analysed shot was hit with a cue and measured.
    """
    need(shots, Shots, "A panel on cues was asked for.", "shots", "Give cleaned shots, as read_study(...).shots.")
    table = shots.analysed
    missing = [name for name in ("student", "club", "phase", "cue") if name not in table.columns]
    if missing:
        raise _nothing_to_offer(f"The shots have no column {missing[0]}.")
    tried = table[table["phase"].astype("str") == "cue"]
    clubs = tried.groupby(tried["club"].astype("str"))["student"].nunique()
    clubs = clubs.reindex([club for club in CLUBS if club in clubs.index]).sort_values(ascending=False, kind="stable")
    names = dict(zip(cues["cue"], cues["name"], strict=True)) if cues is not None and "name" in cues else {}
    ids = in_order(tried["cue"].dropna().astype("str").unique(), cues)
    outcomes = [name for name in GROUPS if _measured(tried, name)]
    if not outcomes or not len(clubs):
        raise _nothing_to_offer("No analysed shot stands in a cue block.")
    coaches = sorted(tried["coach"].dropna().astype("str").unique()) if "coach" in tried else []
    return {
        "club": [(show_club(club), club) for club in clubs.index],
        "outcome": [(f"{GROUPS[name]}: {OUTCOMES[name]}", name) for name in outcomes],
        "family": FAMILIES if cards_or_none(cues) is not None else FAMILIES[:1],
        "cue": [("all cues", ""), *((_words(cue, names), cue) for cue in ids)],
        "pattern": [(f"screening {OUTCOMES[name]}", name) for name in PATTERNS],
        "direction": directions(outcomes[0]),
        "coach": [("all coaches", ""), *((coach, coach) for coach in coaches)],
    }


def directions(outcome: str) -> list[tuple[str, int]]:
    """Return the ways that may be wanted, in the words of the outcome; 0 (a control takes None for nothing chosen)."""
    return [("as each cue card says", 0), (claims.state(outcome, 1), 1), (claims.state(outcome, -1), -1)]


def _nothing_to_offer(found: str) -> DataError:
    return DataError("The cues were to be explored.", found, "Join the lesson log first: join_log(shots, log).")


def _measured(table: pd.DataFrame, outcome: str) -> bool:
    if outcome == "face_to_path_deg" and outcome not in table:
        return _measured(table, "face_open_deg") and _measured(table, "path_out_deg")
    return outcome in table and bool(table[outcome].notna().any())


def _words(cue: str, names: dict[str, str]) -> str:
    name = names.get(cue, cue)
    return cue if name == cue else f"{cue} {name}"
