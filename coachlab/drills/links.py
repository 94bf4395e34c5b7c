"""The cause-effect links that the exercises train: what follows from what, in one sentence each."""

from collections.abc import Mapping

LINKS: Mapping[str, str] = {
    "face-start": "The ball starts close to where the face points.",
    "path-start": "The path pulls the start a little to its side, so the face points beyond where the ball starts.",
    "loft-start": "The more loft a club has, the more the path pulls the start.",
    "curve-away": "The ball curves away from the path, to the side where the face points as seen from the path.",
    "no-curve": "Without curve, face and path point the same way, wherever that is.",
    "curve-causes": "Face, path, strike and wind can each bend the same flight.",
    "spin-loft": "Loft less attack makes the spin.",
    "loft-launch": "The height of the start comes mostly from the delivered loft, a little from attack.",
    "launch-spin": "Start and spin read together tell loft from attack.",
    "speed-carry": "Every bit of head speed carries the ball further, by about the same amount each time.",
    "arc-path": "On the same arc, hitting more up swings the path to the left, more down to the right.",
    "low-point": "Ahead of the ball the low point makes a downward strike, behind it an upward one.",
    "arc-turn": "The same path can come from turning the arc or from the attack.",
    "gear": "Off the centre of a driver the ball starts to the side of the strike and curves back.",
    "off-centre": "Off the centre the ball leaves more slowly.",
    "strike-height": "High on a driver's face the ball leaves higher with less spin; low, lower with more.",
    "head-tail": "A headwind takes more than the same tailwind gives.",
    "air-carry": "Thin, warm air lets the ball carry further; thick, cold air holds it.",
    "cross-aim": "A crosswind is met by aiming into it, not by hoping.",
    "slopes": "Some numbers move the ball much more than others, for the same step.",
}
"""Each link by name; every exercise trains one of them."""
