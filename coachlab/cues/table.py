"""From shots to the rows that a model of one outcome and one club takes."""

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from coachlab.cues.pattern import NAMES, default_pattern, screening_pattern
from coachlab.errors import DataError, need
from coachlab.intake.clubs import refuse_club, say_unknown_club, unknown_clubs
from coachlab.intake.headings import close_to
from coachlab.intake.shots import Shots, is_usable, shots_table
from coachlab.schema import OUTCOMES, PLAIN
from coachlab.settings import cards_or_none

TEST_PHASES = ("plain", "sham", "cue")
"""The phases that a cue study compares; warm-up, screening and reset shots are kept and not analysed."""

IDS = ("student", "coach", "session", "block", "cue")
DESIGN = (
    "phase",
    "comparator",
    "family",
    "moves",
    "direction",
    "cue_version",
    "offered",
    "order_plan",
    "order_seed",
    "feedback_shown",
    "screened",
    "shots_logged",
    "shots_missing",
    "session_number",
)


def model_table(
    shots: Shots | pd.DataFrame,
    outcome: str = "attack_up_deg",
    club: str = "iron-7",
    cues: Sequence[str] | pd.DataFrame | None = None,
    pattern: str | None = None,
) -> pd.DataFrame:
    """Return one row a test shot, with what the models and the evidence grade need.

    Kept are analysed shots of the club in plain, sham and cue blocks, in lessons that hold one of the cues. The
    screening blocks give the pattern and are never the baseline.

    Parameters
    ----------
    shots : Shots or DataFrame
        Cleaned shots joined with their log.
    outcome : str
        A key of `schema.OUTCOMES`, in the unit of its suffix.
    club : str
        One club; shots of others are left out.
    cues : sequence of str, DataFrame or None
        Cue ids to keep; or the academy's cue cards (`read_cues`), which also say family and direction; None, or cards
        without a row: all cues that the log names.
    pattern : str or None
        The screening measure taken as the pattern; None: path for a path outcome, attack otherwise.

    Returns
    -------
    DataFrame
        The outcome's column, ``on`` (0 plain, 1 cue), ``on_setup``, ``on_intent``, ``per_c`` (centred period),
        ``lshot_c`` (centred log of the shot's number in its session), ``pattern`` (the screening mean of the measure
        that ``pattern_of`` names), ``pat_c`` (the same, centred; missing without screening), the ids (``cue`` is
        ``plain`` in every baseline row), ``cue_name`` where cards are given, the design columns `DESIGN`, and the
        students' usual club speed and loft with the club (``usual_speed_mps``, ``usual_loft_deg``, one value for all
        rows; from screening shots, plain ones where there are none), by which the flight model judges what is useful.

    Raises
    ------
    DataError
        If a column that the model needs is missing, an argument is wrong, or no test shot of the club is left: then the
        error names the clubs that have such shots, and the names of clubs that the map does not know.
    """
    asked = f"A model table of {outcome} with {club} was asked for."
    table = shots_table(shots, asked)
    _refuse_unknown(asked, outcome, club, table)
    cards = cards_or_none(cues) if isinstance(cues, pd.DataFrame) else None
    wanted = _wanted(asked, cues, cards)
    measure = default_pattern(outcome) if pattern is None else pattern
    if measure not in NAMES:
        raise DataError(
            asked, f"pattern is {pattern!r}{close_to(str(pattern), NAMES)}.", f"Choose one of: {', '.join(NAMES)}."
        )
    usable = is_usable(table)
    order = _shot_in_session(table)
    values = outcome_values(table, outcome)
    phase = table["phase"].astype("str")
    of_club = table["club"].astype("str") == club
    test = usable & of_club & phase.isin(TEST_PHASES) & values.notna()
    on = test & (phase == "cue")
    if wanted is not None:
        on &= table["cue"].isin(wanted)
        test &= on | (phase != "cue")
    lessons = table.loc[on, "session"].unique()
    test &= table["session"].isin(lessons)
    if not test.any():
        raise _no_lessons(asked, shots, table, club, outcome, wanted)
    rows = table.loc[test]
    result = {outcome: values[test].astype(float)}
    result["on"] = on[test].astype(float)
    result |= {name: _category(rows[name]) for name in IDS if name in rows and name != "cue"}
    result["cue"] = _category(rows["cue"].where(on[test], PLAIN), first=PLAIN)
    result["comparator"] = _comparator(rows)
    if "coach" not in rows:
        result["coach"] = pd.Categorical(["unknown"] * len(rows))
    result["club"] = club
    result["period"] = rows["period"].astype(float) if "period" in rows else _count_periods(rows)
    result["shot_in_session"] = order[test].astype(float)
    frame = pd.DataFrame(result, index=rows.index)
    for name in DESIGN:
        if name in rows:
            frame[name] = rows[name]
    frame["session_number"] = _session_number(table)[test]
    _add_cards(frame, cards, outcome)
    frame["on_setup"] = frame["on"] * (frame["family"] == "setup")
    frame["on_intent"] = frame["on"] * (frame["family"] == "intent")
    frame["per_c"] = frame["period"] - frame["period"].mean()
    log_shot = np.log(frame["shot_in_session"])
    frame["lshot_c"] = log_shot - log_shot.mean()
    screening = screening_pattern(shots, club, measure).set_index("student")[measure]
    frame["pattern_of"] = measure
    frame["pattern"] = frame["student"].astype("str").map(screening).astype(float)
    centre = screening.reindex(frame["student"].astype("str").unique()).mean()
    frame["pat_c"] = frame["pattern"] - centre
    frame["screened"] = frame["pattern"].notna()
    for name, value in _usual(table, usable & of_club, phase).items():
        frame[name] = value
    return frame.sort_values(["student", "session", "shot_in_session"], kind="stable").reset_index(drop=True)


