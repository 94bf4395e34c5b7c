"""The cue cards as a panel: what the coach says, what it is meant to move, and for whom it is not."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from coachlab import claims
from coachlab.errors import DataError, need
from coachlab.intake.cards import Card, Cards, open_cards, put_card, same_words, save_cards
from coachlab.intake.headings import close_to, read_club
from coachlab.intake.pain import PLACES
from coachlab.schema import CLUBS, OUTCOMES, PLAIN, show_club
from coachlab.widgets import sheet
from coachlab.widgets.sheet import Part, Sheet

FAMILY_WORDS = {
    "setup": "setup: seen before the swing",
    "intent": "intent: imagined or felt",
    "none": "none: asks for nothing",
}


def cards_panel(path: str | Path = "cues.toml", start: str | Path | None = None) -> Sheet:
    """Return a panel in which the academy's cue cards are read, changed and added to.

    Parameters
    ----------
    path : path
        The file of the cards; it is made if it is not there.
    start : path or None
        A file whose cards are taken over where the first is not there; it is not changed.

    Raises
    ------
    DataError
        If the file is there and cannot be read.
    """
    need(path, (str, Path), "A panel for cue cards was asked for.", "path", "Give the path of cues.toml.")
    return Sheet(CardBook(path, start))


class CardBook:
    """The page of `cards_panel`: the cards, the one that is being changed, and what each action does."""

    def __init__(self, path: str | Path, start: str | Path | None = None) -> None:
        self.cards: Cards = open_cards(path, start)
        self.draft: dict[str, Any] | None = None
        self.done = ""

    def parts(self) -> list[Part]:
        """Return the cards as a table, or the one that is being changed."""
        if self.draft is not None:
            return self._draft_parts(self.draft)
        file = self.cards.path.name
        begun = f" They are taken over for a start; {file} is made with the first change."
        done = [sheet.text(self.done, tone="done")] if self.done else []
        return [
            sheet.title(
                "Cue cards",
                f"What the coaches of this academy say, word for word.{begun if self.cards.taken_over else ''}",
            ),
            *done,
            self._table(),
            sheet.buttons(sheet.button("new", "Write a new card", main=True)),
            sheet.text(
                f"Comments in {file} stay where they are; inside a card that is changed they move to its top. A card "
                "that was ever offered stays, because the logs speak of it.",
                tone="quiet",
            ),
        ]

    def _table(self) -> Part:
        rows: list[list] = []
        for card in self.cards.cards:
            edit = {"buttons": [sheet.button("edit", "Change", row=card.cue, full=f"Change {card.cue} {card.name}")]}
            own = card.cue != PLAIN
            rows.append(
                [
                    sheet.cell(card.cue, "" if card.name == card.cue else card.name),
                    sheet.cell(f"“{card.card_text}”" if card.card_text else "", f"version {card.version}"),
                    card.family, moves_text(card.moves, card.direction), clubs_text(card.clubs),
                    ", ".join(card.exclusions), edit if own else "",
                ]
            )  # fmt: skip
        heads = ["cue", "what the coach says", "kind", "meant to move", "clubs", "not with trouble in", ""]
        count = len(rows)
        return sheet.table(f"{count} card{'' if count == 1 else 's'}", heads, rows, stack=True)

    def _draft_parts(self, draft: dict[str, Any]) -> list[Part]:
        new = draft["new"]
        asked = [sheet.entry("cue", "Id", draft["cue"], "short, as in S4; it never changes")] if new else []
        ways = [("1", moves_text(draft["moves"], 1) or "up"), ("-1", moves_text(draft["moves"], -1) or "down")]
        fields = sheet.fields(
            *asked,
            sheet.entry("name", "Name", draft["name"]),
            sheet.choice("family", "Kind", list(FAMILY_WORDS.items()), draft["family"]),
            sheet.entry("card_text", "What the coach says, word for word", draft["card_text"], wide=True, lines=2),
            sheet.several("moves", "What it is meant to move", list(OUTCOMES.items()), draft["moves"]),
            *([sheet.choice("direction", "Which way", ways, draft["direction"])] if draft["moves"] else []),
            sheet.entry("clubs", "Clubs", draft["clubs"], "as in 7-iron, driver; left blank: all"),
            sheet.several("places", "Not for a student with trouble in", [(p, p) for p in (*PLACES[:-1], "pain")],
                          draft["places"], "pain: nobody in a limited lesson"),
            sheet.entry("others", "Not for others", draft["others"], "a word each, as in under-16"),
        )  # fmt: skip
        heading = "A new card" if new else f"{draft['cue']} {self.cards.by_cue[draft['cue']].name}"
        parts = [sheet.title(heading, "Nothing is written before you save."), fields]
        before = None if new else self.cards.opened and self.cards.opened.by_cue.get(draft["cue"])
        if before and not same_words(before.card_text, draft["card_text"]):
            parts.append(
                sheet.text(
                    f"The wording changes, so this becomes a new version. Version {before.version} stays in the file: "
                    f"logs speak of it. It says: “{before.card_text}”",
                    tone="aside",
                )
            )
        older = () if new else self.cards.older.get(draft["cue"], ())
        if older:
            rows = [[version, wording] for version, wording in older]
            parts.append(sheet.fold("Wordings before", sheet.table("Former versions", ["version", "wording"], rows)))
        parts.append(
            sheet.text(
                "A card that tilts the body, changes the width of the stance or asks to hit down should leave out "
                "back, hip, wrist and elbow: in a limited lesson it is then not offered.",
                tone="quiet",
            )
        )
        save = sheet.button("save", "Save this card", main=True)
        return [*parts, sheet.buttons(save, sheet.button("leave", "Leave it as it was"))]

    def act(self, action: str, values: Mapping[str, Any]) -> str:
        """Do what was asked, and return what was done."""
        if action != "set":
            self.done = ""
        return getattr(self, f"_do_{action}")(**values)

    def _do_set(self, **values: Any) -> str:
        if self.draft is not None:
            self.draft |= {name: value for name, value in values.items() if name in self.draft}
        return ""

    def _do_new(self) -> str:
        self.draft = {
            "new": True, "cue": "", "name": "", "family": "setup", "card_text": "", "moves": [], "direction": "1",
            "clubs": "", "places": [], "others": "",
        }  # fmt: skip
        return "A new card."

    def _do_edit(self, row: str) -> str:
        card = self.cards.by_cue[row]
        known = (*PLACES, "pain")
        self.draft = {
            "new": False, "cue": card.cue, "name": card.name, "family": card.family, "card_text": card.card_text,
            "moves": list(card.moves), "direction": str(card.direction),
            "clubs": ", ".join(map(show_club, card.clubs)), "places": [one for one in card.exclusions if one in known],
            "others": " ".join(one for one in card.exclusions if one not in known),
        }  # fmt: skip
        return f"{card.cue} can be changed."

    def _do_leave(self) -> str:
        self.draft = None
        return "Nothing was changed."

    def _do_save(self) -> str:
        draft = self.draft
        if draft is None:
            return ""
        if draft["new"] and draft["cue"].strip() in self.cards.by_cue:
            raise DataError(
                "A new cue card was written.",
                f"There is a card {draft['cue'].strip()} already.",
                "Give it an id of its own, or change that card.",
            )
        cue = draft["cue"].strip()
        version = "1" if draft["new"] else self.cards.by_cue[cue].version
        card = Card(
            cue,
            draft["name"].strip() or cue,
            draft["family"],
            " ".join(draft["card_text"].split()),
            tuple(name for name in OUTCOMES if name in draft["moves"]),
            int(draft["direction"]) if draft["moves"] else 1,
            read_clubs(draft["clubs"]),
            (*draft["places"], *re.split(r"[\s,;]+", draft["others"].strip())) if draft["others"].strip()
            else tuple(draft["places"]),
            version,
        )  # fmt: skip
        self.cards = save_cards(put_card(self.cards, card))
        self.draft = None
        saved = self.cards.by_cue[card.cue]
        self.done = f"{saved.cue} is saved in {self.cards.path.name}, version {saved.version}."
        return self.done


def moves_text(moves: list[str] | tuple[str, ...], direction: int) -> str:
    """Return what a cue is meant to move, as in ``attack higher, path further out``.

    >>> moves_text(["attack_up_deg"], -1)
    'attack lower'
    """
    return ", ".join(f"{OUTCOMES[name]} {claims.state(name, direction)}" for name in moves)


def clubs_text(clubs: tuple[str, ...]) -> str:
    """Return clubs as a golfer says them; ``all`` for none."""
    return ", ".join(map(show_club, clubs)) if clubs else "all"


def read_clubs(text: str) -> tuple[str, ...]:
    """Return the clubs of a text, parted by commas.

    Raises
    ------
    DataError
        If one of them is no club.

    >>> read_clubs("7-iron, driver")
    ('iron-7', 'driver')
    """
    found = []
    for word in filter(None, (part.strip() for part in re.split(r"[,;]", text))):
        club = read_club(word, {})
        if club is None:
            raise DataError(
                "The clubs of a cue card were read.",
                f"{word!r} is no club{close_to(word, map(show_club, CLUBS))}.",
                "Write them as in: 7-iron, driver, pitching wedge.",
            )
        found.append(club)
    return tuple(found)
