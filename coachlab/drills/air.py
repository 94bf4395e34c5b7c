"""Exercises on wind and air, and on how much the ball moves for one step of each number."""

import numpy as np

from coachlab.drills.pick import head_speed, one_of, pick, sign
from coachlab.drills.value import Asked, Case, Exercise, Option, Slip
from coachlab.drills.words import DEGREES, RIGHT_LEFT, altitude, far, given, sided, speed
from coachlab.drills.worlds import PLAIN, Controls, Worlds, crossing, flown, states, usual
from coachlab.schema import show_club
from coachlab.units import FOOT_M, MPH_MPS, shown

_SEEN = ("flight", "before", "numbers", "why")
_CLUBS = ("driver", "iron-7", "wedge-pw")


def _shot(case: Case, **changes: float) -> Controls:
    return usual(str(case["club"]), club_speed_mps=case["club_speed_mps"], **changes)


# Does the wind give back what it takes? -------------------------------------------------------------------------------


def _draw_wind(rng: np.random.Generator) -> Case:
    club = one_of(rng, _CLUBS)
    return {"club": club, "club_speed_mps": head_speed(rng, club), "wind_mps": pick(rng, 8, 15, 1) * MPH_MPS}


def _winds(case: Case) -> list[Controls]:
    wind = float(case["wind_mps"])
    return [_shot(case), _shot(case, tail_mps=-wind), _shot(case, tail_mps=wind)]


def _solve_wind(case: Case, worlds: Worlds) -> np.ndarray:
    calm, against, behind = flown(_winds(case), worlds)["carry_m"]
    more = (calm - against) - (behind - calm)
    return np.array([
        states(more > 1.5, more < 0.5),
        states(more < -1.5, more > -0.5),
        states(np.abs(more) < 0.5, np.abs(more) > 1.5),
    ])  # fmt: skip


def _ask_wind(case: Case, found: np.ndarray, units: str) -> Asked:
    calm, against, behind = _winds(case)
    carry = flown([calm, against, behind], PLAIN)["carry_m"][:, 0]
    wind = speed(float(case["wind_mps"]), units)
    told = (
        "A headwind makes the air faster for the ball, and drag grows with the square of that; it also lifts it higher."
    )
    return Asked(
        f"The same {show_club(str(case['club']))} swing in a wind of {wind} against, and in one of {wind} from behind. "
        "Which wind changes the carry more?",
        given(calm, units),
        f"Against the wind the ball loses {far(float(carry[0] - carry[1]), units)}, with it gains "
        f"{far(float(carry[2] - carry[0]), units)}. {told}",
        "On the page move the wind along from against to behind, and watch how unevenly the carry follows.",
        against,
        calm,
        _SEEN,
        (
            Option("The headwind takes more than the tailwind gives", "", "head-tail", against),
            Option("The tailwind gives more than the headwind takes", told, "head-tail", behind),
            Option("Both change it by the same", told, "head-tail", behind),
        ),
    )


# Three of these change the carry the same way -------------------------------------------------------------------------

_CAUSES = ("air", "wind", "warmth", "speed")


def _draw_causes(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("iron-7", "wedge-pw"))
    way, odd = sign(rng), one_of(rng, _CAUSES)
    size = {
        "air": pick(rng, 3500, 5000, 500) * FOOT_M, "wind": pick(rng, 9, 14, 1) * MPH_MPS,
        "warmth": pick(rng, 15, 20, 1), "speed": pick(rng, 2, 4, 1) * MPH_MPS,
    }  # fmt: skip
    case: Case = {name: way * size[name] * (-1 if name == odd else 1) for name in _CAUSES}
    order = list(_CAUSES)
    rng.shuffle(order)
    return case | {"club": club, "club_speed_mps": head_speed(rng, club), "order": " ".join(order)}


_HIGH_M = 5000 * FOOT_M
"""The course lies high, so that the next one can lie lower as well as higher."""


def _base(case: Case) -> Controls:
    return _shot(case, altitude_m=_HIGH_M)