def _usual(table: pd.DataFrame, usable: pd.Series, phase: pd.Series) -> dict[str, float]:
    """Return means over students of club speed and loft in screening shots, in plain ones where there are none."""
    found = {}
    for column, name in (("usual_speed_mps", "club_speed_mps"), ("usual_loft_deg", "delivered_loft_deg")):
        found[column] = np.nan
        for kind in ("screen", PLAIN) if name in table else ():
            rows = usable & (phase == kind) & table[name].notna()
            if rows.any():
                found[column] = float(table.loc[rows].groupby("student", observed=True)[name].mean().mean())
                break
    return found


def outcome_of(table: pd.DataFrame) -> str:
    """Return the outcome that a model table holds.

    Raises
    ------
    DataError
        If it is no table, holds none or more than one, or lacks a column that every model table has.
    """
    asked = "The outcome of a model table was looked for."
    do = "Make the table with model_table(shots, outcome=...), one outcome at a time."
    need(table, pd.DataFrame, asked, "The table", do)
    found = [name for name in OUTCOMES if name in table.columns]
    if len(found) != 1:
        raise DataError(asked, f"It holds {', '.join(found) or 'none'} of {', '.join(OUTCOMES)}.", do)
    missing = [name for name in ("student", "session", "block", "on") if name not in table.columns]
    if missing:
        raise DataError(asked, f"It has no column {', '.join(missing)}.", do, column=missing[0])
    return found[0]


def outcome_values(table: pd.DataFrame, outcome: str) -> pd.Series:
    """Return an outcome's values, face to path derived where the device did not report it."""
    if outcome == "face_to_path_deg" and outcome not in table.columns:
        return table["face_open_deg"] - table["path_out_deg"]
    return table[outcome]


