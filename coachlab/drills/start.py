"""Exercises on the start line: face first, path a little, and more of it with more loft."""

import numpy as np

from coachlab.drills.pick import head_speed, one_of, pick, sign
from coachlab.drills.value import Asked, Case, Exercise, Option, Slip
from coachlab.drills.words import DEGREES, RIGHT_LEFT, given, percent, sided
from coachlab.drills.worlds import PLAIN, Controls, Worlds, crossing, started, states, usual
from coachlab.schema import show_club

_SLACK_DEG = 0.8
"""How finely a start can be said by somebody who watches a ball."""

_SEEN = ("flight", "before", "numbers", "why")


def _shot(case: Case, **changes: float) -> Controls:
    numbers = {name: value for name, value in case.items() if name in ("path_out_deg", "face_open_deg")}
    return usual(str(case["club"]), club_speed_mps=case["club_speed_mps"], **(numbers | changes))


# Where does it start? -------------------------------------------------------------------------------------------------


def _draw_where(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    path = sign(rng) * pick(rng, 1.0, 6.0)
    face = path - np.sign(path) * pick(rng, 5.0, 9.0)
    return {"club": club, "club_speed_mps": head_speed(rng, club), "path_out_deg": path, "face_open_deg": float(face)}


def _solve_where(case: Case, worlds: Worlds) -> np.ndarray:
    return started([_shot(case)], worlds)["launch_out_deg"][0]


def _ask_where(case: Case, found: np.ndarray, units: str) -> Asked:
    shot, start = _shot(case), float(found[0])
    path, face = float(case["path_out_deg"]), float(case["face_open_deg"])
    share = (start - path) / (face - path)
    return Asked(
        f"This {show_club(str(case['club']))} is struck in the centre. In which direction does the ball start?",
        given(shot, units),
        f"It starts {sided(start)}, {percent(share)} of the way from the path ({sided(path)}) to the face "
        f"({sided(face)}).",
        "On the page the strike is seen from above: compare the arrow of the path, the line of the face, and where the "
        "flight begins. Then move the path alone, and see how little the start follows.",
        shot,
        shot,
        _SEEN,
        slips=(
            Slip(path, "That is where the path points. The ball does not start along the path."),
            Slip(
                (path + face) / 2, "That is half way between path and face. The face has more of the start than half."
            ),
            Slip(-start, "Right amount, other side: look again at which way the face points."),
        ),
        measure=DEGREES,
        sides=RIGHT_LEFT,
        slack=_SLACK_DEG,
        widest=2.4,
    )


# Which club starts nearer to its face? --------------------------------------------------------------------------------

_TWO = ("driver", "wedge-pw")


def _draw_loft(rng: np.random.Generator) -> Case:
    path = sign(rng) * pick(rng, 0.0, 3.0)
    face = path + sign(rng) * pick(rng, 7.0, 10.0)
    return {"path_out_deg": float(path), "face_open_deg": float(face)}


def _both(case: Case) -> list[Controls]:
    return [usual(club, path_out_deg=case["path_out_deg"], face_open_deg=case["face_open_deg"]) for club in _TWO]


def _solve_loft(case: Case, worlds: Worlds) -> np.ndarray:
    away = np.abs(started(_both(case), worlds)["launch_out_deg"] - float(case["face_open_deg"]))
    driver, wedge = away
    return np.array([
        states(wedge - driver > 0.6, driver > wedge),
        states(driver - wedge > 0.6, wedge > driver),
        states(np.abs(driver - wedge) < 0.2, np.abs(driver - wedge) > 0.6),
    ])  # fmt: skip


def _ask_loft(case: Case, found: np.ndarray, units: str) -> Asked:
    driver, wedge = _both(case)
    path, face = float(case["path_out_deg"]), float(case["face_open_deg"])
    starts = started([driver, wedge], PLAIN)["launch_out_deg"][:, 0]
    missed = "More loft gives the path more of the start, so the two do not start alike."
    return Asked(
        f"A driver and a pitching wedge come with the same path ({sided(path)}) and the same face ({sided(face)}), "
        "both struck in the centre. Which ball starts nearer to where its face points?",
        (("Path of both", sided(path)), ("Face of both", sided(face))),
        f"The driver's ball starts {sided(starts[0])}, the wedge's {sided(starts[1])}: a glancing blow on a lofted "
        "face lets the path pull harder.",
        "Change the club on the page from driver to pitching wedge with path and face held, and watch the first "
        "stretch of the flight turn towards the path.",
        wedge,
        driver,
        _SEEN,
        (
            Option("The driver's", "The driver has the least loft, so the face has most of the start.", "loft-start"),
            Option("The pitching wedge's", "It is the other way round: loft gives the path more say.", "loft-start"),
            Option("Both start alike", missed, "loft-start"),
        ),
    )


# Where did the face point? --------------------------------------------------------------------------------------------


def _draw_face(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("iron-7", "wedge-pw"))
    start = pick(rng, -4.0, 4.0, 1.0)
    path = start + sign(rng) * pick(rng, 6.0, 9.0)
    return {"club": club, "club_speed_mps": head_speed(rng, club), "start_deg": start, "path_out_deg": path}


def _solve_face(case: Case, worlds: Worlds) -> np.ndarray:
    faces = float(case["start_deg"]) + np.linspace(-8.0, 8.0, 5)
    starts = started([_shot(case, face_open_deg=face) for face in faces], worlds)["launch_out_deg"]
    return crossing(faces, starts, float(case["start_deg"]))


def _ask_face(case: Case, found: np.ndarray, units: str) -> Asked:
    face, start, path = float(found[0]), float(case["start_deg"]), float(case["path_out_deg"])
    shot = _shot(case, face_open_deg=round(face, 1))
    return Asked(
        f"Struck in the centre, this {show_club(str(case['club']))} started {sided(start)}, and the path was "
        f"{sided(path)}. Where did the face point?",
        given(shot, units, ("face_open_deg",)),
        f"The face pointed {sided(face)}. The path pulled the start {abs(face - start):.1f}° from the face to its own "
        "side, so the face lay beyond the start, on the side away from the path.",
        "The page has this strike. Move the face to where the ball started: now the ball starts too far to the side of "
        "the path.",
        shot,
        slips=(
            Slip(start, "That is where the ball started. The path pulled it there from where the face pointed."),
            Slip(path, "That is where the path pointed; the ball would then have started there.", "face-start"),
            Slip(2 * start - face, "Right amount, other side: the path pulls the start towards itself."),
        ),
        measure=DEGREES,
        sides=RIGHT_LEFT,
        slack=1.0,
        widest=3.0,
    )


# Which smallest change starts it at the target? -----------------------------------------------------------------------


def _draw_mend(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    off = sign(rng) * pick(rng, 5.0, 8.0)
    return {"club": club, "club_speed_mps": head_speed(rng, club), "path_out_deg": off, "face_open_deg": off}


def _changes(case: Case) -> list[Controls]:
    off = float(case["face_open_deg"])
    turned = float(np.round(off * 1.2))
    return [
        _shot(case, face_open_deg=off - turned),
        _shot(case, path_out_deg=off - turned),
        _shot(case, face_open_deg=off - 2 * turned),
        _shot(case, strike_toe_mm=-12.0 * float(np.sign(off))),
    ]


def _solve_mend(case: Case, worlds: Worlds) -> np.ndarray:
    off = np.abs(started(_changes(case), worlds)["launch_out_deg"])
    return states(off < 1.2, off > 2.0)


def _ask_mend(case: Case, found: np.ndarray, units: str) -> Asked:
    off, shot = float(case["face_open_deg"]), _shot(case)
    turned, other = abs(float(np.round(off * 1.2))), RIGHT_LEFT[int(off > 0)]
    after = _changes(case)
    starts = started(after, PLAIN)["launch_out_deg"][:, 0]
    place = "heel" if off > 0 else "toe"
    return Asked(
        f"Path and face both point {sided(off)}, and the ball flies there without curve. Which one change makes it "
        "start within a degree or so of the target line?",
        given(shot, units),
        f"The face has most of the start: turned by {turned:.0f}° it lets the ball start {sided(starts[0])}; the path "
        f"turned by as much leaves the start at {sided(starts[1])}.",
        "On the page turn the face alone, then put it back and turn the path alone. The ball will now curve; that is "
        "the next group's question.",
        after[0],
        shot,
        (),
        (
            Option(f"Turn the face {turned:.0f}° to the {other}", "", "face-start", after[0]),
            Option(
                f"Turn the path {turned:.0f}° to the {other}",
                f"The path has little of the start: it would still be {sided(starts[1])}.",
                "face-start",
                after[1],
            ),
            Option(
                f"Turn the face {2 * turned:.0f}° to the {other}",
                f"That is too much: the ball would start {sided(starts[2])}.",
                "face-start",
                after[2],
            ),
            Option(
                f"Strike it 12 mm towards the {place}",
                f"The place on the face moves the start by a degree or two at most: {sided(starts[3])}.",
                "face-start",
                after[3],
            ),
        ),
        shuffled=True,
    )


EXERCISES = (
    Exercise("start-1", "forward", "face-start", "Where does it start?", _draw_where, _solve_where, _ask_where),
    Exercise("start-2", "forward", "loft-start", "Driver and wedge", _draw_loft, _solve_loft, _ask_loft),
    Exercise("start-3", "backward", "path-start", "Where did the face point?", _draw_face, _solve_face, _ask_face),
    Exercise("start-4", "mend", "face-start", "Start it at the target", _draw_mend, _solve_mend, _ask_mend),
)
