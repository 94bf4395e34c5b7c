"""Balanced orders of conditions, drawn by seed, so that no cue is always first or always after the same other.

Orders come from the construction of Williams: every condition stands equally often in every period, and follows
every other equally often. They are dealt in permuted sets, so that the balance holds at any moment of a study.
"""

import hashlib
import html
import itertools
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.errors import DataError, need, need_seed
from coachlab.schema import PLAIN

ORDER_COLUMNS = ("student", "set", "order", "order_plan", "order_seed")


@dataclass(frozen=True, eq=False)
class Orders:
    """A draw of orders: who gets which conditions in which order.

    Attributes
    ----------
    table : DataFrame
        One row a student, in the order given: ``student``, ``set`` (of permuted orders, from 1), ``order`` (its number
        in `plans`, from 1), ``order_plan`` (the conditions in order, joined by single spaces) and ``order_seed``.
    plans : tuple of str
        The different orders among which was drawn.
    seed : int
        The seed; with the same students and conditions it gives the same draw.
    """

    table: pd.DataFrame
    plans: tuple[str, ...]
    seed: int

    @property
    def seal(self) -> str:
        """A fingerprint of the draw: written down before the first shot, it shows later that nothing was changed."""
        lines = [f"{row.student}:{row.order_plan}" for row in self.table.itertuples()]
        return hashlib.sha256("\n".join([str(self.seed), *lines]).encode()).hexdigest()[:16]

    def card(self, student: str) -> str:
        """Return one student's order, to be opened once they have consented and warmed up.

        Raises
        ------
        DataError
            If the draw holds no such student.
        """
        found = self.table[self.table["student"] == student]
        if found.empty:
            raise DataError(
                f"The order card of {student!r} was asked for.",
                f"The draw holds {len(self.table)} students; {student!r} is not among them.",
                "Check the pseudonym, or draw orders for this student.",
                student=student,
            )
        return f"{student}: {', then '.join(found['order_plan'].iloc[0].split())}."

    def text(self) -> str:
        """Return the draw in a sentence, without giving anybody's order away."""
        dealt = self.table["order"].value_counts()
        uneven = "" if len(self.table) % len(self.plans) == 0 else ", so not every order is dealt equally often"
        return (
            f"{len(self.table)} students, {len(dealt)} of {len(self.plans)} balanced orders{uneven}; "
            f"seed {self.seed}, seal {self.seal}."
        )

    def __repr__(self) -> str:
        return f"<Orders: {self.text()}>"

    def _repr_html_(self) -> str:
        dealt = self.table["order_plan"].value_counts().reindex(list(self.plans), fill_value=0)
        counts = dealt.rename_axis("order").reset_index(name="students")
        return f"<p>{html.escape(self.text())}</p>" + counts.to_html(index=False)


def draw_orders(conditions: Sequence[str], students: int | Sequence[str], seed: int | None = None) -> Orders:
    """Return a balanced order of the conditions for each student.

    Parameters
    ----------
    conditions : sequence of str
        At least two, all different; ``plain`` is one of them where there is a baseline. More than four are too much
        for one visit: split them over two.
    students : int or sequence of str
        How many, or their pseudonyms in the order in which they come.
    seed : int, optional
        Makes the draw repeatable; without it one is drawn and kept in the result.

    Raises
    ------
    DataError
        If conditions or students are too few, doubled, or a condition's name holds a blank.

    References
    ----------
    Williams 1949, designs balanced for the estimation of residual effects of treatments.

    Examples
    --------
    >>> drawn = draw_orders(["plain", "I2", "S1"], ["q1", "q2", "q3", "q4", "q5", "q6"], seed=4)
    >>> sorted(drawn.table["order_plan"])[:2]
    ['I2 S1 plain', 'I2 plain S1']
    """
    _check_conditions(conditions)
    plans = tuple(" ".join(conditions[place] for place in row) for row in williams_orders(len(conditions)))
    return _deal(plans, students, seed)


