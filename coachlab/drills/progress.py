"""A trainee's answers, kept under a pseudonym, and what they say of each cause-effect link."""

import json
import os
import secrets
import tempfile
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd

from coachlab.drills.draw import EXERCISES, drill
from coachlab.drills.links import LINKS
from coachlab.drills.spacing import Standing, next_link, standings
from coachlab.drills.value import GROUPS, Marking, Question
from coachlab.errors import DataError
from coachlab.privacy import is_pseudonym, pseudonym
from coachlab.settings import Settings

COLUMNS = ("exercise", "seed", "variant", "answered_at", "answer", "mark_ratio", "link")
"""What is kept of an answer: no word of the trainee's own but the answer itself."""

KIND, VERSION = "answers to coachlab drills", 1
KEY_FILE = "pseudonyms.key"
_LARGEST_BYTES = 20_000_000
_TEXTS = ("exercise", "answered_at", "answer", "link")


@dataclass(frozen=True, eq=False)
class Progress:
    """One trainee's answers so far.

    Attributes
    ----------
    student : str
        The pseudonym; empty where nothing is kept.
    path : Path or None
        The file that holds the answers; None where nothing is kept.
    answers : DataFrame
        `COLUMNS`, in their order; ``link`` is the one that the answer speaks for.
    """

    student: str = ""
    path: Path | None = None
    answers: pd.DataFrame = field(default_factory=lambda: _frame([]))

    @property
    def table(self) -> pd.DataFrame:
        """One row a link: ``link group words asked right state``; state is weak, coming, firm or new."""
        found = standings(self.answers, list(LINKS))
        group = {exercise.link: GROUPS[exercise.group] for exercise in reversed(list(EXERCISES.values()))}
        rows = [(link, group[link], LINKS[link], each.asked, each.right, _state(each)) for link, each in found.items()]
        return pd.DataFrame(rows, columns=["link", "group", "words", "asked", "right", "state"])

    @property
    def weak(self) -> list[str]:
        """The links whose last answer was a miss, in the order in which they come back."""
        found = standings(self.answers, list(LINKS))
        return sorted((link for link, each in found.items() if each.weak), key=lambda link: found[link].due_at)

    def text(self) -> str:
        """Return how far the trainee is, in sentences."""
        count, right = len(self.answers), int((self.answers["mark_ratio"] >= 0.5).sum())
        if not count:
            return "No answer yet."
        weak = "; ".join(LINKS[link].rstrip(".") for link in self.weak)
        return f"{right} of {count} right. " + (f"Coming back soon: {weak}." if weak else "No link is weak now.")

    def _repr_html_(self) -> str:
        return f"<p>{self.text()}</p>" + self.table.drop(columns="link").to_html(index=False)

    def next(self, group: str | None = None, seed: int | None = None, settings: Settings | None = None) -> Question:
        """Return the next question: weak links first, then new ones, the same for the same answers and seed.

        Parameters
        ----------
        group : str or None
            One of `GROUPS`; None: all six in turn.
        seed : int or None
            None: drawn anew.
        settings : Settings or None
            The academy's, for yards or metres.

        Raises
        ------
        DataError
            If there is no such group.
        """
        if group is not None and group not in GROUPS:
            raise DataError("The next question was asked for.", f"There is no group {group!r}.", _one_of(GROUPS))
        mine = [each for each in EXERCISES.values() if group in (None, each.group)]
        links = list(dict.fromkeys(each.link for each in mine))
        count = len(self.answers)
        link = next_link(standings(self.answers, links), count)
        seed = int(np.random.default_rng().integers(2**31)) if seed is None else seed
        training = [each.name for each in mine if each.link == link]
        asked = self.answers["exercise"].value_counts()
        least = min(asked.get(name, 0) for name in training)
        fresh = [name for name in training if asked.get(name, 0) == least]
        return drill(str(np.random.default_rng([seed, count]).choice(fresh)), seed, count, settings)

    def add(self, marking: Marking) -> "Progress":
        """Return the progress with one more answer, and keep it in the file where there is one.

        What another window has added to the file meanwhile stays in it. The file is written beside itself and put in
        its place at once, so that it is never half written.

        Raises
        ------
        DataError
            If the file was damaged meanwhile, or cannot be written; the file is then left as it is.
        """
        question = marking.question
        row = {
            "exercise": question.exercise,
            "seed": question.seed,
            "variant": question.variant,
            "answered_at": datetime.now(UTC).isoformat(timespec="seconds"),
            "answer": str(marking.answer),
            "mark_ratio": float(marking.right),
            "link": marking.link,
        }
        before = _read(self.path, self.student) if self.path and self.path.exists() else _rows(self.answers)
        rows = [*before, row]
        if self.path:
            _write(self.path, self.student, rows)
        return replace(self, answers=_frame(rows))


