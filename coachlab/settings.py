"""The academy's own settings: ``academy.toml`` (thresholds and habits) and ``cues.toml`` (its cue cards).

Thresholds are settings, not constants: an academy edits the file, and every page says which value it used.
"""

import json
import tomllib
from dataclasses import dataclass, field, fields
from difflib import get_close_matches
from pathlib import Path

import pandas as pd

from coachlab.errors import DataError
from coachlab.schema import CLUBS, FAMILIES, OUTCOMES, PLAIN

_SMALLEST_USEFUL = {
    "attack_up_deg": 1.0,
    "path_out_deg": 1.5,
    "face_open_deg": 1.0,
    "face_to_path_deg": 1.0,
    "club_speed_mps": 0.5,
    "carry_m": 3.0,
}


@dataclass(frozen=True)
class Settings:
    """What an academy has decided, with the defaults where it has not.

    Smallest useful shifts are in the outcome's own unit; an entry for a club (``{"driver": {"carry_m": 4.0}}``)
    goes before the general one. All defaults are assumptions until the academy replaces them.

    The five limits refuse a file that no device exports before it fills the memory: the size of a file and of what a
    zip or spreadsheet unpacks to (millions of bytes), how many times its own size that may be, rows times columns of a
    spreadsheet or Parquet file, and columns of any table.
    """

    name: str = "this academy"
    note: str = ""
    units: str = "yards"
    small_group_students: int = 5
    verdict_students: int = 8
    spread_students: int = 12
    pattern_students: int = 20
    block_shots: int = 5
    feedback_shown: bool = False
    adult_swings: int = 70
    largest_file_mb: int = 1000
    largest_unpacked_mb: int = 2000
    largest_packing_ratio: int = 200
    largest_cells: int = 100_000_000
    largest_columns: int = 1000
    smallest_useful: dict = field(default_factory=lambda: dict(_SMALLEST_USEFUL))
    smallest_useful_by_club: dict = field(default_factory=lambda: {"driver": {"carry_m": 4.0}})

    def smallest_useful_shift(self, outcome: str, club: str = "") -> float:
        """Return the least shift worth having, in the outcome's own unit.

        Raises
        ------
        DataError
            If neither the file nor the defaults hold one for this outcome.

        >>> Settings().smallest_useful_shift("carry_m", "driver")
        4.0
        """
        found = self.smallest_useful_by_club.get(club, {}).get(outcome, self.smallest_useful.get(outcome))
        if found is None:
            raise DataError(
                f"The smallest useful shift of {outcome} was asked for.",
                f"academy.toml holds one for: {', '.join(self.smallest_useful)}.",
                "Add it under [smallest_useful].",
                column=outcome,
            )
        return float(found)


def read_settings(path: str | Path | None = None) -> Settings:
    """Return the academy's settings from ``academy.toml``; the defaults without a path.

    Raises
    ------
    DataError
        If the file cannot be read, holds an unknown key, or a value of the wrong kind.
    """
    if path is None:
        return Settings()
    path = Path(path)
    content = _read_toml(path, "the academy's settings")
    useful = content.pop("smallest_useful", {})
    by_club = {club: values for club, values in useful.items() if isinstance(values, dict)}
    general = {name: value for name, value in useful.items() if not isinstance(value, dict)}
    kinds = {item.name: type(item.default) for item in fields(Settings) if not item.name.startswith("smallest_useful")}
    for key, value in content.items():
        if key not in kinds:
            raise _unknown(path, key, kinds)
        if type(value) is not kinds[key]:
            raise DataError(
                f"{path.name} was read as the academy's settings.",
                f"{key} is {value!r}; a {kinds[key].__name__} is due.",
                "Correct the value.",
                key=key,
            )
        if kinds[key] is int and value < 1:
            raise DataError(
                f"{path.name} was read as the academy's settings.",
                f"{key} is {value}; a whole number from 1 is due.",
                "Correct the value.",
                key=key,
            )
    if content.get("units", "yards") not in ("yards", "metres"):
        raise DataError(
            f"{path.name} was read as the academy's settings.",
            f"units is {content['units']!r}; known are yards and metres.",
            "Choose one of the two.",
            key="units",
        )
    for club in by_club:
        if club not in CLUBS:
            raise _unknown(path, club, CLUBS)
    for values in (general, *by_club.values()):
        for outcome, value in values.items():
            if outcome not in OUTCOMES:
                raise _unknown(path, outcome, OUTCOMES)
            if isinstance(value, bool) or not isinstance(value, int | float) or value <= 0:
                raise DataError(
                    f"{path.name} was read as the academy's settings.",
                    f"The smallest useful shift of {outcome} is {value!r}; a positive number is due.",
                    f"Write it in the unit of {outcome}.",
                    key=outcome,
                )
    defaults = Settings()
    merged = {club: dict(values) for club, values in defaults.smallest_useful_by_club.items()}
    for club, values in by_club.items():
        merged[club] = merged.get(club, {}) | values
    return Settings(**content, smallest_useful=_SMALLEST_USEFUL | general, smallest_useful_by_club=merged)


