"""One page for each group of exercises: what makes what, in plain sentences, each with two flights to compare.

Every figure is computed when the page is made; none is typed.
"""

import html
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import radians
from types import MappingProxyType

from coachlab.drills.value import GROUPS
from coachlab.drills.words import CENTIMETRES, DEGREES, RIGHT_LEFT, attack, far, percent, sided, speed
from coachlab.drills.worlds import PLAIN, Controls, flown, started, usual
from coachlab.errors import DataError, need
from coachlab.physics.arc import ARCS, arc_bottom_fwd, path_from_arc
from coachlab.settings import Settings
from coachlab.units import MPH_MPS


@dataclass(frozen=True)
class Step:
    """One paragraph, and two sets of controls of the flight page that show it: before and after."""

    text: str
    show: str
    before: Controls
    after: Controls


@dataclass(frozen=True)
class Explanation:
    """The page of one group: what it is about in a sentence, and its steps in reading order."""

    group: str
    title: str
    question: str
    steps: tuple[Step, ...]

    def text(self) -> str:
        """Return the page as plain text, one paragraph a step."""
        return "\n\n".join([self.title, self.question, *(step.text for step in self.steps)])

    def _repr_html_(self) -> str:
        steps = "".join(f"<p>{html.escape(step.text)}</p>" for step in self.steps)
        return f"<h3>{html.escape(self.title)}</h3><p>{html.escape(self.question)}</p>{steps}"


def explain_flight(group: str, settings: Settings | None = None) -> Explanation:
    """Return the page that explains one group of exercises, with its figures in yards or metres.

    Parameters
    ----------
    group : str
        One of `drills.GROUPS`: start, curve, distance, arc, strike, air.
    settings : Settings or None
        The academy's, for yards or metres.

    Raises
    ------
    DataError
        If there is no such group.

    Examples
    --------
    >>> explain_flight("arc").steps[0].text.startswith("Near the ball the head moves on an arc")
    True
    """
    need(group, str, "A page was asked for.", "group", f"Choose one of {', '.join(GROUPS)}.")
    if group not in GROUPS:
        raise DataError("A page was asked for.", f"There is no group {group!r}.", f"Choose one of {', '.join(GROUPS)}.")
    question, make = _PAGES[group]
    return Explanation(group, GROUPS[group], question, make((settings or Settings()).units))


def _start(units: str) -> tuple[Step, ...]:
    square = usual("driver")
    face, path = usual("driver", face_open_deg=4.0), usual("driver", path_out_deg=4.0)
    wedge = usual("wedge-pw", face_open_deg=4.0)
    by_face, by_path, by_wedge = started([face, path, wedge], PLAIN)["launch_out_deg"][:, 0]
    fixed = usual("driver", path_out_deg=4.0, face_open_deg=-4.0 * by_path / by_face)
    return (
        Step(
            "The ball leaves the face nearly the way the face looks. Open the face of a driver by 4.0° with the path "
            f"straight, and the ball starts {sided(by_face)}: {percent(by_face / 4)} of the way is the face's.",
            "Open the face 4°",
            square,
            face,
        ),
        Step(
            f"The path has what is left. Turn the path alone 4.0° to the right, and the ball starts {sided(by_path)}. "
            "So when a ball starts off line, look at the face first.",
            "Turn the path 4°",
            square,
            path,
        ),
        Step(
            "The more the face is laid back, the more glancing the blow and the more the path pulls. The same 4.0° of "
            f"open face start a pitching wedge {sided(by_wedge)}, {percent(by_wedge / 4)} of the way.",
            "The same face with a wedge",
            face,
            wedge,
        ),
        Step(
            "To read it backwards: the face pointed beyond the start, on the side away from the path. A driver with a "
            f"path 4.0° to the right starts at the target when its face points {sided(float(fixed['face_open_deg']))}.",
            "A start at the target",
            path,
            fixed,
        ),
    )