def drill_progress(who: str = "", folder: str | Path | None = None) -> Progress:
    """Return a trainee's answers so far, to ask for the next question and to add to.

    Parameters
    ----------
    who : str
        Any word that the trainee remembers, or the pseudonym that was shown last time, as in ``s-7f3a9c2e``. The word
        itself is written nowhere. Empty: nothing is kept.
    folder : path or None
        Where the answers are kept, one file a pseudonym, beside the key (``pseudonyms.key``) that turns words into
        pseudonyms: whoever has the key can try words, so keep it out of what you hand on. Made when first needed. None:
        nothing is kept.

    Raises
    ------
    DataError
        If the file, or the key, is damaged or not one of these; nothing is changed then.

    Examples
    --------
    >>> drill_progress().next("arc", seed=1).group
    'arc'
    """
    if not str(who).strip() or folder is None:
        return Progress()
    folder, who = Path(folder), str(who).strip()
    student = who if is_pseudonym(who) else pseudonym(who, _key(folder))
    path = folder / f"{student}.json"
    return Progress(student, path, _frame(_read(path, student) if path.exists() else []))


def _state(standing: Standing) -> str:
    if not standing.asked:
        return "new"
    return "weak" if standing.weak else "firm" if standing.step >= 3 else "coming"


def _frame(rows: list[dict]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    kinds = {"seed": "int64", "variant": "int64", "mark_ratio": "float64"}
    return frame.astype({name: kinds.get(name, "str") for name in COLUMNS})


def _rows(frame: pd.DataFrame) -> list[dict]:
    return frame.to_dict("records")


def _read(path: Path, student: str) -> list[dict]:
    """Return the answers of a file, or say what is wrong with it."""
    asked = f"The answers of {student} were to be read from {path.name}."
    do = "Nothing was changed. Put back a copy, or move the file away to begin anew."
    try:
        large = path.stat().st_size > _LARGEST_BYTES
        text = b"" if large else path.read_bytes()
    except OSError as err:
        raise DataError(asked, f"It cannot be opened ({err.strerror}).", do, path=str(path)) from err
    if large:
        raise DataError(asked, "The file is larger than any trainee's answers.", do, path=str(path))
    try:
        content = json.loads(text.decode("utf-8"))
    except (ValueError, RecursionError) as err:
        raise DataError(asked, f"It is damaged: {type(err).__name__}.", do, path=str(path)) from err
    if not isinstance(content, dict) or content.get("kind") != KIND:
        raise DataError(asked, "It is another kind of file.", do, path=str(path))
    if content.get("version") != VERSION:
        raise DataError(asked, f"It has version {content.get('version')!r}; {VERSION} is known.", do, path=str(path))
    if content.get("student") != student:
        raise DataError(asked, "It holds another trainee's answers.", do, path=str(path))
    rows = content.get("answers")
    rows = rows if isinstance(rows, list) else [None]
    for number, row in enumerate(rows, start=1):
        if not _good(row):
            raise DataError(asked, f"Answer {number} is damaged.", do, path=str(path), row=number)
    return rows


def _good(row: object) -> bool:
    """Return whether a row has every column, each of its kind."""
    if not isinstance(row, dict) or set(row) != set(COLUMNS):
        return False
    whole = all(type(row[name]) is int and 0 <= row[name] < 2**63 for name in ("seed", "variant"))
    ratio = row["mark_ratio"]
    return (
        whole and all(isinstance(row[name], str) for name in _TEXTS) and type(ratio) in (int, float) and 0 <= ratio <= 1
    )


def _write(path: Path, student: str, rows: list[dict]) -> None:
    content = {"kind": KIND, "version": VERSION, "student": student, "answers": rows}
    _put(path, json.dumps(content, ensure_ascii=False, indent=1))


def _put(path: Path, text: str) -> None:
    """Write a file beside its place and put it there at once."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".writing-")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            os.replace(name, path)
        finally:
            Path(name).unlink(missing_ok=True)
    except OSError as err:
        raise DataError(
            f"{path.name} was to be written.",
            f"It cannot be ({err.strerror}).",
            "Choose a folder that may be written to; what was there before is untouched.",
            path=str(path),
        ) from err


def _key(folder: Path) -> bytes:
    """Return the folder's key, made when first needed; readable by its owner only."""
    path = folder / KEY_FILE
    if not path.exists():
        _put(path, secrets.token_bytes(32).hex())
    try:
        key = bytes.fromhex(path.read_text(encoding="utf-8").strip())
    except (OSError, ValueError):
        key = b""
    if len(key) < 16:
        raise DataError(
            "A trainee's word was to become a pseudonym.",
            f"The key in {path.name} is damaged, so no word leads to its answers.",
            "Put back a copy of the key. Whoever knows their pseudonym can give it instead; all answers are still "
            "there.",
            path=str(path),
        )
    return key


def _one_of(names: object) -> str:
    return f"Choose one of {', '.join(names)}."  # type: ignore[arg-type]
