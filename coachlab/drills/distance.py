"""Exercises on height and distance: loft less attack makes spin, loft makes the start, speed makes the distance."""

import numpy as np

from coachlab.drills.pick import head_speed, one_of, pick, sign
from coachlab.drills.value import Asked, Case, Exercise, Option, Slip
from coachlab.drills.words import DEGREES, attack, far, given, percent, speed
from coachlab.drills.worlds import PLAIN, Controls, Worlds, crossing, flown, started, states, usual
from coachlab.schema import show_club
from coachlab.units import MPH_MPS, YARD_M, Shown, shown

_SEEN = ("flight", "before", "numbers", "why")


def _shot(case: Case, **changes: float) -> Controls:
    return usual(str(case["club"]), club_speed_mps=case["club_speed_mps"], **changes)


# What does a change of attack do to the spin? -------------------------------------------------------------------------


def _draw_spin(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    together = bool(rng.integers(3) == 0)
    change = sign(rng) * pick(rng, 3.0, 5.0)
    return {"club": club, "club_speed_mps": head_speed(rng, club), "attack_change": change, "with_loft": together}


def _two(case: Case) -> list[Controls]:
    shot, change = _shot(case), float(case["attack_change"])
    loft = float(shot["delivered_loft_deg"]) + change * bool(case["with_loft"])
    return [shot, shot | {"attack_up_deg": float(shot["attack_up_deg"]) + change, "delivered_loft_deg": loft}]


def _solve_spin(case: Case, worlds: Worlds) -> np.ndarray:
    before, after = started(_two(case), worlds)["spin_rpm"]
    more = after - before
    return np.array([
        states(more > 250, more < 100),
        states(more < -250, more > -100),
        states(np.abs(more) < 100, np.abs(more) > 250),
    ])  # fmt: skip


def _ask_spin(case: Case, found: np.ndarray, units: str) -> Asked:
    before, after = _two(case)
    spins = started([before, after], PLAIN)["spin_rpm"][:, 0]
    change, club = float(case["attack_change"]), show_club(str(case["club"]))
    lofts = [float(each["delivered_loft_deg"]) for each in (before, after)]
    between = [loft - float(each["attack_up_deg"]) for loft, each in zip(lofts, (before, after), strict=True)]
    goes = f"{'rises' if change > 0 else 'falls'} with it to {lofts[1]:.1f}°"
    loft = goes if case["with_loft"] else f"stays at {lofts[0]:.1f}°"
    wrong = "Spin comes from how far apart loft and attack are, not from attack alone."
    return Asked(
        f"With a {club} the attack goes from {attack(float(before['attack_up_deg']))} to "
        f"{attack(float(after['attack_up_deg']))}; the delivered loft {loft}. What happens to the spin?",
        given(before, units),
        f"Loft less attack goes from {between[0]:.1f}° to {between[1]:.1f}°, and the spin from "
        f"{spins[0]:,.0f} to {spins[1]:,.0f} turns a minute.",
        "On the page move attack and delivered loft one after the other, and read the spin in the table: it stays when "
        "both move together.",
        after,
        before,
        _SEEN,
        (
            Option("More spin", wrong, "spin-loft"),
            Option("Less spin", wrong, "spin-loft"),
            Option("Hardly any change", "Loft and attack did not stay as far apart as they were.", "spin-loft"),
        ),
    )


# How much further with more speed? ------------------------------------------------------------------------------------


def _draw_speed(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    more = pick(rng, 4, 5 if club == "driver" else 6, 1)
    return {"club": club, "club_speed_mps": head_speed(rng, club), "more_mph": more}


def _faster(case: Case) -> list[Controls]:
    shot = _shot(case)
    return [shot, shot | {"club_speed_mps": float(shot["club_speed_mps"]) + float(case["more_mph"]) * MPH_MPS}]


def _solve_speed(case: Case, worlds: Worlds) -> np.ndarray:
    before, after = flown(_faster(case), worlds)["carry_m"]
    return after - before


def _ask_speed(case: Case, found: np.ndarray, units: str) -> Asked:
    before, after = _faster(case)
    more = float(case["more_mph"]) * MPH_MPS
    each = float(found[0]) / float(case["more_mph"])
    unit = shown("carry_m", units)
    rate = (
        f"{each / YARD_M:.1f} yd for each mph" if units == "yards" else f"{each / MPH_MPS:.1f} m for each m/s"
    )  # the slope in the trainee's own units
    return Asked(
        f"A {show_club(str(case['club']))} carries {far(float(flown([before], PLAIN)['carry_m'][0, 0]), units)}. The "
        f"head gets {speed(more, units)} quicker and nothing else changes. How much further does the ball carry?",
        given(before, units),
        f"About {rate} of head speed.",
        "On the page move the head speed and watch the carry: the steps are nearly alike.",
        after,
        before,
        _SEEN,
        slips=(
            Slip(0.0, "Head speed is the surest way to more carry."),
            Slip(0.45 * float(found[0]), "The carry grows about twice as fast as that."),
            Slip(2.4 * float(found[0]), "That is far more than speed gives."),
        ),
        measure=Shown(unit.unit, unit.factor, 0),
        slack=3.0,
        widest=5.0,
    )


# Which change was it? -------------------------------------------------------------------------------------------------


def _draw_which(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7"))
    change = sign(rng) * pick(rng, 3.0, 5.0)
    return {"club": club, "club_speed_mps": head_speed(rng, club), "change": change, "was": int(rng.integers(3))}


def _moved(case: Case) -> list[Controls]:
    shot, by = _shot(case), float(case["change"])
    attack_up, loft = float(shot["attack_up_deg"]), float(shot["delivered_loft_deg"])
    return [
        shot,
        shot | {"delivered_loft_deg": loft + by},
        shot | {"attack_up_deg": attack_up + by},
        shot | {"attack_up_deg": attack_up + by, "delivered_loft_deg": loft + by},
        shot | {"club_speed_mps": float(shot["club_speed_mps"]) + float(np.sign(by)) * 4 * MPH_MPS},
    ]


def _solve_which(case: Case, worlds: Worlds) -> np.ndarray:
    ball = started(_moved(case), worlds)
    up = ball["launch_up_deg"][1:] - ball["launch_up_deg"][:1]
    spin = ball["spin_rpm"][1:] - ball["spin_rpm"][:1]
    was = int(case["was"])
    off_up, off_spin = np.abs(up - up[was, 0]), np.abs(spin - spin[was, 0])
    return states((off_up < 0.8) & (off_spin < 320), (off_up > 1.5) | (off_spin > 420))


def _ask_which(case: Case, found: np.ndarray, units: str) -> Asked:
    moved, by, was = _moved(case), float(case["change"]), int(case["was"])
    ball = started(moved, PLAIN)
    up = float(ball["launch_up_deg"][was + 1, 0] - ball["launch_up_deg"][0, 0])
    spin = float(ball["spin_rpm"][was + 1, 0] - ball["spin_rpm"][0, 0])
    size = DEGREES.text(abs(by))
    texts = (
        f"{size} {_more(by)} delivered loft, attack held",
        f"{size} further {'up' if by > 0 else 'down'} in attack, delivered loft held",
        f"Attack {size} further {'up' if by > 0 else 'down'}, and {size} {_more(by)} loft with it",
        f"{speed(4 * MPH_MPS, units)} {_more(by)} head speed",
    )
    told = []
    for at in range(4):
        a = float(ball["launch_up_deg"][at + 1, 0] - ball["launch_up_deg"][0, 0])
        s = float(ball["spin_rpm"][at + 1, 0] - ball["spin_rpm"][0, 0])
        told.append(f"That one starts {_start(a)}, {_spin(s)}.")
    whys = (
        "Start and spin went the same way together, which is what loft does.",
        "The spin went one way and the start a little the other: that is attack with the loft held.",
        "The start moved by as much as the club, and the spin stayed, since loft less attack stayed.",
    )
    return Asked(
        f"The next {show_club(str(case['club']))} shot starts {_start(up)}, {_spin(spin)}. Which one change explains "
        "both?",
        given(moved[0], units),
        whys[was],
        "On the page make each change alone and read start and spin in the table.",
        moved[was + 1],
        moved[0],
        ("before", "why"),
        tuple(Option(text, word, "launch-spin", each) for text, word, each in zip(texts, told, moved[1:], strict=True)),
        shuffled=True,
    )


# How much loft mends a low start? -------------------------------------------------------------------------------------


def _draw_low(rng: np.random.Generator) -> Case:
    club = one_of(rng, ("driver", "iron-7", "wedge-pw"))
    more = sign(rng) * pick(rng, 3.0, 5.0, 1.0)
    return {"club": club, "club_speed_mps": head_speed(rng, club), "more_deg": more}


def _solve_low(case: Case, worlds: Worlds) -> np.ndarray:
    shot, more = _shot(case), float(case["more_deg"])
    by = np.linspace(-9.0, 9.0, 7)
    loft = float(shot["delivered_loft_deg"])
    ups = started([shot | {"delivered_loft_deg": loft + each} for each in by], worlds)["launch_up_deg"]
    return crossing(by, ups - ups[3], more)


def _ask_low(case: Case, found: np.ndarray, units: str) -> Asked:
    shot, more = _shot(case), float(case["more_deg"])
    up = float(started([shot], PLAIN)["launch_up_deg"][0, 0])
    after = shot | {"delivered_loft_deg": float(shot["delivered_loft_deg"]) + round(float(found[0]), 1)}
    return Asked(
        f"A {show_club(str(case['club']))} shot starts {up:.1f}° up. It should start {abs(more):.0f}° "
        f"{'higher' if more > 0 else 'lower'}, with the attack as it is. By how much must the delivered loft change?",
        given(shot, units),
        f"By {DEGREES.text(abs(float(found[0])))}: the start takes most of what the loft changes by, "
        f"{percent(more / float(found[0]))} with this club, and the rest follows the attack.",
        "On the page move the delivered loft and read the height of the start in the table.",
        after,
        shot,
        ("before",),
        slips=(
            Slip(-float(found[0]), "That is the wrong way: more loft starts the ball higher."),
            Slip(0.4 * more, "The start never moves by more than the loft itself."),
            Slip(2.6 * float(found[0]), "Loft has far more of the start than that."),
        ),
        measure=DEGREES,
        sides=("more loft", "less loft"),
        slack=0.9,
        widest=1.8,
    )


def _more(value: float) -> str:
    return "more" if value > 0 else "less"


def _start(up: float) -> str:
    return "at the same height" if abs(up) < 0.15 else f"{DEGREES.text(abs(up))} {'higher' if up > 0 else 'lower'}"


def _spin(spin: float) -> str:
    return "with the same spin" if abs(spin) < 60 else f"with {abs(spin):,.0f} turns a minute {_more(spin)} spin"


EXERCISES = (
    Exercise("distance-1", "forward", "spin-loft", "Attack and spin", _draw_spin, _solve_spin, _ask_spin),
    Exercise("distance-2", "forward", "speed-carry", "More head speed", _draw_speed, _solve_speed, _ask_speed),
    Exercise("distance-3", "backward", "launch-spin", "Which change was it?", _draw_which, _solve_which, _ask_which),
    Exercise("distance-4", "mend", "loft-launch", "Start it higher or lower", _draw_low, _solve_low, _ask_low),
)