def _curve(units: str) -> tuple[Step, ...]:
    square = usual("driver")
    opened, crossed = usual("driver", face_open_deg=3.0), usual("driver", path_out_deg=-3.0)
    both = usual("driver", path_out_deg=4.0, face_open_deg=4.0)
    back = usual("driver", path_out_deg=6.0, face_open_deg=2.5)
    bends = flown([opened, crossed, back], PLAIN)["curve_m"][:, 0]
    return (
        Step(
            "A ball that is met square spins straight backwards and does not curve. When the face looks to one side of "
            "the path, the blow is slanted, the spin tilts with it, and the ball curves to that side: away from the "
            "path.",
            "Face and path straight",
            square,
            square,
        ),
        Step(
            "Two ways to the same curve: a face 3.0° open with the path straight bends this drive about "
            f"{far(bends[0], units)} to the right, and a path 3.0° to the left with the face straight about "
            f"{far(bends[1], units)} to the right. Only the start tells the two apart.",
            "Open face, then path to the left",
            opened,
            crossed,
        ),
        Step(
            "Where the target is does not matter for the curve. Path and face both 4.0° to the right make a straight "
            "ball that misses to the right.",
            "Both to the right",
            square,
            both,
        ),
        Step(
            "So a face may look right of the target and still be closed to its path: path 6.0° right, face 2.5° right, "
            f"and the ball starts right and curves about {far(bends[2], units)} back to the "
            f"{RIGHT_LEFT[int(bends[2] < 0)]}.",
            "Start right, curve left",
            both,
            back,
        ),
    )


def _distance(units: str) -> tuple[Step, ...]:
    driver, iron = usual("driver"), usual("iron-7")
    up = usual("driver", attack_up_deg=2.5)
    with_loft = up | {"delivered_loft_deg": float(driver["delivered_loft_deg"]) + 4.0}
    quick = usual("driver", club_speed_mps=float(driver["club_speed_mps"]) + 5 * MPH_MPS)
    more = usual("iron-7", delivered_loft_deg=float(iron["delivered_loft_deg"]) + 4.0)
    ball = flown([driver, up, with_loft, quick, iron, more], PLAIN)
    launch, spin, carry = (ball[name][:, 0] for name in ("launch_up_deg", "spin_rpm", "carry_m"))
    return (
        Step(
            f"How high the ball starts is mostly loft. A 7-iron with 4.0° more delivered loft starts "
            f"{launch[5] - launch[4]:.1f}° higher; what is missing to 4.0° is the pull of the attack. It also spins "
            f"{spin[5] - spin[4]:,.0f} turns a minute more.",
            "More loft with a 7-iron",
            iron,
            more,
        ),
        Step(
            "Spin comes from the angle between loft and attack. A driver's attack raised from "
            f"{attack(float(driver['attack_up_deg']))} to {attack(2.5)}, with the loft held, takes the spin from "
            f"{spin[0]:,.0f} to {spin[1]:,.0f} turns a minute, and the start rises by only "
            f"{launch[1] - launch[0]:.1f}°.",
            "Raise the attack, hold the loft",
            driver,
            up,
        ),
        Step(
            f"Raise loft and attack together and the spin stays at {spin[2]:,.0f}, while the start rises by "
            f"{launch[2] - launch[0]:.1f}°, as much as the club.",
            "Raise both",
            driver,
            with_loft,
        ),
        Step(
            f"Distance is speed first. Another {speed(5 * MPH_MPS, units)} of head speed carry this drive "
            f"{far(carry[3] - carry[0], units)} further. What attack is worth in distance hangs on what the loft does "
            "with it, and the models of the ball do not agree on that, so no exercise asks for it.",
            "More head speed",
            driver,
            quick,
        ),
    )


def _arc(units: str) -> tuple[Step, ...]:
    arc = ARCS["driver"]
    down, up = usual("driver", attack_up_deg=-3.0), usual("driver", attack_up_deg=3.0)
    moved = float(path_from_arc(0.0, 3.0, arc.incline_deg) - path_from_arc(0.0, -3.0, arc.incline_deg))
    bottoms = [float(arc_bottom_fwd(each, arc.incline_deg, arc.radius_m)) for each in (-3.0, 3.0)]
    along = usual("driver", attack_up_deg=3.0, path_out_deg=round(moved, 1))
    return (
        Step(
            "Near the ball the head moves on an arc that leans from the ground, as a hoop leans against a wall. Before "
            "its lowest point the head goes down and, for a right-hander, to the right; past it up and to the left.",
            "Attack 3° down",
            down,
            down,
        ),
        Step(
            "So the low point makes the attack. A driver that hits 3.0° down has its low point "
            f"{CENTIMETRES.text(bottoms[0])} ahead of the ball, one that hits 3.0° up "
            f"{CENTIMETRES.text(abs(bottoms[1]))} behind it, about {(bottoms[0] - bottoms[1]) / 60:.1f} cm for each "
            "degree.",
            "From 3° down to 3° up",
            down,
            along,
        ),
        Step(
            f"And attack takes the path along: on the same arc those 6.0° more up swing the path {sided(moved)}. That "
            "part comes free, wanted or not.",
            "Watch the path go along",
            down,
            along,
        ),
        Step(
            "Who hits more up and keeps the path has turned the whole arc, here by "
            f"{DEGREES.text(abs(moved))} to the right. That part must be earned. Players lean their arcs differently, "
            "so the exercises allow three degrees either way.",
            "Hold the path",
            along,
            up,
        ),
    )


