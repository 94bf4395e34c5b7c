"""Simulate a winter at an academy: players, coaches, visits, blocks, shots, with everything known that is true."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd

from coachlab.academy.assumptions import HEADS, Assumptions
from coachlab.academy.cards import CUES, CueTruth, cue_truths
from coachlab.academy.layout import (
    Cueing,
    choose_cueing,
    draw_cueing,
    lay_blocks,
    visit_times,
)
from coachlab.academy.players import PARTS, Players, cue_shift, draw_players
from coachlab.academy.swings import Blocks
from coachlab.academy.table import joined_shots, lesson_log, name_students, usual_delivery
from coachlab.academy.value import Academy, Hidden
from coachlab.errors import DataError, need, need_seed
from coachlab.orders import deal
from coachlab.physics.arc import ARCS
from coachlab.physics.ops import said
from coachlab.schema import CLUBS

DESIGNS = ("drawn", "chosen", "log-only")


def simulate_academy(
    students: int = 38,
    seed: int | None = None,
    design: str = "drawn",
    lessons: int = 5,
    clubs: Sequence[str] = ("iron-7",),
    coaches: int = 4,
    rogue: bool = True,
    cues: Sequence[str] | pd.DataFrame | None = None,
    truths: Mapping[str, CueTruth | Mapping[str, float]] | None = None,
    assumptions: Assumptions | None = None,
    pairs: int = 2,
    block_shots: tuple[int, int] = (8, 10),
    prefix: str = "",
) -> Academy:
    """Return a simulated academy: its shots, its log, and the truth behind them.

    Each student comes once to be screened (a warm-up, two blocks of ten plain shots with each club), then to `lessons`
    lessons a week apart. A lesson is one visit, about one cue with one club: a warm-up, then pairs of a plain and a cue
    block, with reset shots of another club between blocks.

    Parameters
    ----------
    students : int
        How many.
    seed : int or None
        The same seed and arguments give the same academy; None draws one, which the result keeps.
    design : {"drawn", "chosen", "log-only"}
        drawn: cues dealt evenly, the order of each pair drawn (grade A). chosen: the coach picks by the attack of the
        first plain block, plain first in each pair (grade C; with ``pairs=1`` the plain before-after). log-only:
        cue blocks without any baseline or screening (grade D).
    lessons : int
        Lessons of each student. With seven cues and five lessons each cue reaches five students in seven.
    clubs : sequence of str
        Clubs of the lessons, in turn; names of `schema.CLUBS`. Each takes the numbers of its kind of head.
    coaches : int
        How many; each student keeps one.
    rogue : bool
        Whether one of them logs only the best cue shots: the worst fifth is missing, and shot numbers show gaps.
    cues : sequence of str, DataFrame or None
        Ids among the running example's cues, or cue cards of your own (then `truths` says what they do); None: all.
    truths : mapping or None
        By cue, a `CueTruth` or only the fields to change: ``{"I2": {"attack_up_deg": 0, "per_deg_steeper": 0}}``.
        Values are of the cue as done; with `assumptions` as they are, an offered setup cue shifts by .965 of that,
        an intent cue by .86.
    assumptions : Assumptions or None
        All other numbers.
    pairs : int
        Pairs of a plain and a cue block in a lesson.
    block_shots : tuple of int
        Least and most shots of a test block, drawn evenly between.
    prefix : str
        Put before every id, so that several academies can share a library.

    Returns
    -------
    Academy
        With ``.shots``, ``.log``, ``.truth`` and more. Labels of the shots are text; above a million shots they are
        categories, which take a tenth of the memory.

    Raises
    ------
    DataError
        Naming the argument that cannot be used.

    Examples
    --------
    >>> academy = simulate_academy(students=8, seed=1, cues=["I4"], lessons=1)
    >>> academy.truth["value"].tolist()
    [0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    """
    asked = "An academy was to be simulated."
    need_seed(seed, asked)
    need(prefix, str, asked, "prefix", "Give a text, as in 'north-'.")
    need(clubs, Iterable, asked, "clubs", "Name at least one club, each once, as in ('iron-7',).")
    need(assumptions, (Assumptions, type(None)), asked, "assumptions", "Give Assumptions(...), or None.")
    cards = _cards(cues)
    known = cue_truths(cards, truths)
    a = assumptions or Assumptions()
    clubs = (clubs,) if isinstance(clubs, str) else tuple(clubs)
    _refuse(students, design, lessons, clubs, coaches, pairs, block_shots, known)
    if seed is None:
        seed = int(np.random.SeedSequence().generate_state(1)[0])
    rng = [np.random.default_rng(stream) for stream in np.random.SeedSequence(seed).spawn(6)]
    order_seed = int(np.random.SeedSequence([seed, 1]).generate_state(1)[0])

    players = draw_players(students, a, rng[0])
    coach = deal(coaches, students, rng[1])
    hidden = Hidden(
        players,
        coach,
        rng[0].standard_normal((students, len(known), len(PARTS))),
        rng[1].standard_normal((coaches, len(known), len(PARTS))),
    )
    screened, tests = design != "log-only", pairs if design == "log-only" else 2 * pairs
    blocks = lay_blocks(students, lessons, clubs, tests, screened, block_shots, a, rng[2])
    wobble = _wobble(blocks, a, rng[3])
    if design == "drawn":
        cueing = draw_cueing(lessons, students, list(known), pairs, order_seed)
    else:
        first = (blocks["test"] == 0).to_numpy()
        above = _above_mean(blocks[first], wobble[first], players, a).reshape(students, lessons)
        on = [design == "log-only" or bool(test % 2) for test in range(tests)]
        cueing = choose_cueing(above, list(known), on, a, rng[4])
    families = dict(zip(cards["cue"], cards["family"], strict=True))
    blocks = _cued(blocks, cueing, [families[cue] for cue in known], a, rng[4])
    shift, spread = _shifts(blocks, hidden, known, families, a)

    kept = ~blocks.pop("lost").to_numpy()
    held = blocks[kept].reset_index(drop=True)
    held["first"] = _before(held["shots"], held["session"]) + 1
    levels = _levels(held, wobble[kept], shift[kept], spread[kept], players, a)
    visits = lessons + screened
    began_at = visit_times(students, visits, rng[5])
    table = name_students(hidden, prefix, rng[5])
    log = lesson_log(held, table, hidden, cards, list(known), design, prefix, began_at, rng[5])
    rogue_coach = int(rng[1].integers(coaches)) if rogue else -1
    shots = joined_shots(held, levels, log, clubs, hidden, rogue_coach, began_at, a, rng[5])
    share = np.bincount(coach, minlength=coaches)
    people = pd.DataFrame(
        {
            "coach": [f"{prefix}c{number}" for number in range(1, coaches + 1)],
            "students": share,
            "share": share / students,
            "rogue": np.arange(coaches) == rogue_coach,
        }
    )
    usual = usual_delivery(players, clubs, table)
    return Academy(shots, log, table, cards, people, usual, clubs, a, known, seed, hidden)


def _wobble(blocks: pd.DataFrame, a: Assumptions, rng: np.random.Generator) -> np.ndarray:
    """Return what the day and the block add to a delivery, shape (blocks, parts); speed as a share."""
    incline = np.array([ARCS[name].incline_deg for name in HEADS])
    head, session = blocks["head"].to_numpy(), blocks["session"].to_numpy()
    total = np.zeros((len(blocks), len(PARTS)))
    for spread, what, group in ((a.session, "session SD", session), (a.block, "block SD", np.arange(len(blocks)))):
        sd = np.column_stack(
            [
                np.full(len(HEADS), spread.attack),
                spread.azimuth(incline, what),
                np.full(len(HEADS), spread.face),
                np.full(len(HEADS), spread.speed),
            ]
        )
        total += sd[head] * rng.standard_normal((int(group[-1]) + 1, len(PARTS)))[group]
    return total


def _above_mean(first: pd.DataFrame, wobble: np.ndarray, players: Players, a: Assumptions) -> np.ndarray:
    """Return how steep a coach sees a student in the first block, the chance of single shots left out."""
    head = first["head"].to_numpy()
    mean = np.array([a.heads[name].attack for name in HEADS])[head]
    return players.usual[first["student"].to_numpy(), head, 0] + wobble[:, 0] - mean


def _cued(
    blocks: pd.DataFrame, cueing: Cueing, families: Sequence[str], a: Assumptions, rng: np.random.Generator
) -> pd.DataFrame:
    """Add ``cue`` (-1 plain), ``done`` (1, less when hardly done, 0 for plain), ``order_plan``, ``order_seed``."""
    blocks = blocks.copy()
    student, lesson, test = (blocks[name].to_numpy() for name in ("student", "lesson", "test"))
    tested, taught = test >= 0, lesson >= 0
    cue = np.full(len(blocks), -1)
    on = cueing.on[student[tested], lesson[tested], test[tested]]
    cue[tested] = np.where(on, cueing.cue[student[tested], lesson[tested]], -1)
    ignored = np.array([*(a.ignored(family) for family in families), 0.0])
    done = np.where(rng.random(len(blocks)) < ignored[cue], a.ignored_effect, 1.0)
    blocks["cue"], blocks["done"] = cue, np.where(cue >= 0, done, 0.0)
    for name, texts in (("order_plan", cueing.plan), ("order_seed", cueing.seed)):
        codes, uniques = pd.factorize(texts.ravel())
        column = np.full(len(blocks), -1)
        column[taught] = codes.reshape(texts.shape)[student[taught], lesson[taught]]
        labels = np.array([text or None for text in (*uniques, "")], object)
        blocks[name] = pd.array(labels, dtype="str").take(column % len(labels))
    return blocks


def _shifts(
    blocks: pd.DataFrame, hidden: Hidden, truths: Mapping[str, CueTruth], families: Mapping[str, str], a: Assumptions
) -> tuple[np.ndarray, np.ndarray]:
    """Return what the cue adds to each block's delivery, shape (blocks, parts), and its factor on the shot SDs."""
    cue, head, student, done = (blocks[name].to_numpy() for name in ("cue", "head", "student", "done"))
    shift = np.zeros((len(blocks), len(PARTS)))
    for number, (name, truth) in enumerate(truths.items()):
        for kind in np.unique(head[cue == number]):
            rows = np.flatnonzero((cue == number) & (head == kind))
            who = student[rows]
            usual, own = hidden.players.usual[who, kind, 0], hidden.slope_z[who, number]
            whole = cue_shift(
                truth, families[name], int(kind), a, usual, own, hidden.coach_z[hidden.coach[who], number]
            )
            shift[rows] = done[rows, None] * whole
    ratio = np.array([*(truth.spread_ratio for truth in truths.values()), 1.0])[cue]
    return shift, 1 + done * (ratio - 1)


def _levels(
    held: pd.DataFrame, wobble: np.ndarray, shift: np.ndarray, spread: np.ndarray, players: Players, a: Assumptions
) -> Blocks:
    student, head = held["student"].to_numpy(), held["head"].to_numpy()
    level = players.usual[student, head] + shift
    level[:, :3] += wobble[:, :3]
    level[:, 3] *= 1 + wobble[:, 3]
    level[:, 0] += a.practice * (held["lesson"].to_numpy() + 1)
    skill = a.skill_ratio(players.handicap)[student]
    shots, rest = held["shots"].to_numpy(), held["rest_s"].to_numpy()
    return Blocks(
        shots=shots,
        head=head,
        attack=level[:, 0],
        azimuth=level[:, 1],
        face=level[:, 2],
        speed=level[:, 3],
        incline=players.incline_deg[student, head],
        loft=players.loft_deg[student],
        usual_attack=players.usual[student, head, 0],
        spread=skill * spread,
        skill=skill,
        mishit=a.mishit_share(players.handicap)[student],
        first=held["first"].to_numpy(),
        start_s=(_before(rest + 36 * shots, held["session"]) + rest).astype(float),
    )


def _before(amount: pd.Series | np.ndarray, session: pd.Series) -> np.ndarray:
    """Sum an amount over the earlier blocks of the same session; blocks stand in order."""
    amount, codes = np.asarray(amount), session.to_numpy()
    total = np.cumsum(amount) - amount
    starts = np.flatnonzero(np.diff(codes, prepend=-1))
    return total - np.repeat(total[starts], np.diff(np.append(starts, len(codes))))


def _cards(cues: Sequence[str] | pd.DataFrame | None) -> pd.DataFrame:
    if isinstance(cues, pd.DataFrame):
        return cues.reset_index(drop=True).copy()
    if cues is None:
        return CUES.copy()
    need(cues, Iterable, "An academy was to be simulated.", "cues", "Give ids of cues, or cue cards as a table.")
    wanted = [cues] if isinstance(cues, str) else list(cues)
    known = CUES.loc[CUES["family"] != "none", "cue"].tolist()
    for cue in wanted:
        if cue not in known or wanted.count(cue) > 1:
            raise DataError(
                "An academy was to be simulated with some of the cues.",
                f"{cue!r} is {'asked for twice' if cue in known else 'none of ' + ', '.join(known)}.",
                "Name each cue once, or give cue cards of your own as a table, and truths for them.",
                cue=cue,
            )
    return CUES.set_index("cue", drop=False).loc[[*wanted, "plain"]].reset_index(drop=True)


def _refuse(students, design, lessons, clubs, coaches, pairs, block_shots, truths) -> None:  # noqa: ANN001
    asked = "An academy was to be simulated."
    whole = {"students": students, "lessons": lessons, "coaches": coaches, "pairs": pairs}
    for name, value in whole.items():
        if isinstance(value, bool) or not isinstance(value, int | np.integer) or value < 1:
            raise DataError(asked, f"{name} is {said(value)}.", "Give a whole number, at least 1.", argument=name)
    if pairs > 6:
        raise DataError(
            asked, f"pairs is {pairs}.", "Six pairs are the most a body can take; two or three fill a lesson."
        )
    if coaches > students:
        raise DataError(asked, f"{coaches} coaches were asked for {students} students.", "Ask for at most one each.")
    if design not in DESIGNS:
        raise DataError(asked, f"design is {said(design)}.", f"Choose one of {', '.join(DESIGNS)}.", argument="design")
    if not clubs or len(set(clubs)) < len(clubs):
        raise DataError(asked, f"clubs is {said(clubs)}.", "Name at least one club, each once.", argument="clubs")
    for club in clubs:
        if club not in CLUBS:
            raise DataError(
                asked, f"{said(club)} is no club of ours.", "Choose one of schema.CLUBS, as in 'iron-7'.", club=club
            )
    pair = tuple(block_shots) if isinstance(block_shots, Sequence) and len(block_shots) == 2 else (0, 0)
    whole_pair = all(isinstance(one, int | np.integer) for one in pair)
    low, high = pair if whole_pair else (0, 0)
    if not 1 <= low <= high <= 100:
        raise DataError(
            asked,
            f"block_shots is {said(block_shots)}.",
            "Give the least and the most shots of a block, as in (8, 10).",
        )
    if not truths:
        raise DataError(asked, "The cue cards hold no cue but the plain swing.", "Give at least one cue.")