def draw_pairs(cue: str, students: int | Sequence[str], pairs: int = 2, seed: int | None = None) -> Orders:
    """Return for each student pairs of a plain and a cue block, which of the two comes first drawn for each pair.

    Parameters
    ----------
    cue : str
        The cue; the other condition is ``plain``.
    students : int or sequence of str
        How many, or their pseudonyms.
    pairs : int
        Pairs in one visit; two are the least that says anything about one student.
    seed : int, optional
        Makes the draw repeatable; without it one is drawn and kept in the result.

    Raises
    ------
    DataError
        As `draw_orders`, and for less than one pair or more than six.

    Examples
    --------
    >>> draw_pairs("I2", 4, seed=1).table["order_plan"].sort_values().tolist()
    ['I2 plain I2 plain', 'I2 plain plain I2', 'plain I2 I2 plain', 'plain I2 plain I2']
    """
    _check_conditions([PLAIN, cue])
    if not 1 <= pairs <= 6:
        raise DataError(
            f"Pairs of {PLAIN} and {cue} were to be drawn.",
            f"{pairs} pairs were asked for.",
            "Ask for one to six; two or three fill a lesson.",
            pairs=pairs,
        )
    flips = itertools.product((False, True), repeat=pairs)
    plans = tuple(" ".join(f"{cue} {PLAIN}" if flip else f"{PLAIN} {cue}" for flip in row) for row in flips)
    return _deal(plans, students, seed)


def williams_orders(conditions: int) -> np.ndarray:
    """Return the orders of Williams for a number of conditions, one row an order, conditions counted from 0.

    An even number of conditions has as many orders, an odd one twice as many.

    Raises
    ------
    DataError
        For less than two conditions.

    Examples
    --------
    >>> williams_orders(4).tolist()
    [[0, 1, 3, 2], [1, 2, 0, 3], [2, 3, 1, 0], [3, 0, 2, 1]]
    """
    if conditions < 2:
        raise DataError("Balanced orders were asked for.", f"{conditions} condition was given.", "Give at least two.")
    zigzag = [0]
    for step in range(1, conditions):
        zigzag.append((step + 1) // 2 if step % 2 else conditions - step // 2)
    rows = (np.array(zigzag) + np.arange(conditions)[:, None]) % conditions
    return np.vstack([rows, rows[:, ::-1]]) if conditions % 2 else rows


def deal(orders: int, students: int, rng: np.random.Generator) -> np.ndarray:
    """Return for each student the number of an order, from 0, dealt in permuted sets.

    Parameters
    ----------
    orders, students : int
        How many there are of each.
    rng : numpy.random.Generator
        The source of the draw.

    Returns
    -------
    ndarray of int, shape (students,)
        Every run of `orders` students from the start holds each order once.
    """
    sets = -(-students // orders)
    return rng.permuted(np.tile(np.arange(orders), (sets, 1)), axis=1).ravel()[:students]


def _deal(plans: tuple[str, ...], students: int | Sequence[str], seed: int | None) -> Orders:
    names = _names(students)
    need_seed(seed, "Orders were to be drawn.")
    if seed is None:
        # 32 bits: a person can copy the seed by hand, and a spreadsheet does not round it
        seed = int(np.random.SeedSequence().generate_state(1)[0])
    order = deal(len(plans), len(names), np.random.default_rng(seed))
    table = pd.DataFrame(
        {
            "student": pd.Series(names, dtype="str"),
            "set": np.arange(len(names)) // len(plans) + 1,
            "order": order + 1,
            "order_plan": pd.Series([plans[which] for which in order], dtype="str"),
            "order_seed": pd.Series([str(seed)] * len(names), dtype="str"),
        }
    )
    return Orders(table, plans, seed)


def _names(students: int | Sequence[str]) -> list[str]:
    asked = "Orders were to be drawn."
    if isinstance(students, int | np.integer):
        if students < 1:
            raise DataError(asked, f"{students} students were given.", "Give at least one.")
        return [f"student-{number}" for number in range(1, int(students) + 1)]
    if isinstance(students, str):
        raise DataError(asked, f"Students were given as one text, {students!r}.", "Give a list of pseudonyms.")
    need(students, Iterable, asked, "students", "Give how many, or a list of pseudonyms.")
    names = [str(name) for name in students]
    if not names:
        raise DataError(asked, "No student was given.", "Give at least one.")
    twice = sorted({name for name in names if names.count(name) > 1}) if len(set(names)) < len(names) else []
    if twice:
        raise DataError(asked, f"Student {twice[0]!r} stands there twice.", "Name each student once.", student=twice[0])
    return names


def _check_conditions(conditions: Sequence[str]) -> None:
    asked = "Orders were to be drawn."
    need(conditions, Collection, asked, "conditions", "Give at least two, for example plain and a cue.")
    if isinstance(conditions, str) or len(conditions) < 2:
        raise DataError(
            asked, f"Conditions were given as {conditions!r}.", "Give at least two, for example plain and a cue."
        )
    for name in conditions:
        if not isinstance(name, str) or not name or any(letter.isspace() for letter in name):
            raise DataError(
                asked, f"The condition {name!r} is empty or holds a blank.", "Use the cue's id, as in cues.toml."
            )
        if list(conditions).count(name) > 1:
            raise DataError(asked, f"The condition {name!r} stands there twice.", "Name each condition once.", cue=name)
