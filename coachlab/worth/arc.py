"""How much of a path shift the arc gave with the attack change, and how much was earned by turning the arc."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from coachlab.errors import FlightError
from coachlab.physics.arc import path_from_arc
from coachlab.physics.ops import as_numbers, said
from coachlab.units import shown

INCLINE_BAND_DEG = 3.0
"""How far a player's incline may lie from the typical one of the head."""

SENTENCE = (
    "On the same arc this change of attack alone moves the path by {free} ({free_low} to {free_high} for an incline of "
    "{incline}); the other {earned} ({earned_low} to {earned_high}) asks for turning the arc."
)


@dataclass(frozen=True)
class PathSplit:
    """A path shift in two parts, degrees, out positive.

    ``free`` is what the same arc gives with the change of attack; ``earned`` is the rest, which the arc was turned for.
    The ends are for an incline ``band_deg`` either way; the parts add up to ``shift_deg`` at each incline.
    """

    shift_deg: float
    free_deg: float
    free_low_deg: float
    free_high_deg: float
    earned_deg: float
    earned_low_deg: float
    earned_high_deg: float
    incline_deg: float
    band_deg: float

    @property
    def table(self) -> pd.DataFrame:
        """Two rows: ``part estimate low high``, degrees."""
        return pd.DataFrame(
            {
                "part": ["free", "earned"],
                "estimate": [self.free_deg, self.earned_deg],
                "low": [self.free_low_deg, self.earned_low_deg],
                "high": [self.free_high_deg, self.earned_high_deg],
            }
        )

    def text(self) -> str:
        """Return the split in a sentence."""
        unit = shown("path_out_deg")
        names = ("free", "free_low", "free_high", "earned", "earned_low", "earned_high")
        values = {name: unit.text(getattr(self, f"{name}_deg"), sign=True) for name in names}
        return SENTENCE.format_map(values | {"incline": f"{self.incline_deg:g} ± {self.band_deg:g}°"})

    def _repr_html_(self) -> str:
        return self.table.round(1).to_html(index=False) + f"<p>{self.text()}</p>"


def split_path(
    attack_from_deg: float,
    attack_to_deg: float,
    path_shift_deg: float,
    incline_deg: float,
    band_deg: float = INCLINE_BAND_DEG,
) -> PathSplit:
    """Return how much of a path shift geometry gave with the attack change, and how much was earned.

    Parameters
    ----------
    attack_from_deg, attack_to_deg : float
        Attack before and after, degrees.
    path_shift_deg : float
        How far the path moved, degrees, out positive.
    incline_deg : float
        Incline of the arc from the ground, degrees.
    band_deg : float
        How far the incline may be off.

    Raises
    ------
    FlightError
        If an attack is as steep as the arc, or the band is not from 0 to below the incline.

    Examples
    --------
    >>> split = split_path(-3.0, 4.0, 0.0, 47.0)
    >>> round(split.free_deg, 1), round(split.earned_deg, 1)
    (-6.5, 6.5)
    """
    asked = "A path shift was to be split."
    given = {
        "attack_from_deg": attack_from_deg, "attack_to_deg": attack_to_deg, "path_shift_deg": path_shift_deg,
        "incline_deg": incline_deg, "band_deg": band_deg,
    }  # fmt: skip
    numbers = as_numbers(asked, given)
    for name, value in numbers.items():
        if isinstance(value, np.ndarray) or not abs(value) <= 360:
            raise FlightError(asked, f"{name} is {said(given[name])}.", "Give one number, in degrees.", argument=name)
    attack_from_deg, attack_to_deg, path_shift_deg, incline_deg, band_deg = map(float, numbers.values())
    if not 0 <= band_deg < incline_deg <= 90 - band_deg:
        raise FlightError(
            asked,
            f"The incline is {incline_deg:g} degrees, with a band of {band_deg:g}.",
            "Give an incline between the band and 90 less the band.",
        )
    free = [
        float(path_from_arc(0.0, attack_to_deg, incline) - path_from_arc(0.0, attack_from_deg, incline)) + 0.0
        for incline in (incline_deg, incline_deg - band_deg, incline_deg + band_deg)
    ]
    earned = [path_shift_deg - part + 0.0 for part in free]
    return PathSplit(
        path_shift_deg, free[0], min(free), max(free), earned[0], min(earned), max(earned), incline_deg, band_deg
    )
