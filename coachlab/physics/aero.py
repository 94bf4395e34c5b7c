"""How much a golf ball drags and lifts: published fits, each a function of spin ratio and Reynolds number.

The default is the mean of two laboratories, so that neither one's ball decides alone. The others are members of an
ensemble that shows how far the answer hangs on the ball; none of them is ever the default. Nothing here was tuned.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

from coachlab.errors import FlightError
from coachlab.physics.ops import Ops, said

Coefficients = Callable[[Any, Any, Ops], tuple[Any, Any]]
"""(spin ratio, Reynolds number, ops) to (drag coefficient, lift coefficient)."""

NO_SPIN_NO_LIFT = 0.01
"""Spin ratio over which lift fades in; our own choice: every fit is unvalidated below a spin ratio of 0.02."""


class Fit(NamedTuple):
    """A published fit: polynomials in the spin ratio S, lowest power first, each held at its `hold`.

    Drag gains ``drag_re * r``, lift ``lift_re / r²``, with r the Reynolds number in 1e5, held to ``re_span``.
    """

    drag: tuple[float, ...]
    lift: tuple[float, ...]
    drag_hold: float
    lift_hold: float
    drag_re: float = 0.0
    lift_re: float = 0.0
    re_span: tuple[float, float] = (0.81, 2.0)


FITS: Mapping[str, Fit] = MappingProxyType(
    {
        "ferguson": Fit(
            (0.1304, 0.9287, -0.8259), (0.0504, 1.2031, -1.1490), 0.9287 / (2 * 0.8259), 1.2031 / (2 * 1.1490)
        ),
        "naruo": Fit((0.2049, 0.2148, 1.098, -1.760, 0.7510), (0.0616, 1.250, -1.644, 1.006, -0.2158), 1.13, 1.13),
        "patent": Fit((0.2028, -0.2159, 2.8466), (0.0860, 0.6463, 1.4789), 0.218, 0.218, 0.0165, -0.0122),
    }
)
"""The fits behind the default and the ensemble, by name."""

PARTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"mean": ("ferguson", "naruo")} | {name: (name,) for name in FITS}
)
"""Which fits a model is the mean of."""


def _ferguson(S: Any, Re: Any, ops: Ops) -> tuple[Any, Any]:
    """Return the fit of E. Ferguson, J. McNally, J. McPhee 2022: 1,040 shots, S 0.02 to 0.75; held at its maxima."""
    (d0, d1, d2), (l0, l1, l2), drag_hold, lift_hold, *_ = FITS["ferguson"]
    s = ops.minimum(S, drag_hold)
    drag = d0 + s * (d1 + s * d2)
    s = ops.minimum(S, lift_hold)
    return drag, l0 + s * (l1 + s * l2)


def _naruo(S: Any, Re: Any, ops: Ops) -> tuple[Any, Any]:
    """Return the fit of T. Naruo, T. Mizota, H. Shimozono 2004: wind tunnel, S 0.03 to 1.13, Re 0.71e5 to 1.25e5."""
    (d0, d1, d2, d3, d4), (l0, l1, l2, l3, l4), hold, *_ = FITS["naruo"]
    s = ops.minimum(S, hold)
    return d0 + s * (d1 + s * (d2 + s * (d3 + s * d4))), l0 + s * (l1 + s * (l2 + s * (l3 + s * l4)))


def _mean(S: Any, Re: Any, ops: Ops) -> tuple[Any, Any]:
    """Return the mean of the two fits above."""
    one, other = _ferguson(S, Re, ops), _naruo(S, Re, ops)
    return 0.5 * (one[0] + other[0]), 0.5 * (one[1] + other[1])


def _patent(S: Any, Re: Any, ops: Ops) -> tuple[Any, Any]:
    """Return the fit of US patent 6,186,002, example ball: S 0.044 to 0.218, Re 0.81e5 to 2.0e5; held at these ends."""
    (d0, d1, d2), (l0, l1, l2), hold, _, drag_re, lift_re, (least, most) = FITS["patent"]
    s = ops.minimum(S, hold)
    r = ops.minimum(ops.maximum(Re * 1e-5, least), most)
    return d0 + drag_re * r + s * (d1 + s * d2), l0 + lift_re / (r * r) + s * (l1 + s * l2)


def _smits(S: Any, Re: Any, ops: Ops) -> tuple[Any, Any]:
    """Return the fit of A. Smits, D. Smith 1994: Re 0.7e5 to 2.1e5, held there, S 0.08 to 0.2. Flies short."""
    r = ops.minimum(ops.maximum(Re, 7e4), 2.1e5)
    s = ops.minimum(S, 1.0)
    return 0.24 + 0.18 * s + 0.06 * ops.sin(3.141592653589793 * (r - 9e4) / 2e5), 0.54 * s**0.4


def _lyu(S: Any, Re: Any, ops: Ops) -> tuple[Any, Any]:
    """Return the fit of B. Lyu and others 2018, one ball; lift held at its maximum. Flies long."""
    r = ops.minimum(Re, 2.1e5)
    s = ops.minimum(S, 1.99 / (2 * 3.25))
    return 0.56 + r * (1.91e-11 * r - 5.40e-6), s * (1.99 - 3.25 * s)


_MODELS: Mapping[str, Coefficients] = MappingProxyType(
    {"mean": _mean, "ferguson": _ferguson, "naruo": _naruo, "patent": _patent, "smits": _smits, "lyu": _lyu}
)

AERO: tuple[str, ...] = tuple(_MODELS)
"""The aerodynamic models by name; the first is the default."""

ENSEMBLE: tuple[str, ...] = ("mean", "ferguson", "naruo", "patent")
"""The models whose spread goes with every worth. The other two are known to fly short and long."""


def coefficients(aero: str) -> Coefficients:
    """Return the drag and lift coefficients of a model as a function of spin ratio, Reynolds number and ops.

    Raises
    ------
    FlightError
        If there is no model of that name.

    Examples
    --------
    >>> from coachlab.physics.ops import PLAIN
    >>> drag, lift = coefficients("mean")(0.1, 1.5e5, PLAIN)
    >>> round(drag, 3), round(lift, 3)
    (0.225, 0.165)
    """
    if not isinstance(aero, str) or aero not in _MODELS:
        raise FlightError(
            f"The aerodynamic model {said(aero)} was asked for.",
            f"Known are {', '.join(AERO)}.",
            "Choose one of these; the default is mean.",
            argument="aero",
        )
    model = _MODELS[aero]

    def with_fading_lift(S: Any, Re: Any, ops: Ops) -> tuple[Any, Any]:
        drag, lift = model(S, Re, ops)
        return drag, lift * (1.0 - ops.exp(S * (-1.0 / NO_SPIN_NO_LIFT)))

    return with_fading_lift
