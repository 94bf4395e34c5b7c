"""Exercises on curve: away from the path, and what else can bend a flight."""

import numpy as np

from coachlab.drills.pick import head_speed, one_of, pick, sign
from coachlab.drills.value import Asked, Case, Exercise, Option, Slip
from coachlab.drills.words import DEGREES, RIGHT_LEFT, far, given, sided, speed
from coachlab.drills.worlds import PLAIN, Controls, Worlds, crossing, flown, started, states, usual
from coachlab.schema import show_club
from coachlab.units import MPH_MPS

_CLEAR_M, _HARDLY_M = 4.0, 1.5
"""How far off its first direction a ball lands that clearly curves, and one that hardly does."""

_SEEN = ("flight", "before", "numbers", "why")


def _shot(case: Case, **changes: float) -> Controls:
    numbers = {name: value for name, value in case.items() if name in ("path_out_deg", "face_open_deg")}
    return usual(str(case["club"]), club_speed_mps=case["club_speed_mps"], **(numbers | changes))


# Which way does it curve? ---------------------------------------------------------------------------------------------


def _draw_way(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    side, apart = sign(rng), one_of(rng, (-1, -1, 0, 1))
    face = side * pick(rng, 1.5, 4.0)
    path = face - side * apart * pick(rng, 3.0, 6.0)
    return {"club": club, "club_speed_mps": head_speed(rng, club), "path_out_deg": path, "face_open_deg": face}


def _solve_way(case: Case, worlds: Worlds) -> np.ndarray:
    curve = flown([_shot(case)], worlds)["curve_m"][0]
    return np.array([
        states(curve > _CLEAR_M, curve < _HARDLY_M),
        states(curve < -_CLEAR_M, curve > -_HARDLY_M),
        states(np.abs(curve) < _HARDLY_M, np.abs(curve) > _CLEAR_M),
    ])  # fmt: skip


def _ask_way(case: Case, found: np.ndarray, units: str) -> Asked:
    path, face, shot = float(case["path_out_deg"]), float(case["face_open_deg"]), _shot(case)
    opened = face - path
    if abs(opened) < 0.05:
        why = f"Face and path both point {sided(face)}: the blow is square to the face, so nothing tilts the spin."
        words = dict.fromkeys(RIGHT_LEFT, "The ball starts off to the side, but nothing bends it from there.")
    else:
        side = RIGHT_LEFT[int(opened < 0)]
        why = f"Seen from the path, the face points {abs(opened):.1f}° to the {side}, so the ball curves to the {side}."
        words = dict.fromkeys(RIGHT_LEFT, "That is the side to which the path points; the ball curves away from it.")
        if face * opened < 0:
            words[RIGHT_LEFT[int(face < 0)]] = (
                "The face does point there, seen from the target; what bends is the face seen from the path."
            )
    return Asked(
        f"This {show_club(str(case['club']))} is struck in the centre. Which way does the ball curve in the air?",
        given(shot, units),
        why,
        "On the page seen from above, look at the angle between the path's arrow and the face; then move the face "
        "across the path and watch the curve change sides.",
        shot,
        shot,
        _SEEN,
        (
            Option("To the right", words["right"], "curve-away"),
            Option("To the left", words["left"], "curve-away"),
            Option("It flies nearly straight", "Face and path point different ways, so it must curve.", "no-curve"),
        ),
    )


# How did path and face stand? -----------------------------------------------------------------------------------------


def _draw_seen(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    side = sign(rng)
    face = side * pick(rng, 2.0, 4.0)
    path = face + one_of(rng, (-1, 1)) * pick(rng, 4.0, 6.0)
    return {"club": club, "club_speed_mps": head_speed(rng, club), "path_out_deg": path, "face_open_deg": face}


def _deliveries(case: Case) -> list[Controls]:
    path, face = float(case["path_out_deg"]), float(case["face_open_deg"])
    return [
        _shot(case),
        _shot(case, path_out_deg=2 * face - path),
        _shot(case, path_out_deg=face),
        _shot(case, face_open_deg=-face, path_out_deg=path - 2 * face),
    ]


def _solve_seen(case: Case, worlds: Worlds) -> np.ndarray:
    shots = flown(_deliveries(case), worlds)
    start, curve = shots["launch_out_deg"], shots["curve_m"]
    side = np.sign(curve[0, 0])
    alike = side * curve
    off = np.abs(start - start[0, 0])
    return states((off < 1.2) & (alike > _CLEAR_M), (off > 2.0) | (alike < _HARDLY_M))


def _ask_seen(case: Case, found: np.ndarray, units: str) -> Asked:
    after = _deliveries(case)
    shots = flown(after[:1], PLAIN)
    start, curve = float(shots["launch_out_deg"][0, 0]), float(shots["curve_m"][0, 0])
    side = RIGHT_LEFT[int(curve < 0)]
    words = (
        "",
        f"Then the ball would curve to the {RIGHT_LEFT[int(curve > 0)]}: it curves away from the path.",
        "With face and path alike it would fly straight.",
        "Then the ball would start on the other side: the start shows where the face points.",
    )
    links = ("curve-away", "curve-away", "no-curve", "face-start")
    options = tuple(
        Option(
            f"Path {sided(float(each['path_out_deg']))}, face {sided(float(each['face_open_deg']))}", word, link, each
        )
        for each, word, link in zip(after, words, links, strict=True)
    )
    return Asked(
        f"Struck in the centre, a {show_club(str(case['club']))} shot starts {sided(start)} and curves about "
        f"{far(curve, units)} to the {side}. Which delivery made it?",
        (("Start", sided(start)), ("Curve", f"{far(curve, units)} to the {side}")),
        f"The start says to which side of the target the face pointed; the curve to the {side} says that the path "
        f"pointed to the {RIGHT_LEFT[int(curve > 0)]} of the face.",
        "Set each of the four on the page, and compare start and curve.",
        after[0],
        options=options,
        shuffled=True,
    )


# Three of these bend it the same way ----------------------------------------------------------------------------------

_WORDS = {
    "face": ("the face {:.0f}° {} with the path straight", "face_open_deg"),
    "path": ("the path {:.0f}° {} with the face straight", "path_out_deg"),
    "strike": ("a strike {:.0f} mm towards the {}", "strike_toe_mm"),
    "wind": ("a wind of {} to the {}", "cross_mps"),
}


def _draw_causes(rng: np.random.Generator) -> Case:
    side = sign(rng)
    odd = one_of(rng, tuple(_WORDS))
    # to the right bend: face right, path left, strike at the heel, wind to the right
    way = {"face": 1, "path": -1, "strike": -1, "wind": 1}
    size = {
        "face": pick(rng, 3, 6, 1), "path": pick(rng, 4, 7, 1), "strike": pick(rng, 16, 20, 1),
        "wind": pick(rng, 10, 18, 1) * MPH_MPS,
    }  # fmt: skip
    case: Case = {name: side * way[name] * size[name] * (-1 if name == odd else 1) for name in _WORDS}
    order = list(_WORDS)
    rng.shuffle(order)
    return case | {"club": "driver", "club_speed_mps": head_speed(rng, "driver"), "order": " ".join(order)}


def _causes(case: Case) -> list[Controls]:
    return [_shot(case, **{_WORDS[name][1]: float(case[name])}) for name in str(case["order"]).split()]


def _solve_causes(case: Case, worlds: Worlds) -> np.ndarray:
    curve = flown(_causes(case), worlds)["curve_m"]
    usual_side = np.sign(np.sum(np.sign(curve[:, 0])))
    alike = usual_side * curve
    return states(alike < -_HARDLY_M, alike > _HARDLY_M)


def _ask_causes(case: Case, found: np.ndarray, units: str) -> Asked:
    after = _causes(case)
    curve = flown(after, PLAIN)["curve_m"][:, 0]
    side = RIGHT_LEFT[int(np.sum(np.sign(curve)) < 0)]
    options = []
    for name, each, bends in zip(str(case["order"]).split(), after, curve, strict=True):
        value = float(case[name])
        text, _ = _WORDS[name]
        if name == "strike":
            words = text.format(abs(value), "toe" if value > 0 else "heel")
        elif name == "wind":
            words = text.format(speed(value, units), RIGHT_LEFT[int(value < 0)])
        else:
            words = text.format(abs(value), RIGHT_LEFT[int(value < 0)])
        told = f"This one bends it {far(float(bends), units)} to the {RIGHT_LEFT[int(bends < 0)]}, as two others do."
        options.append(Option(words[0].upper() + words[1:], told, "gear" if name == "strike" else "curve-causes", each))
    odd = int(np.argmax(found[:, 0]))
    return Asked(
        "Four drives, each with everything else straight and centred. Three of them bend to the same side. Which one "
        "bends to the other?",
        (("Club", "driver"), ("Head speed", speed(float(case["club_speed_mps"]), units))),
        f"Three bend to the {side}; the odd one goes {far(float(curve[odd]), units)} to the other side. The ball "
        "curves away from the path, back from where it is struck off the centre, and along with the wind.",
        "Set each alone on the page, put it back to zero before the next, and compare the flights.",
        after[odd],
        _shot(case),
        (),
        tuple(options),
    )


# Which face flies straight? -------------------------------------------------------------------------------------------


def _draw_straight(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7", "wedge-pw"))
    path = sign(rng) * pick(rng, 3.0, 7.0)
    face = -np.sign(path) * pick(rng, 0.0, 3.0) + 0.0
    return {
        "club": club, "club_speed_mps": head_speed(rng, club), "path_out_deg": path, "face_open_deg": float(face),
    }  # fmt: skip


def _solve_straight(case: Case, worlds: Worlds) -> np.ndarray:
    faces = float(case["path_out_deg"]) + np.linspace(-3.0, 3.0, 5)
    tilt = started([_shot(case, face_open_deg=face) for face in faces], worlds)["spin_tilt_deg"]
    return crossing(faces, tilt, 0.0)


def _ask_straight(case: Case, found: np.ndarray, units: str) -> Asked:
    path, shot = float(case["path_out_deg"]), _shot(case)
    return Asked(
        f"The path of this {show_club(str(case['club']))} points {sided(path)} and stays there; the strike is centred. "
        "To where must the face point, so that the ball does not curve at all?",
        given(shot, units),
        f"To where the path points, {sided(path)}: then the blow is square and nothing tilts the spin. The ball flies "
        "straight, though not at the target: for that the path must turn too.",
        "On the page turn the face until it stands square on the path's arrow; the flight seen from above becomes a "
        "straight line.",
        _shot(case, face_open_deg=path),
        shot,
        (),
        slips=(
            Slip(0.0, "A face at the target does not make a straight ball while the path points elsewhere."),
            Slip(-path, "That turns the face away from the path and doubles the curve.", "curve-away"),
        ),
        measure=DEGREES,
        sides=RIGHT_LEFT,
        slack=1.0,
        widest=0.6,
    )


EXERCISES = (
    Exercise("curve-1", "forward", "curve-away", "Which way does it curve?", _draw_way, _solve_way, _ask_way),
    Exercise("curve-2", "backward", "curve-away", "Which delivery made it?", _draw_seen, _solve_seen, _ask_seen),
    Exercise("curve-3", "causes", "curve-causes", "The odd one out", _draw_causes, _solve_causes, _ask_causes),
    Exercise("curve-4", "mend", "no-curve", "Take the curve out", _draw_straight, _solve_straight, _ask_straight),
)