def read_cues(path: str | Path) -> pd.DataFrame:
    """Return the academy's cue cards from ``cues.toml`` as the table ``cues``, one row a cue.

    The file holds one section a cue, ``[S1]``, with ``version``, ``family``, ``card_text``, ``moves`` (a list of
    outcomes), ``direction`` (+1 or -1), ``clubs`` and ``exclusions`` (lists). The baseline ``plain`` is added when it
    is not there.

    Raises
    ------
    DataError
        Naming the cue and the key that does not fit.
    """
    path = Path(path)
    content = _read_toml(path, "the academy's cue cards")
    content.pop("note", None)
    known = {"version", "name", "family", "card_text", "moves", "direction", "clubs", "exclusions"}
    rows = []
    for cue, card in content.items():
        asked = f"{path.name} was read as the academy's cue cards, cue {cue!r}."
        if not isinstance(card, dict):
            raise DataError(asked, f"{cue} is {card!r}, not a section.", f"Write a section [{cue}].", cue=cue)
        for key in card:
            if key not in known:
                raise _unknown(path, key, known)
        if card.get("family") not in FAMILIES:
            raise DataError(
                asked, f"family is {card.get('family')!r}.", f"Write one of {', '.join(FAMILIES)}.", cue=cue
            )
        if card.get("direction", 1) not in (1, -1):
            raise DataError(asked, f"direction is {card['direction']!r}.", "Write 1 or -1.", cue=cue)
        for club in card.get("clubs", ()):
            if club not in CLUBS:
                raise _unknown(path, club, CLUBS)
        for outcome in card.get("moves", ()):
            if outcome not in OUTCOMES:
                raise _unknown(path, outcome, OUTCOMES)
        rows.append(
            {
                "cue": cue,
                "name": str(card.get("name", cue)),
                "version": str(card.get("version", "1")),
                "family": card["family"],
                "card_text": str(card.get("card_text", "")),
                "moves": " ".join(card.get("moves", ())),
                "direction": int(card.get("direction", 1)),
                "clubs": " ".join(card.get("clubs", ())),
                "exclusions": " ".join(card.get("exclusions", ())),
            }
        )
    if PLAIN not in content:
        plain = dict.fromkeys(("card_text", "moves", "clubs", "exclusions"), "")
        rows.append({"cue": PLAIN, "name": PLAIN, "version": "1", "family": "none", "direction": 1, **plain})
    return pd.DataFrame(rows)


def toml_text(text: str) -> str:
    """Return a text as TOML writes it, in quotes, whatever stands in it.

    >>> toml_text("bay 3")
    '"bay 3"'
    """
    return json.dumps(str(text), ensure_ascii=False).replace("\x7f", "\\u007f")


def _read_toml(path: Path, what: str) -> dict:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as err:
        raise DataError(
            f"{path.name} was asked for as {what}.", f"It cannot be opened ({err.strerror}).", "Check the path."
        ) from err
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as err:
        raise DataError(
            f"{path.name} was read as {what}.", f"It is not valid TOML: {err}.", "Correct that line."
        ) from err


def _unknown(path: Path, key: str, known: object) -> DataError:
    names = [str(name) for name in known]  # type: ignore[attr-defined]
    close = get_close_matches(key, names, n=1)
    hint = f"; {close[0]!r} is close" if close else ""
    shown = ", ".join(names if len(names) <= 12 else [*names[:12], "..."])
    return DataError(
        f"{path.name} was read.", f"{key!r} is not known there{hint}.", f"Use one of: {shown}.", path=path.name, key=key
    )
