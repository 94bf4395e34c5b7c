"""The air a ball flies through: how dense, how sticky, and which way it moves."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from coachlab.errors import FlightError
from coachlab.physics.ops import Number, as_numbers, first_reason, length_of, plain, refuse, said

GRAVITY_MPS2 = 9.80665
SEA_LEVEL_PA = 101_325.0
WIND_REFERENCE_M = 10.0
"""Height at which a wind that grows with height (`profile="log"`) has the speed given."""
ROUGHNESS_M = 0.03
"""Roughness length of short grass."""

CIPM_2007: Mapping[str, tuple[float, ...]] = MappingProxyType(
    {
        "molar": (8.314472, 0.02896546, 0.01801528),  # gas constant; dry air, vapour, kg/mol
        "saturation": (1.2378847e-5, -1.9121316e-2, 33.93711047, -6343.1645),
        "enhancement": (1.00062, 3.14e-8, 5.6e-7),
        "a": (1.58123e-6, -2.9331e-8, 1.1043e-10),
        "b": (5.707e-6, -2.051e-8),
        "c": (1.9898e-4, -2.376e-6),
        "de": (1.83e-11, -0.765e-8),
    }
)
"""The constants of the CIPM-2007 equation; a to e are of the compressibility."""

STANDARD_ATMOSPHERE = (0.0065, 288.15, 0.0289644, 8.31447)
"""Lapse K/m, temperature at the sea K, air kg/mol, gas constant."""

SUTHERLAND = (1.716e-5, 383.55, 110.4)
"""Viscosity at 273.15 K in Pa s, and the two temperatures of Sutherland's law."""


@dataclass(frozen=True, eq=False)
class Air:
    """Air and wind, as numbers or arrays of shape (n,).

    Attributes
    ----------
    temperature_c : float or array
        Degrees Celsius.
    altitude_m : float or array
        Height above the sea; used for the pressure where that was not measured.
    pressure_pa : float, array or None
        Pressure at the place itself, not reduced to the sea; None: from the altitude (standard atmosphere).
    humidity : float or array
        Relative humidity, 0 to 1.
    tail_mps, cross_mps : float or array
        The air's own velocity: towards the target, and towards the positive side (out).
    profile : {"uniform", "log"}
        The same wind at every height, or one that grows with height over short grass, given at 10 m.

    Raises
    ------
    FlightError
        If a value is missing or outside what air on a golf course can be.
    """

    temperature_c: ArrayLike = 20.0
    altitude_m: ArrayLike = 0.0
    pressure_pa: ArrayLike | None = None
    humidity: ArrayLike = 0.5
    tail_mps: ArrayLike = 0.0
    cross_mps: ArrayLike = 0.0
    profile: str = "uniform"

    def __post_init__(self) -> None:
        asked = "The air of a flight was given."
        if not isinstance(self.profile, str) or self.profile not in ("uniform", "log"):
            raise FlightError(asked, f"profile is {said(self.profile)}.", "Choose uniform or log.", argument="profile")
        given = {item.name: getattr(self, item.name) for item in fields(self) if item.name != "profile"}
        if self.pressure_pa is None:
            del given["pressure_pa"]
        numbers = as_numbers(asked, given)
        for name, value in numbers.items():
            object.__setattr__(self, name, value)
        refuse(asked, numbers, first_reason(numbers, _broken), "Correct the value, or leave it out for the usual one.")

    @property
    def length(self) -> int | None:
        """How many shots the arrays are for, or None where all are plain numbers."""
        return length_of(*self._numbers().values())

    @property
    def density_kgpm3(self) -> Number:
        """Density of the moist air, kg/m³."""
        pressure = pressure_at(self.altitude_m) if self.pressure_pa is None else self.pressure_pa
        return air_density(self.temperature_c, pressure, self.humidity)

    @property
    def viscosity_pas(self) -> Number:
        """Dynamic viscosity, Pa s (Sutherland)."""
        kelvin = np.asarray(self.temperature_c, float) + 273.15
        base, above, constant = SUTHERLAND
        found = base * (kelvin / 273.15) ** 1.5 * above / (kelvin + constant)
        return found if found.ndim else float(found)

    def _numbers(self) -> dict[str, Number]:
        given = {item.name: getattr(self, item.name) for item in fields(self) if item.name != "profile"}
        return {name: value for name, value in given.items() if value is not None}