def _changed(case: Case) -> list[Controls]:
    base = _base(case)
    new: dict[str, Controls] = {
        "air": {"altitude_m": _HIGH_M + float(case["air"])},
        "wind": {"tail_mps": float(case["wind"])},
        "warmth": {"temperature_c": 20.0 + float(case["warmth"])},
        "speed": {"club_speed_mps": float(case["club_speed_mps"]) + float(case["speed"])},
    }
    return [base | new[name] for name in str(case["order"]).split()]


def _solve_causes(case: Case, worlds: Worlds) -> np.ndarray:
    carry = flown([_base(case), *_changed(case)], worlds)["carry_m"]
    change = carry[1:] - carry[0]
    usual_side = np.sign(np.sum(np.sign(change[:, 0])))
    alike = usual_side * change
    return states(alike < -0.6, alike > 0.6)


def _ask_causes(case: Case, found: np.ndarray, units: str) -> Asked:
    base, after = _base(case), _changed(case)
    carry = flown([base, *after], PLAIN)["carry_m"][:, 0]
    change = carry[1:] - carry[0]
    longer = bool(np.sum(np.sign(change)) > 0)
    degrees = shown("temperature_c")
    options = []
    for name, each, by in zip(str(case["order"]).split(), after, change, strict=True):
        value = float(case[name])
        words = {
            "air": f"On a course {altitude(float(each['altitude_m']), units)} above the sea",
            "wind": f"A wind of {speed(value, units)} {'from behind' if value > 0 else 'against'}",
            "warmth": f"Air of {degrees.text(float(each['temperature_c']))} instead of {degrees.text(20.0)}",
            "speed": f"{speed(value, units)} {'more' if value > 0 else 'less'} head speed",
        }[name]
        told = f"This one makes it {_metres(by, units)} {'longer' if by > 0 else 'shorter'}, as two others do."
        link = {"wind": "head-tail", "speed": "speed-carry"}.get(name, "air-carry")
        options.append(Option(words, told, link, each))
    odd = int(np.argmax(found[:, 0]))
    return Asked(
        f"A {show_club(str(case['club']))} on a course {altitude(_HIGH_M, units)} above the sea. Four changes, each "
        f"alone: three make the carry {'longer' if longer else 'shorter'}. Which one makes it "
        f"{'shorter' if longer else 'longer'}?",
        given(base, units),
        f"The odd one changes the carry by {_metres(float(change[odd]), units)} the other way. Thin air, whether high "
        "or warm, holds the ball back less; wind from behind and head speed help; their opposites cost.",
        "On the page make each change alone and put it back before the next.",
        after[odd],
        base,
        _SEEN,
        tuple(options),
    )


# Where to aim in a crosswind? -----------------------------------------------------------------------------------------