def flow(shots: Shots, table: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return the way from raw rows to modelled shots: ``step``, ``shots``, ``students``, every loss with its reason.

    Parameters
    ----------
    shots : Shots
        The shots, set aside included.
    table : DataFrame or None
        A model table made from them; adds the last steps.
    """
    counts = shots.counts
    steps: list[tuple[str, int, float]] = [
        ("rows in the files", counts.raw, np.nan),
        ("no shot (headings, totals, no reading)", -counts.rejects, np.nan),
        ("shots", counts.shots, shots.table["student"].nunique()),
    ]
    misread = int((~shots.table["read_ok"].astype(bool)).sum())
    steps += [
        ("set aside: outside the range of a believable reading", -misread, np.nan),
        ("set aside by a decision, with its reason", -(counts.set_aside - misread), np.nan),
        ("analysed", counts.analysed, shots.table.loc[shots.usable, "student"].nunique()),
    ]
    if table is not None:
        steps += [
            ("not in a plain or cue block of this question", len(table) - counts.analysed, np.nan),
            ("in the models", len(table), table["student"].nunique()),
        ]
    return pd.DataFrame(steps, columns=["step", "shots", "students"]).astype({"students": "Int64"})


def _refuse_unknown(asked: str, outcome: str, club: str, table: pd.DataFrame) -> None:
    if outcome not in OUTCOMES:
        raise DataError(asked, f"{outcome!r} is no outcome.", f"Choose one of: {', '.join(OUTCOMES)}.", outcome=outcome)
    refuse_club(asked, club)
    sources = ["face_open_deg", "path_out_deg"] if outcome == "face_to_path_deg" else [outcome]
    needed = ["student", "session", "block", "club", "phase", "cue"]
    needed += [outcome] if outcome in table.columns else sources
    missing = [name for name in needed if name not in table.columns]
    if missing:
        raise DataError(
            asked,
            f"The shots have no column {', '.join(missing)}.",
            'Map it as [column.club], or write one club for the whole file above, as club = "iron-7".'
            if missing == ["club"]
            else "Join the lesson log first: join_log(shots, log)."
            if {"phase", "cue", "block"} & set(missing)
            else "Map the column when the file is read.",
            column=missing[0],
        )


def _wanted(asked: str, cues: Sequence[str] | pd.DataFrame | None, cards: pd.DataFrame | None) -> list[str] | None:
    """Return the cues to keep; None for all."""
    if cards is not None:
        return list(cards["cue"])
    if cues is None or isinstance(cues, pd.DataFrame):
        return None
    if isinstance(cues, str):
        raise DataError(asked, f"cues is {cues!r}.", f"Give a list, as cues=[{cues!r}], or the cue cards.", cues=cues)
    need(cues, Iterable, asked, "cues", "Give a list of cue ids, the cue cards, or None for all.")
    if not list(cues):
        raise DataError(asked, "cues is an empty list.", "Name at least one cue, or leave it out for all.")
    return list(cues)


def _no_lessons(
    asked: str, shots: Shots | pd.DataFrame, table: pd.DataFrame, club: str, outcome: str, wanted: list[str] | None
) -> DataError:
    """Return the error of a club without a test shot: what the map did not understand, and what there is instead."""
    which = "any cue" if wanted is None else ", ".join(map(str, wanted))
    found = f"No analysed shot of {club} stands in a lesson with {which}."
    strange = unknown_clubs(shots) if isinstance(shots, Shots) else {}
    nameless = int(table["club"].isna().sum())
    tried = is_usable(table) & (table["phase"].astype("str") == "cue")
    if wanted is not None:
        tried &= table["cue"].isin(wanted)
    clubs = sorted(table.loc[tried, "club"].dropna().astype("str").unique())
    do = "Check the club, the cues, and that the lesson log is joined."
    if strange:
        found += " " + " ".join(map(say_unknown_club, strange, strange.values()))
        do = "Add each such name under [club_names] in the column map."
    elif nameless:
        found += f" {nameless:,} shots have no club."
        do = 'Map the club\'s column in the column map, or write one club for the file, as club = "iron-7".'
    elif clubs:
        do = f"Clubs with such lessons: {', '.join(clubs)}."
    return DataError(asked, found, do, club=club, outcome=outcome)


def _shot_in_session(table: pd.DataFrame) -> pd.Series:
    if "shot_in_session" in table.columns:
        return table["shot_in_session"]
    if "shot" in table.columns and table["shot"].notna().all():
        return table.groupby("session", observed=True)["shot"].rank(method="first")
    return table.groupby("session", observed=True).cumcount() + 1


def _session_number(table: pd.DataFrame) -> pd.Series:
    if "session_day" not in table.columns:
        return pd.Series(1.0, index=table.index)
    visits = table[["student", "session", "session_day"]].drop_duplicates("session")
    visits = visits.sort_values("session_day", kind="stable")
    number = visits.groupby("student", observed=True).cumcount() + 1
    return table["session"].map(pd.Series(number.to_numpy(float), index=visits["session"].astype("str"))).astype(float)


def _count_periods(rows: pd.DataFrame) -> pd.Series:
    changed = rows["block"].astype("str") != rows["block"].astype("str").groupby(rows["session"]).shift()
    return changed.groupby(rows["session"]).cumsum().astype(float)


def _comparator(rows: pd.DataFrame) -> np.ndarray:
    """Return what a plain block was: the plain wording, a sham sentence, or, where no cue is logged, silence."""
    spoken = np.where(rows["phase"].astype("str") == "sham", "sham", PLAIN)
    return np.where(rows["cue"].isna(), "silence", spoken)


def _category(values: pd.Series, first: str = "") -> pd.Categorical:
    text = values.astype("str")
    levels = sorted(text.unique())
    if first in levels:
        levels = [first, *(level for level in levels if level != first)]
    return pd.Categorical(text, categories=levels)


def _add_cards(frame: pd.DataFrame, cards: pd.DataFrame | None, outcome: str) -> None:
    """Give each row its cue's family and direction, from the cards where given, else from the joined log."""
    if cards is not None:
        known = cards.set_index("cue")
        cue = frame["cue"].astype("str")
        for name in ("family", "moves", "direction"):
            frame[name] = cue.map(known[name])
        if "name" in known:
            frame["cue_name"] = cue.map(known["name"])
    if "family" not in frame.columns:
        frame["family"] = pd.Series(pd.NA, index=frame.index, dtype="str")
    if "direction" not in frame.columns or "moves" not in frame.columns:
        frame["direction"] = 1.0
        return
    moves = frame.pop("moves").fillna("").astype("str")
    meant = moves.map({text: outcome in text.split() for text in moves.unique()})
    frame["direction"] = frame["direction"].astype(float).fillna(1.0).where(meant, 0.0)
