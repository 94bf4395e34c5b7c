"""How a shot is put into words for a trainee: plain, with sides instead of signs, in yards or metres."""

from collections.abc import Sequence

from coachlab.drills.worlds import Controls
from coachlab.schema import show_club
from coachlab.units import FOOT_M, Shown, shown

RIGHT_LEFT = ("right", "left")
UP_DOWN = ("up", "down")
DEGREES = Shown("°", 1.0, 1)
CENTIMETRES = Shown("cm", 0.1, 0)
"""Low points are told in centimetres in both systems, as on the page."""

ALWAYS = ("club", "club_speed_mps", "attack_up_deg", "path_out_deg", "face_open_deg", "delivered_loft_deg")


def sided(value: float, words: tuple[str, str] = RIGHT_LEFT, zero: str = "straight at the target") -> str:
    """Return an angle with its side in words.

    >>> sided(-2.0), sided(0.0)
    ('2.0° left', 'straight at the target')
    """
    return zero if abs(value) < 0.05 else f"{DEGREES.text(abs(value))} {words[int(value < 0)]}"


def far(value_m: float, units: str) -> str:
    """Return a distance without its sign, in whole yards or metres.

    >>> far(-9.144, "yards")
    '10 yd'
    """
    unit = shown("carry_m", units)
    return Shown(unit.unit, unit.factor, 0).text(abs(value_m))


def speed(value_mps: float, units: str) -> str:
    """Return a speed without its sign, in whole mph or in m/s.

    >>> speed(40.2336, "yards")
    '90 mph'
    """
    unit = shown("club_speed_mps", units)
    return Shown(unit.unit, unit.factor, 0 if units == "yards" else 1).text(abs(value_mps))


def attack(value: float) -> str:
    """Return an attack in words.

    >>> attack(-3.0), attack(0.0)
    ('3.0° down', 'level')
    """
    return sided(value, UP_DOWN, "level")


def strike_place(controls: Controls) -> str:
    """Return where on the face, in words."""
    toe, high = float(controls["strike_toe_mm"]), float(controls["strike_high_mm"])
    parts = []
    if toe:
        parts.append(f"{abs(toe):.0f} mm towards the {'toe' if toe > 0 else 'heel'}")
    if high:
        parts.append(f"{abs(high):.0f} mm {'high' if high > 0 else 'low'}")
    return ", ".join(parts) or "in the centre"


def wind(controls: Controls, units: str) -> str:
    """Return the wind in words."""
    along, across = float(controls["tail_mps"]), float(controls["cross_mps"])
    parts = []
    if along:
        parts.append(f"{speed(along, units)} {'from behind' if along > 0 else 'against'}")
    if across:
        parts.append(f"{speed(across, units)} to the {RIGHT_LEFT[int(across < 0)]}")
    return ", ".join(parts) or "none"


def percent(share: float) -> str:
    """Return a share in whole per cent.

    >>> percent(0.836)
    '84 %'
    """
    return f"{100 * share:.0f} %"


def altitude(value_m: float, units: str) -> str:
    """Return a height above the sea in feet or metres."""
    return Shown("ft", 1 / FOOT_M, 0).text(value_m) if units == "yards" else Shown("m", 1.0, 0).text(value_m)


def given(controls: Controls, units: str, without: Sequence[str] = ()) -> tuple[tuple[str, str], ...]:
    """Return what is known of a shot as label and value; wind and air only where they are not the usual ones."""
    values = {
        "club": ("Club", show_club(str(controls["club"]))),
        "club_speed_mps": ("Head speed", speed(float(controls["club_speed_mps"]), units)),
        "attack_up_deg": ("Attack", attack(float(controls["attack_up_deg"]))),
        "path_out_deg": ("Path", sided(float(controls["path_out_deg"]))),
        "face_open_deg": ("Face", sided(float(controls["face_open_deg"]))),
        "delivered_loft_deg": ("Delivered loft", DEGREES.text(float(controls["delivered_loft_deg"]))),
        "strike": ("Strike", strike_place(controls)),
        "wind": ("Wind", wind(controls, units)),
        "temperature_c": ("Temperature", shown("temperature_c").text(float(controls["temperature_c"]))),
        "altitude_m": ("Above the sea", altitude(float(controls["altitude_m"]), units)),
    }
    usual = {"wind": "none", "temperature_c": shown("temperature_c").text(20.0), "altitude_m": altitude(0.0, units)}
    return tuple(value for name, value in values.items() if name not in without and usual.get(name) != value[1])


def listed(parts: Sequence[str]) -> str:
    """Return words in a row, the last two joined by "and".

    >>> listed(["face", "path", "wind"])
    'face, path and wind'
    """
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