def _strike(units: str) -> tuple[Step, ...]:
    centre = usual("driver")
    toe, heel = usual("driver", strike_toe_mm=18.0), usual("driver", strike_toe_mm=-18.0)
    high, low = usual("driver", strike_high_mm=10.0), usual("driver", strike_high_mm=-10.0)
    iron, iron_toe = usual("iron-7"), usual("iron-7", strike_toe_mm=18.0)
    ball = flown([centre, toe, heel, high, low, iron, iron_toe], PLAIN)
    out, bend, carry, up, spin = (
        ball[name][:, 0] for name in ("launch_out_deg", "curve_m", "carry_m", "launch_up_deg", "spin_rpm")
    )
    return (
        Step(
            "A driver's face is rounded. With path and face straight, a ball struck 18 mm towards the toe starts "
            f"{sided(out[1])}. The head twists open under the blow, and the ball, rolling on it like one cog on "
            f"another, is turned the other way and curves about {far(bend[1], units)} to the "
            f"{RIGHT_LEFT[int(bend[1] < 0)]}.",
            "Strike it towards the toe",
            centre,
            toe,
        ),
        Step(
            f"Towards the heel it is the mirror image: a start {sided(out[2])} and about {far(bend[2], units)} of "
            f"curve to the {RIGHT_LEFT[int(bend[2] < 0)]}. How much it curves the models do not agree on; which way, "
            "they do.",
            "Strike it towards the heel",
            centre,
            heel,
        ),
        Step(
            f"The twist also costs speed: {far(carry[0] - carry[1], units)} of carry with this driver, and "
            f"{far(carry[5] - carry[6], units)} with a 7-iron struck as far from its centre, though an iron's flat "
            "face hardly moves the start.",
            "A 7-iron off the centre",
            iron,
            iron_toe,
        ),
        Step(
            f"Up and down the face it is loft and spin: 10 mm high starts the drive {up[3] - up[0]:.1f}° higher with "
            f"{spin[0] - spin[3]:,.0f} turns a minute less, 10 mm low {up[0] - up[4]:.1f}° lower with "
            f"{spin[4] - spin[0]:,.0f} more.",
            "High, then low on the face",
            high,
            low,
        ),
    )


def _air(units: str) -> tuple[Step, ...]:
    wind = 10 * MPH_MPS
    calm = usual("iron-7")
    against, behind = usual("iron-7", tail_mps=-wind), usual("iron-7", tail_mps=wind)
    across, cold = usual("iron-7", cross_mps=wind), usual("iron-7", temperature_c=2.0)
    face, path = usual("iron-7", face_open_deg=1.0), usual("iron-7", path_out_deg=1.0)
    ball = flown([calm, against, behind, across, cold, face, path], PLAIN)
    carry, side = ball["carry_m"][:, 0], ball["side_m"][:, 0]
    return (
        Step(
            f"A wind of {speed(wind, units)} against takes {far(carry[0] - carry[1], units)} from this 7-iron; the "
            f"same wind from behind gives only {far(carry[2] - carry[0], units)}. Against the wind the ball meets "
            "faster air, and drag grows with the square of that.",
            "Against, then from behind",
            against,
            behind,
        ),
        Step(
            f"Across, {speed(wind, units)} push it {far(side[3], units)} to the side although nothing in the strike is "
            f"wrong. Aim into the wind: at this distance one degree of aim is {far(carry[0] * radians(1.0), units)}.",
            "Wind across",
            calm,
            across,
        ),
        Step(
            f"Cold air is thicker: at 2 °C instead of 20 °C the ball carries {far(carry[0] - carry[4], units)} less, "
            "and high above the sea it carries more.",
            "Cold air",
            calm,
            cold,
        ),
        Step(
            "Numbers differ in what one step of them does. One degree of face moves the landing "
            f"{far(side[5], units)} to the side, one degree of path {far(side[6], units)} the other way, since the "
            "face has most of the start and both make the curve. Look first at the number with the steep slope.",
            "One degree of face, one of path",
            face,
            path,
        ),
    )


_PAGES: Mapping[str, tuple[str, Callable[[str], tuple[Step, ...]]]] = MappingProxyType(
    {
        "start": ("Which way does the ball leave, and who decides: face or path?", _start),
        "curve": ("Why does a ball bend in the air?", _curve),
        "distance": ("What makes the ball go high, spin, and go far?", _distance),
        "arc": ("Why do attack and path move together?", _arc),
        "strike": ("What happens when the ball is not met in the centre?", _strike),
        "air": ("What does the air do, and which numbers matter most?", _air),
    }
)