def _broken(
    temperature_c: np.ndarray,
    altitude_m: np.ndarray,
    humidity: np.ndarray,
    tail_mps: np.ndarray,
    cross_mps: np.ndarray,
    pressure_pa: np.ndarray | None = None,
) -> dict[str, np.ndarray]:
    """Return which rule of a believable air is broken where."""
    pressure = np.array(SEA_LEVEL_PA) if pressure_pa is None else pressure_pa
    return {
        "temperature_c is missing or outside -60 to 60": ~(np.abs(temperature_c) <= 60),
        "altitude_m is missing or outside -500 to 9000": ~((altitude_m >= -500) & (altitude_m <= 9000)),
        "pressure_pa is missing or outside 30,000 to 110,000 (hectopascals times 100)": ~(
            (pressure >= 30_000) & (pressure <= 110_000)
        ),
        "humidity is missing or outside 0 to 1 (55 % is 0.55)": ~((humidity >= 0) & (humidity <= 1)),
        "tail_mps is missing or above 40": ~(np.abs(tail_mps) <= 40),
        "cross_mps is missing or above 40": ~(np.abs(cross_mps) <= 40),
    }


def _not_a_height(altitude_m: np.ndarray) -> dict[str, np.ndarray]:
    return {"altitude_m is missing or outside -500 to 9000": ~((altitude_m >= -500) & (altitude_m <= 9000))}


def _no_air(temperature_c: np.ndarray, pressure_pa: np.ndarray, humidity: np.ndarray) -> dict[str, np.ndarray]:
    zero = np.zeros_like(temperature_c)
    return _broken(temperature_c, zero, humidity, zero, zero, pressure_pa)


def pressure_at(altitude_m: ArrayLike) -> Number:
    """Return the air pressure in Pa that the standard atmosphere has at a height above the sea in metres.

    Raises
    ------
    FlightError
        If a height is missing or outside -500 to 9000.

    >>> round(pressure_at(1600.0))
    83524
    """
    asked = "The pressure of the standard atmosphere was asked for."
    numbers = as_numbers(asked, {"altitude_m": altitude_m})
    refuse(asked, numbers, first_reason(numbers, _not_a_height), "Give metres above the sea.")
    height = np.asarray(numbers["altitude_m"])
    lapse, sea_k, kg_per_mol, gas = STANDARD_ATMOSPHERE
    found = SEA_LEVEL_PA * (1 - lapse * height / sea_k) ** (GRAVITY_MPS2 * kg_per_mol / (gas * lapse))
    return found if height.ndim else float(found)


def air_density(temperature_c: ArrayLike, pressure_pa: ArrayLike, humidity: ArrayLike = 0.5) -> Number:
    """Return the density of moist air in kg/m³.

    Parameters
    ----------
    temperature_c : float or array, shape (n,)
        Degrees Celsius.
    pressure_pa : float or array, shape (n,)
        Pressure at the place itself, Pa.
    humidity : float or array, shape (n,)
        Relative humidity, 0 to 1.

    Raises
    ------
    FlightError
        If a value is missing or outside what `Air` takes.

    References
    ----------
    The CIPM-2007 equation: A. Picard and others, Metrologia 45 (2008) 149.

    Examples
    --------
    >>> round(air_density(15.0, 101_325.0, humidity=0.0), 3)
    1.226
    """
    asked = "The density of air was asked for."
    numbers = as_numbers(asked, {"temperature_c": temperature_c, "pressure_pa": pressure_pa, "humidity": humidity})
    refuse(asked, numbers, first_reason(numbers, _no_air), "Correct the value.")
    t, p, h = (np.atleast_1d(value) for value in numbers.values())
    T = t + 273.15
    gas, dry, vapour = CIPM_2007["molar"]
    s0, s1, s2, s3 = CIPM_2007["saturation"]
    f0, f1, f2 = CIPM_2007["enhancement"]
    (a0, a1, a2), (b0, b1), (c0, c1), (d, e) = (CIPM_2007[name] for name in ("a", "b", "c", "de"))
    p_sv = np.exp(s0 * T**2 + s1 * T + s2 + s3 / T)
    x = h * (f0 + f1 * p + f2 * t**2) * p_sv / p
    first = a0 + a1 * t + a2 * t**2 + (b0 + b1 * t) * x + (c0 + c1 * t) * x**2
    Z = 1 - p / T * first + (p / T) ** 2 * (d + e * x**2)
    density = p * dry / (Z * gas * T) * (1 - x * (1 - vapour / dry))
    return plain(density, length_of(*numbers.values()))
