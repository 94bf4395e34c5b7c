"""The academy's cue cards as they are edited: a changed wording is a new version, and the old one stays in the file.

`settings.read_cues` reads ``cues.toml`` for the analysis; here it is opened to be changed and written back, with every
line that does not belong to a changed card left as it stands.
"""

import re
import tempfile
import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path

from coachlab.errors import DataError
from coachlab.intake.write import write_bytes
from coachlab.schema import CLUBS, FAMILIES, OUTCOMES, PLAIN
from coachlab.settings import read_cues, toml_text

_ID = re.compile(r"[A-Za-z0-9_-]{1,40}")
_HEADER = re.compile(r"^\s*\[{1,2}[^\[\]]+\]{1,2}\s*(#.*)?$")


@dataclass(frozen=True)
class Card:
    """One cue: what the coach says, and what it is meant to move.

    Parameters
    ----------
    cue, name : str
        Its id (letters, digits, ``-`` and ``_``) and what it is called.
    family : str
        One of `schema.FAMILIES`.
    card_text : str
        What the coach says, word for word, on one line.
    moves : tuple of str
        Keys of `schema.OUTCOMES`; empty: nothing.
    direction : {1, -1}
        Which way.
    clubs : tuple of str
        Keys of `schema.CLUBS`; empty: all.
    exclusions : tuple of str
        Who should not be given it, a word each.
    version : str
        Of the wording.

    Raises
    ------
    DataError
        If a value is not what it must be.
    """

    cue: str
    name: str
    family: str
    card_text: str
    moves: tuple[str, ...] = ()
    direction: int = 1
    clubs: tuple[str, ...] = ()
    exclusions: tuple[str, ...] = ()
    version: str = "1"

    def __post_init__(self) -> None:
        asked = f"The cue card {self.cue!r} was written."
        if not _ID.fullmatch(self.cue):
            raise DataError(asked, "Its id is no short word.", "Use letters, digits, - and _, as in S1.", cue=self.cue)
        if self.family not in FAMILIES:
            raise DataError(asked, f"Its family is {self.family!r}.", f"Use {', '.join(FAMILIES)}.", cue=self.cue)
        if self.family != "none" and not self.card_text.strip():
            raise DataError(asked, "It says nothing.", "Write what the coach says, word for word.", cue=self.cue)
        for name in ("name", "card_text", "version"):
            value = getattr(self, name)
            if any(ord(letter) < 32 or ord(letter) == 127 for letter in value):
                raise DataError(asked, f"{name} holds a line end.", "Write it on one line.", cue=self.cue)
        if not self.version.strip():
            raise DataError(asked, "Its version is blank.", "Give it a number.", cue=self.cue)
        if self.direction not in (1, -1):
            raise DataError(asked, f"Its direction is {self.direction!r}.", "Use 1 or -1.", cue=self.cue)
        for word, known in (*((one, OUTCOMES) for one in self.moves), *((one, CLUBS) for one in self.clubs)):
            if word not in known:
                raise DataError(
                    asked, f"{word!r} is not known.", f"Use {', '.join(list(known)[:12])} ...", cue=self.cue
                )
        for word in self.exclusions:
            if not _ID.fullmatch(word):
                raise DataError(
                    asked,
                    f"The exclusion {word!r} is no single word.",
                    "Write words such as back or under-16.",
                    cue=self.cue,
                )


