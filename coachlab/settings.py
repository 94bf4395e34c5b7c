"""The academy's own settings: ``academy.toml`` (thresholds and habits) and ``cues.toml`` (its cue cards).

Thresholds are settings, not constants: an academy edits the file, and every page says which value it used.
"""

import json
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from difflib import get_close_matches
from pathlib import Path
from types import MappingProxyType

import pandas as pd

from coachlab.errors import DataError, need
from coachlab.schema import CLUBS, FAMILIES, OUTCOMES, PLAIN

DEFAULT_USEFUL: Mapping[str, float] = MappingProxyType(
    {
        "attack_up_deg": 1.0,
        "path_out_deg": 1.5,
        "face_open_deg": 1.0,
        "face_to_path_deg": 1.0,
        "club_speed_mps": 0.5,
        "carry_m": 3.0,
    }
)
DEFAULT_USEFUL_BY_CLUB: Mapping[str, Mapping[str, float]] = MappingProxyType({"driver": {"carry_m": 4.0}})
"""Smallest useful shifts where neither the academy nor the flight model says one; all assumed."""

OWN, FLOWN, DEFAULT = "own", "flight model", "default"
"""Where a smallest useful shift may come from."""


@dataclass(frozen=True)
class Settings:
    """What an academy has decided, with the defaults where it has not.

    Smallest useful shifts are in the outcome's own unit. What the academy has set goes first
    (``smallest_useful_by_club``, as in ``{"driver": {"carry_m": 4.0}}``, before the general ``smallest_useful``), then
    what the flight model says of that club (``flown_useful``, filled by `worth.useful.flown_settings`), then the
    defaults. ``windows_by_club`` holds the academy's own target windows, low and high. All defaults are assumptions
    until the academy replaces them.

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
    junior_swings: int = 40
    driver_swings: int = 30
    largest_file_mb: int = 1000
    largest_unpacked_mb: int = 2000
    largest_packing_ratio: int = 200
    largest_cells: int = 100_000_000
    largest_columns: int = 1000
    smallest_useful: dict = field(default_factory=dict)
    smallest_useful_by_club: dict = field(default_factory=dict)
    windows_by_club: dict = field(default_factory=dict)
    flown_useful: dict = field(default_factory=dict)

    def smallest_useful_shift(self, outcome: str, club: str = "") -> float:
        """Return the least shift worth having, in the outcome's own unit.

        Raises
        ------
        DataError
            If there is no such outcome.

        >>> Settings().smallest_useful_shift("carry_m", "driver")
        4.0
        """
        return self._useful(outcome, club)[0]

    def useful_source(self, outcome: str, club: str = "") -> str:
        """Return where the least shift worth having comes from: `OWN`, `FLOWN` or `DEFAULT`.

        >>> Settings(smallest_useful={"carry_m": 5.0}).useful_source("carry_m", "driver")
        'own'
        """
        return self._useful(outcome, club)[1]

    def _useful(self, outcome: str, club: str) -> tuple[float, str]:
        places = (
            (self.smallest_useful_by_club.get(club, {}), OWN),
            (self.smallest_useful, OWN),
            (self.flown_useful.get(club, {}), FLOWN),
            (DEFAULT_USEFUL_BY_CLUB.get(club, {}), DEFAULT),
            (DEFAULT_USEFUL, DEFAULT),
        )
        for values, source in places:
            if outcome in values:
                return float(values[outcome]), source
        raise DataError(
            f"The smallest useful shift of {outcome} was asked for.",
            f"There is one for: {', '.join(DEFAULT_USEFUL)}.",
            "Choose one of these, or write it under [smallest_useful] in academy.toml.",
            column=outcome,
        )


def read_settings(path: str | Path | None = None) -> Settings:
    """Return the academy's settings from ``academy.toml``; the defaults without a path.

    Raises
    ------
    DataError
        If the file cannot be read, holds an unknown key, or a value of the wrong kind.
    """
    if path is None:
        return Settings()
    need(path, (str, Path), "The academy's settings were to be read.", "path", "Give the path of academy.toml.")
    path = Path(path)
    content = _read_toml(path, "the academy's settings")
    useful = content.pop("smallest_useful", {})
    if not isinstance(useful, dict):
        raise DataError(
            f"{path.name} was read as the academy's settings.",
            f"smallest_useful is {useful!r}.",
            "Write a section [smallest_useful] with lines such as carry_m = 3.0.",
            key="smallest_useful",
        )
    by_club = {club: values for club, values in useful.items() if isinstance(values, dict)}
    general = {name: value for name, value in useful.items() if not isinstance(value, dict)}
    windows = _windows(path, content.pop("window", {}))
    kinds = {item.name: type(item.default) for item in fields(Settings) if item.default is not MISSING}
    for key, value in content.items():
        if key not in kinds:
            raise _unknown(path, key, [*kinds, "smallest_useful", "window"])
        if type(value) is not kinds[key]:
            raise DataError(
                f"{path.name} was read as the academy's settings.",
                f"{key} is {value!r}; {_KINDS.get(kinds[key], 'a number')} is due.",
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
            if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < 1e6:
                raise DataError(
                    f"{path.name} was read as the academy's settings.",
                    f"The smallest useful shift of {outcome} is {value!r}; a positive number is due.",
                    f"Write it in the unit of {outcome}.",
                    key=outcome,
                )
    return Settings(**content, smallest_useful=general, smallest_useful_by_club=by_club, windows_by_club=windows)


def cards_or_none(cues: pd.DataFrame | None) -> pd.DataFrame | None:
    """Return cue cards, or None where no card is there: then all cues count that the log names.

    A folder without ``cues.toml`` gives an empty table of cards, and means the same as no table.
    """
    do = "Give the table of read_cues, or None."
    need(cues, (pd.DataFrame, type(None)), "Cue cards were to be used.", "cues", do)
    return cues if cues is not None and len(cues) else None


def read_cues(path: str | Path) -> pd.DataFrame:
    """Return the academy's cue cards from ``cues.toml`` as the table ``cues``, one row a cue.

    The file holds one section a cue, ``[S1]``, with ``version``, ``family``, ``card_text``, ``moves`` (a list of
    outcomes), ``direction`` (+1 or -1), ``clubs`` and ``exclusions`` (lists). Former wordings may stand below it as
    ``[[S1.older]]``; they are left alone here. The baseline ``plain`` is added when it is not there.

    Raises
    ------
    DataError
        Naming the cue and the key that does not fit.
    """
    need(path, (str, Path), "The academy's cue cards were to be read.", "path", "Give the path of cues.toml.")
    path = Path(path)
    content = _read_toml(path, "the academy's cue cards")
    content.pop("note", None)
    known = {"version", "name", "family", "card_text", "moves", "direction", "clubs", "exclusions", "older"}
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
        for key in ("moves", "clubs", "exclusions"):
            words = card.get(key, [])
            if not isinstance(words, list) or not all(isinstance(word, str) for word in words):
                raise DataError(asked, f"{key} is {words!r}.", "Write a list of texts.", cue=cue, key=key)
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


_KINDS = {str: "a text in quotation marks", int: "a whole number", bool: "true or false"}


def _windows(path: Path, content: object) -> dict[str, dict[str, tuple[float, float]]]:
    """Return the academy's own target windows by club and outcome; refuse what is none."""
    asked = f"{path.name} was read as the academy's settings."
    if not isinstance(content, dict) or not all(isinstance(values, dict) for values in content.values()):
        raise DataError(asked, "window holds no club.", "Write a section for each club, as in [window.iron-7].")
    found: dict[str, dict[str, tuple[float, float]]] = {}
    for club, values in content.items():
        if club not in CLUBS:
            raise _unknown(path, club, CLUBS)
        for outcome, ends in values.items():
            if outcome not in OUTCOMES:
                raise _unknown(path, outcome, OUTCOMES)
            numbers = isinstance(ends, list) and [end for end in ends if type(end) in (int, float)]
            if not numbers or len(ends) != 2 or len(numbers) != 2 or not -1e6 < numbers[0] < numbers[1] < 1e6:
                raise DataError(
                    asked,
                    f"The window of {outcome} with {club} is {ends!r}.",
                    "Write its low and its high end, as in [-5.0, -2.0].",
                    key=outcome,
                )
            found.setdefault(club, {})[outcome] = (float(numbers[0]), float(numbers[1]))
    return found


def toml_text(text: str) -> str:
    """Return a text as TOML writes it, in quotes, whatever stands in it.

    >>> toml_text("bay 3")
    '"bay 3"'
    """
    return json.dumps(str(text), ensure_ascii=False).replace("\x7f", "\\u007f")


def load_toml(text: str) -> dict:
    """Return what a TOML text holds; a whole number beyond 64 bits, which TOML does not know, is a ValueError."""
    content = tomllib.loads(text)
    parts: list[object] = [content]
    while parts:
        part = parts.pop()
        parts += part.values() if isinstance(part, dict) else part if isinstance(part, list) else []
        if isinstance(part, int) and abs(part) >= 2**63:
            raise ValueError("a whole number is beyond 64 bits")
    return content


def _read_toml(path: Path, what: str) -> dict:
    try:
        return load_toml(path.read_text(encoding="utf-8"))
    except OSError as err:
        raise DataError(
            f"{path} was asked for as {what}.", f"It cannot be opened ({err.strerror}).", "Check the path."
        ) from err
    except ValueError as err:  # beside what is no TOML and no UTF-8, a number of thousands of digits
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
