"""What the academy says of a study in its own words: ``report.toml`` beside the files.

Data can show how many students hit a cue; they cannot show why the question was asked, what was planned, or whose
favourite the cue is. These words fill the checklist of the report.
"""

import tomllib
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path

from coachlab.errors import DataError

FILE = "report.toml"
ITEMS = 22
"""Items of the checklist, numbered from 1."""


@dataclass(frozen=True)
class Declared:
    """The academy's own words on a study; empty where it said nothing.

    ``items`` maps the number of a checklist item to its words; words that begin with "not done" leave the item undone
    with its reason.
    """

    question: str = ""
    primary_cue: str = ""
    limitation: str = ""
    items: dict[int, str] = field(default_factory=dict)


def read_declared(folder: str | Path) -> Declared:
    """Return what ``report.toml`` in a folder says; empty words where there is no such file.

    Its keys are ``question``, ``primary_cue`` (the one contrast that was chosen before the first shot),
    ``limitation``, and a section ``[item]`` with the numbers 1 to 22.

    Raises
    ------
    DataError
        If the file is no TOML, or holds an unknown key, an unknown item, or something that is no text.
    """
    path = Path(folder) / FILE
    if not path.is_file():
        return Declared()
    asked = f"{FILE} was read for the report."
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as err:
        raise DataError(asked, f"It is not valid TOML: {err}.", "Correct that line.", path=FILE) from err
    items = content.pop("item", {})
    known = ("question", "primary_cue", "limitation", "item")
    for key, value in content.items():
        if key not in known:
            close = get_close_matches(key, known, n=1)
            hint = f"; {close[0]!r} is close" if close else ""
            raise DataError(asked, f"{key!r} is not known there{hint}.", f"Use one of: {', '.join(known)}.", key=key)
        if not isinstance(value, str):
            raise DataError(asked, f"{key} is {value!r}, not a text.", "Write it between quotation marks.", key=key)
    if not isinstance(items, dict):
        raise DataError(asked, f"item is {items!r}, not a section.", "Write a section [item].", key="item")
    for key, value in items.items():
        if not (key.isdecimal() and 1 <= int(key) <= ITEMS):
            raise DataError(asked, f"[item] holds {key!r}.", f"Number the items 1 to {ITEMS}.", key=key)
        if not isinstance(value, str) or not value.strip():
            raise DataError(asked, f"Item {key} is {value!r}, no text.", "Write a sentence, or leave it out.", key=key)
    return Declared(**content, items={int(key): value.strip() for key, value in items.items()})
