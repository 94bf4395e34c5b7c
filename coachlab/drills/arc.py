"""Exercises on the arc: attack takes the path along, the low point makes the attack, and the arc can be turned."""

import numpy as np

from coachlab.drills.pick import one_of, pick, sign
from coachlab.drills.value import Asked, Case, Exercise, Option, Slip
from coachlab.drills.words import CENTIMETRES, DEGREES, RIGHT_LEFT, UP_DOWN, attack, sided
from coachlab.drills.worlds import Controls, Worlds, states, usual
from coachlab.physics.arc import ARCS, arc_azimuth, arc_bottom_fwd, path_from_arc
from coachlab.schema import CLUBS, show_club

_AHEAD = ("ahead of the ball", "behind the ball")
_FORWARD = ("towards the target", "away from the target")
_PARTS = ("flight", "before", "numbers", "why", "arc", "impact")


def _swings(case: Case, worlds: Worlds) -> tuple[np.ndarray, float]:
    """Return the inclines to try and the radius of this club's arc."""
    head = CLUBS[str(case["club"])]
    return worlds.inclines_of(head), ARCS[head].radius_m


# What does attack do to the path? -------------------------------------------------------------------------------------


def _draw_path(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    low = pick(rng, -4.0, -1.0, 1.0) if club == "driver" else pick(rng, -8.0, -5.0, 1.0)
    high = low + pick(rng, 4.0, 7.0, 1.0)
    ends = (low, high) if rng.integers(2) else (high, low)
    return {"club": club, "from_deg": ends[0], "to_deg": ends[1]}


def _solve_path(case: Case, worlds: Worlds) -> np.ndarray:
    inclines, _ = _swings(case, worlds)
    ends = [path_from_arc(0.0, float(case[name]), inclines) for name in ("to_deg", "from_deg")]
    return np.asarray(ends[0]) - np.asarray(ends[1])


def _ask_path(case: Case, found: np.ndarray, units: str) -> Asked:
    start, end, moved = float(case["from_deg"]), float(case["to_deg"]), float(found[0])
    before = usual(str(case["club"]), attack_up_deg=start)
    loft = max(float(before["delivered_loft_deg"]), end + 6.0)
    after = before | {"attack_up_deg": end, "path_out_deg": round(moved, 1), "delivered_loft_deg": loft}
    up = end > start
    return Asked(
        f"The attack of a {show_club(str(case['club']))} goes from {attack(start)} to {attack(end)}, and the arc "
        "itself is not turned. By how much does the path move, and to which side?",
        (("Club", show_club(str(case["club"]))), ("Attack before", attack(start)), ("Attack after", attack(end))),
        f"By {sided(moved)}: the head moves on a leaning arc, and {'past' if up else 'before'} its lowest point it is "
        f"already on its way to the {RIGHT_LEFT[int(moved < 0)]}.",
        "On the page move the attack and watch the path go along; then let the page hold the path, and see how far the "
        "arc must turn for that.",
        after,
        before,
        _PARTS,
        slips=(
            Slip(0.0, "The path does not stay: it stays only if the arc is turned at the same time.", "arc-turn"),
            Slip(-moved, "Right amount, other side: hitting more up swings the path to the left."),
        ),
        measure=DEGREES,
        sides=RIGHT_LEFT,
        slack=0.9,
        widest=1.8,
    )


# Which attack has this low point? -------------------------------------------------------------------------------------


def _draw_low(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7", "wedge-pw"))
    low = sign(rng) * pick(rng, 60.0, 180.0, 10.0)
    return {"club": club, "low_point_mm": low if club == "driver" else abs(low)}


def _solve_low(case: Case, worlds: Worlds) -> np.ndarray:
    inclines, radius = _swings(case, worlds)
    return np.degrees(np.arcsin(-float(case["low_point_mm"]) / 1000 / radius * np.sin(np.radians(inclines))))


def _ask_low(case: Case, found: np.ndarray, units: str) -> Asked:
    low, up, club = float(case["low_point_mm"]), float(found[0]), show_club(str(case["club"]))
    shot = usual(str(case["club"]), attack_up_deg=round(up, 1))
    where = f"{CENTIMETRES.text(abs(low))} {_AHEAD[int(low < 0)]}"
    return Asked(
        f"The arc of a {club} is lowest {where}. What is the attack?",
        (("Club", club), ("Low point", where)),
        f"{attack(up)}: {'before' if up < 0 else 'past'} the low point the head still goes "
        f"{'down' if up < 0 else 'up'}; with a {club} about {abs(low / up) / 10:.1f} cm make one degree.",
        "On the page move the low point and watch the attack follow; they are one control told in two ways.",
        shot,
        slips=(
            Slip(0.0, "Level is the attack at the low point itself, and the ball is not there."),
            Slip(-up, "The other way: a low point ahead of the ball is still to come, so the head goes down."),
        ),
        measure=DEGREES,
        sides=UP_DOWN,
        slack=0.9,
        widest=0.8,
    )


# Whose arc is turned? -------------------------------------------------------------------------------------------------


def _draw_turned(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    middle = pick(rng, -2.0, 1.0, 0.5) if club == "driver" else pick(rng, -5.0, -3.0, 0.5)
    gap = pick(rng, 3.0, 4.0, 0.5)
    path = sign(rng) * pick(rng, 2.0, 5.0)
    return {"club": club, "middle_deg": middle, "gap_deg": gap, "path_out_deg": path, "side": sign(rng)}


def _three(case: Case) -> list[Controls]:
    middle, gap = float(case["middle_deg"]), float(case["gap_deg"])
    return [
        usual(str(case["club"]), attack_up_deg=middle + step * gap, path_out_deg=float(case["path_out_deg"]))
        for step in (-1, 0, 1)
    ]


def _solve_turned(case: Case, worlds: Worlds) -> np.ndarray:
    inclines, _ = _swings(case, worlds)
    turns = np.array(
        [arc_azimuth(float(case["path_out_deg"]), float(each["attack_up_deg"]), inclines) for each in _three(case)]
    ) * int(case["side"])  # the furthest to the asked side is the greatest
    ahead = turns - np.array([np.delete(turns, at, axis=0).max(axis=0) for at in range(3)])
    alike = np.ptp(turns, axis=0)
    return np.vstack([states(ahead > 0.8, ahead < -0.8), states(alike < 0.2, alike > 0.8)[None]])


def _ask_turned(case: Case, found: np.ndarray, units: str) -> Asked:
    club, path, side = str(case["club"]), float(case["path_out_deg"]), int(case["side"])
    shots, incline = _three(case), ARCS[CLUBS[club]].incline_deg
    turns = [float(arc_azimuth(path, float(each["attack_up_deg"]), incline)) for each in shots]
    right = int(np.argmax(found[:, 0]))
    names = ("Ash", "Birch", "Cedar")
    wrong = (
        "With the same path, whoever hits more up has the arc turned further to the right, and more down to the left."
    )
    told = [f"{name}'s arc points {sided(turn)}." for name, turn in zip(names, turns, strict=True)]
    options = [
        Option(f"{name}, attack {attack(float(each['attack_up_deg']))}", f"{tell} {wrong}", "arc-turn", each)
        for name, each, tell in zip(names, shots, told, strict=True)
    ]
    options.append(Option("All three alike, since the path is the same", wrong, "arc-path"))
    return Asked(
        f"Three players, here called Ash, Birch and Cedar, have the same path with a {show_club(club)}, {sided(path)}, "
        f"but not the same attack. Whose arc as a whole is turned furthest to the {RIGHT_LEFT[int(side < 0)]}?",
        (("Club", show_club(club)), ("Path of all three", sided(path))),
        " ".join(told) + " Attack alone would have moved their paths apart; the turn of the arc brought them together.",
        "On the page set the path, hold it, and move the attack: the sentence beside the arc tells how far it turns.",
        shots[right],
        None,
        options=tuple(options),
    )


# How far must the low point move? -------------------------------------------------------------------------------------


def _draw_mend(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7", "wedge-pw"))
    span = {"driver": (-4.0, -1.0), "iron-7": (-7.0, -3.0), "wedge-pw": (-8.0, -4.0)}[club]
    start = pick(rng, *span, 1.0)
    more = pick(rng, 3.0, 6.0, 1.0)
    if club != "driver":
        more = min(more, abs(start) - 1.0) if rng.integers(2) and abs(start) > 4 else -pick(rng, 2.0, 4.0, 1.0)
    return {"club": club, "from_deg": start, "to_deg": start + more}


def _solve_mend(case: Case, worlds: Worlds) -> np.ndarray:
    inclines, radius = _swings(case, worlds)
    ends = [arc_bottom_fwd(float(case[name]), inclines, radius) for name in ("to_deg", "from_deg")]
    return np.asarray(ends[0]) - np.asarray(ends[1])


def _ask_mend(case: Case, found: np.ndarray, units: str) -> Asked:
    start, end, moved = float(case["from_deg"]), float(case["to_deg"]), float(found[0])
    club = show_club(str(case["club"]))
    before = usual(str(case["club"]), attack_up_deg=start)
    loft = max(float(before["delivered_loft_deg"]), end + 6.0)
    each = abs(moved / (end - start))
    way = _FORWARD[int(moved < 0)]
    return Asked(
        f"With a {club} the attack is {attack(start)} and should be {attack(end)}. How far must the low point of the "
        "arc move along the target line?",
        (("Club", club), ("Attack now", attack(start)), ("Attack wanted", attack(end))),
        f"{CENTIMETRES.text(abs(moved))} {way}, about {each / 10:.1f} cm for each degree with this club. Ball position "
        "along the line moves it one to one.",
        "On the page move the low point by this much and read the attack.",
        before | {"attack_up_deg": end, "delivered_loft_deg": loft},
        before,
        _PARTS,
        slips=(
            Slip(-moved, "Right amount, other way: hitting more up needs the low point further behind the ball."),
            Slip(moved / each * 8, "That would be under a centimetre a degree; the arc is wider than that."),
        ),
        measure=CENTIMETRES,
        sides=_FORWARD,
        slack=25.0,
        widest=30.0,
    )


EXERCISES = (
    Exercise("arc-1", "forward", "arc-path", "What attack does to the path", _draw_path, _solve_path, _ask_path),
    Exercise("arc-2", "backward", "low-point", "Attack from the low point", _draw_low, _solve_low, _ask_low),
    Exercise("arc-3", "causes", "arc-turn", "One path, three arcs", _draw_turned, _solve_turned, _ask_turned),
    Exercise("arc-4", "mend", "low-point", "Move the low point", _draw_mend, _solve_mend, _ask_mend),
)