def _draw_aim(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    wind = sign(rng) * pick(rng, 10, 18, 1) * MPH_MPS
    return {"club": club, "club_speed_mps": head_speed(rng, club), "cross_mps": wind}


def _aimed(case: Case, degrees: float) -> Controls:
    return _shot(case, cross_mps=float(case["cross_mps"]), path_out_deg=degrees, face_open_deg=degrees)


def _solve_aim(case: Case, worlds: Worlds) -> np.ndarray:
    aims = -np.sign(float(case["cross_mps"])) * np.linspace(0.0, 9.0, 4)
    return crossing(aims, flown([_aimed(case, float(aim)) for aim in aims], worlds)["side_m"], 0.0)


def _ask_aim(case: Case, found: np.ndarray, units: str) -> Asked:
    wind, aim = float(case["cross_mps"]), float(found[0])
    before = _aimed(case, 0.0)
    drift = float(flown([before], PLAIN)["side_m"][0, 0])
    return Asked(
        f"A straight {show_club(str(case['club']))} shot in a wind of {speed(wind, units)} to the "
        f"{RIGHT_LEFT[int(wind < 0)]} lands {far(drift, units)} {RIGHT_LEFT[int(drift < 0)]} of the line. Path and "
        "face are turned together, so that it still does not curve by itself. To where must they point for the ball to "
        "land on the line?",
        given(before, units),
        f"{sided(aim)[0].upper() + sided(aim)[1:]}, into the wind: over this carry one degree is "
        f"{far(drift / aim, units)} at the landing.",
        "On the page turn path and face together into the wind until the flight ends on the target line.",
        _aimed(case, round(aim, 1)),
        before,
        ("before",),
        slips=(
            Slip(0.0, "Then it lands where the wind takes it."),
            Slip(-aim, "That is along with the wind, and doubles the miss."),
        ),
        measure=DEGREES,
        sides=RIGHT_LEFT,
        slack=1.0,
        widest=1.6,
    )


# Which step moves the ball most? --------------------------------------------------------------------------------------

_STEPS = ("face_open_deg", "path_out_deg", "cross_mps", "strike_toe_mm")


def _draw_slopes(rng: np.random.Generator) -> Case:
    club, most = one_of(rng, ("driver", "iron-7")), one_of(rng, _STEPS[:3])
    small = {"face_open_deg": (0.5, 1.0, 0.5), "path_out_deg": (0.5, 1.5, 0.5), "cross_mps": (1, 3, 1)}
    large = {"face_open_deg": (2.0, 3.0, 0.5), "path_out_deg": (4.0, 6.0, 0.5), "cross_mps": (11, 16, 1)}
    case: Case = {name: pick(rng, *(large if name == most else small)[name]) for name in small}
    case |= {"cross_mps": float(case["cross_mps"]) * MPH_MPS, "strike_toe_mm": pick(rng, 3, 8, 1)}
    return case | {"club": club, "club_speed_mps": head_speed(rng, club)}


def _stepped(case: Case) -> list[Controls]:
    return [_shot(case, **{name: float(case[name])}) for name in _STEPS]


def _solve_slopes(case: Case, worlds: Worlds) -> np.ndarray:
    side = np.abs(flown(_stepped(case), worlds)["side_m"])
    others = np.array([np.delete(side, at, axis=0).max(axis=0) for at in range(len(side))])
    return states(side > 1.25 * others, side < others / 1.25)


def _ask_slopes(case: Case, found: np.ndarray, units: str) -> Asked:
    after = _stepped(case)
    sides = flown(after, PLAIN)["side_m"][:, 0]
    texts = (
        f"The face {DEGREES.text(float(case['face_open_deg']))} to the right",
        f"The path {DEGREES.text(float(case['path_out_deg']))} to the right",
        f"A crosswind of {speed(float(case['cross_mps']), units)}",
        f"A strike {float(case['strike_toe_mm']):.0f} mm towards the toe",
    )
    most = int(np.argmax(found[:, 0]))
    told = [f"This one moves the landing by {_metres(float(side), units)}." for side in sides]
    near, *_ = sorted((float(abs(side)) for at, side in enumerate(sides) if at != most), reverse=True)
    per_degree = [abs(float(sides[at])) / float(case[_STEPS[at]]) for at in (0, 1)]
    return Asked(
        f"A straight {show_club(str(case['club']))} shot in still air. Which of these, alone, moves the place where "
        "the ball lands furthest to the side?",
        given(_shot(case), units),
        f"{texts[most]} moves it by {_metres(float(sides[most]), units)}, the next by {_metres(near, units)}. One "
        f"degree of face is worth about {per_degree[0] / per_degree[1]:.1f} degrees of path.",
        "On the page make each step alone, from straight, and read how far to the side the ball lands.",
        after[most],
        _shot(case),
        _SEEN,
        tuple(Option(text, tell, "slopes", each) for text, tell, each in zip(texts, told, after, strict=True)),
    )


def _metres(value_m: float, units: str) -> str:
    """Return a distance to a tenth, for steps of a few yards."""
    return shown("carry_m", units).text(abs(value_m))


EXERCISES = (
    Exercise("air-1", "forward", "head-tail", "Against and with the wind", _draw_wind, _solve_wind, _ask_wind),
    Exercise("air-2", "causes", "air-carry", "What carries further?", _draw_causes, _solve_causes, _ask_causes),
    Exercise("air-3", "mend", "cross-aim", "Aim in a crosswind", _draw_aim, _solve_aim, _ask_aim),
    Exercise("air-4", "forward", "slopes", "Which step moves it most?", _draw_slopes, _solve_slopes, _ask_slopes),
)