@dataclass(frozen=True, eq=False)
class Cards:
    """The cue cards of a file, opened to be changed.

    Attributes
    ----------
    path : Path
        The file; it need not be there yet.
    text : str
        Its content when it was opened.
    cards : tuple of Card
        As they are now.
    older : mapping of str to tuple of (version, wording)
        Former wordings of each cue.
    opened : Cards or None
        The same as the file has them; None where there is no file.
    taken_over : bool
        True where the file is not there yet and the text is that of another, from which it begins.
    """

    path: Path
    text: str = ""
    cards: tuple[Card, ...] = ()
    older: dict[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    opened: "Cards | None" = None
    taken_over: bool = False

    @property
    def by_cue(self) -> dict[str, Card]:
        """The cards by their id."""
        return {card.cue: card for card in self.cards}


def open_cards(path: str | Path, start: str | Path | None = None) -> Cards:
    """Return the cue cards of a file; where there is none yet those of another from which it begins, or none.

    Parameters
    ----------
    path : path
        The file of the cards, ``cues.toml``.
    start : path or None
        A file whose cards are taken over where the first is not there; it is not changed.

    Raises
    ------
    DataError
        If the file cannot be read, or a card is not what it must be.
    """
    path = Path(path)
    if not path.exists():
        return Cards(path) if start is None else replace(open_cards(start), path=path, taken_over=True)
    table = read_cues(path)
    text = path.read_text(encoding="utf-8")
    content = tomllib.loads(text)
    cards, older = [], {}
    for row in table.itertuples():
        section = content.get(row.cue)
        if section is None:
            continue
        cards.append(
            Card(
                str(row.cue), str(row.name), str(row.family), str(row.card_text), tuple(section.get("moves", ())),
                int(row.direction), tuple(section.get("clubs", ())), tuple(map(str, section.get("exclusions", ()))),
                str(row.version),
            )
        )  # fmt: skip
        older[str(row.cue)] = tuple(_older(path, str(row.cue), section.get("older", [])))
    opened = Cards(path, text, tuple(cards), older)
    return replace(opened, opened=opened)


def put_card(cards: Cards, card: Card) -> Cards:
    """Return the cards with one added or changed; a changed wording gets a version of its own, and the old one stays.

    What counts is the wording in the file: until it is saved, further changes make no further versions.

    Raises
    ------
    DataError
        If the card is the baseline's.
    """
    if card.cue == PLAIN:
        raise DataError(
            "A cue card was to be changed.", f"{PLAIN} is the baseline.", "Give the cue an id of its own.", cue=PLAIN
        )
    before = cards.opened.by_cue.get(card.cue) if cards.opened else None
    older = dict(cards.older)
    if before is not None:
        kept = tuple(one for one in older.get(card.cue, ()) if one[0] != before.version)
        if same_words(card.card_text, before.card_text):
            card, older[card.cue] = replace(card, version=before.version), kept
        else:
            used = {before.version, *(version for version, _ in kept)}
            card = replace(card, version=_next_version(before.version, used))
            older[card.cue] = (*kept, (before.version, before.card_text))
    now = cards.by_cue | {card.cue: card}
    return replace(cards, cards=tuple(now.values()), older=older)


def save_cards(cards: Cards) -> Cards:
    """Write the cards into their file, whole or not at all, and return them as the file now has them.

    Lines that do not belong to a changed card stay as they are, comments too; comments inside a changed card move to
    its top.

    Raises
    ------
    DataError
        If the file was changed by somebody else since it was opened, or cannot be written.
    """
    there = cards.path.read_text(encoding="utf-8") if cards.path.exists() else ""
    if there != ("" if cards.taken_over else cards.text):
        raise DataError(
            f"{cards.path.name} was to be saved.",
            "Somebody changed the file since it was opened here.",
            "Open it again, and make the change once more.",
            path=cards.path.name,
        )
    text = cards_text(cards)
    with tempfile.TemporaryDirectory() as folder:
        trial = Path(folder) / cards.path.name
        trial.write_bytes(text.encode("utf-8"))
        again = open_cards(trial)
    if again.cards != cards.cards or any(again.older.get(cue, ()) != older for cue, older in cards.older.items()):
        raise DataError(
            f"{cards.path.name} was to be saved.",
            "Its form is one that cannot be changed here without loss.",
            "Write each card as a section of its own, as in [S1], and open it again.",
            path=cards.path.name,
        )
    write_bytes(cards.path, text)
    saved = replace(again, path=cards.path, opened=None, taken_over=False)
    return replace(saved, opened=saved)


def cards_text(cards: Cards) -> str:
    """Return the text of the file with the cards as they are now."""
    before = cards.opened.by_cue if cards.opened else {}
    older = cards.opened.older if cards.opened else {}
    lines = cards.text.splitlines()
    spans = _spans(lines)
    out: list[str] = []
    done: set[str] = set()
    for root, first, last in spans:
        part = lines[first:last]
        card = cards.by_cue.get(root)
        if card is None or (before.get(root) == card and older.get(root, ()) == cards.older.get(root, ())):
            out += part
        elif root not in done:
            done.add(root)
            mine = [line for name, start, end in spans if name == root for line in lines[start:end]]
            below = _below(mine)
            out += [*_card_lines(card, cards.older.get(root, ()), _comments(mine[: len(mine) - len(below)])), *below]
    for card in cards.cards:
        if card.cue not in before:
            out += [*([""] if out and out[-1].strip() else []), *_card_lines(card, cards.older.get(card.cue, ()), [])]
    return "\n".join(out).rstrip("\n") + "\n"


def same_words(one: str, other: str) -> bool:
    """Return whether two wordings are the same but for blanks."""
    return " ".join(one.split()) == " ".join(other.split())


def _older(path: Path, cue: str, content: object) -> list[tuple[str, str]]:
    if not isinstance(content, list) or not all(
        isinstance(one, dict) and {"version", "card_text"} <= set(one) for one in content
    ):
        raise DataError(
            f"{path.name} was read as the academy's cue cards, cue {cue!r}.",
            "A former wording lacks its version or its text.",
            f"Write [[{cue}.older]] with version and card_text.",
            cue=cue,
        )
    return [(str(one["version"]), str(one["card_text"])) for one in content]


def _next_version(version: str, used: set[str]) -> str:
    start = int(version) + 1 if version.isdecimal() else 2
    stem = "" if version.isdecimal() else f"{version}-"
    return next(name for count in range(start, start + len(used) + 2) if (name := f"{stem}{count}") not in used)


def _card_lines(card: Card, older: tuple[tuple[str, str], ...], comments: list[str]) -> list[str]:
    def words(values: tuple[str, ...]) -> str:
        return f"[{', '.join(map(toml_text, values))}]"

    lines = [f"[{card.cue}]", *comments]
    lines += [f"{name} = {toml_text(getattr(card, name))}" for name in ("name", "version", "family", "card_text")]
    lines += [f"moves = {words(card.moves)}", f"direction = {card.direction}"]
    lines += [f"{name} = {words(value)}" for name in ("clubs", "exclusions") if (value := getattr(card, name))]
    for version, wording in older:
        lines += ["", f"[[{card.cue}.older]]", f"version = {toml_text(version)}", f"card_text = {toml_text(wording)}"]
    return lines


def _spans(lines: list[str]) -> list[tuple[str, int, int]]:
    """Return the runs of lines under one header, each with its cue; those before the first header with none."""
    starts = [(0, "")]
    for place, line in enumerate(lines):
        if _HEADER.match(line):
            try:
                root = next(iter(tomllib.loads(line)))
            except tomllib.TOMLDecodeError:
                continue
            starts.append((place, root))
    ends = [place for place, _ in starts[1:]] + [len(lines)]
    return [(root, first, last) for (first, root), last in zip(starts, ends, strict=True) if last > first]


def _below(lines: list[str]) -> list[str]:
    """Return the blank lines and comments at the end of a card, which speak of what follows."""
    last = max((place for place, line in enumerate(lines) if line.strip() and line.strip()[0] != "#"), default=-1)
    return lines[last + 1 :]


def _comments(lines: list[str]) -> list[str]:
    """Return the comments of some lines, without the values before them."""
    found = []
    for line in lines:
        quote, place = "", 0
        while place < len(line):
            letter = line[place]
            if quote:
                if letter == "\\" and quote == '"':
                    place += 1
                elif letter == quote:
                    quote = ""
            elif letter in "\"'":
                quote = letter
            elif letter == "#":
                found.append(line[place:].rstrip())
                break
            place += 1
    return found
