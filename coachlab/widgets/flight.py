"""The ball-flight page as a widget: Python moves it and listens to it; it flies by its own twin of the physics."""

from collections.abc import Mapping
from pathlib import Path

import anywidget
import traitlets

from coachlab.errors import DataError, need
from coachlab.physics.shot import Shot
from coachlab.settings import Settings
from coachlab.widgets.controls import checked, moved, page_numbers, placed, shot_at, start

_ASSETS = Path(__file__).parents[1] / "assets"
PARTS = ("flight", "before", "numbers", "why", "impact", "arc")
"""What can be hidden, for an exercise that asks before it shows."""


class FlightPage(anywidget.AnyWidget):
    """Move the club, the strike or the air, and see at once why the ball flew as it did.

    Attributes
    ----------
    controls : dict
        Where the controls stand, SI and degrees, player frame; assign some of them to move those. What is assigned
        stands exactly; a club alone brings its usual swing, and attack without a path takes the path along, unless
        ``hold_path`` says that the arc turns to hold it.
    units : {"yards", "metres"}
    target : dict or None
        A place to aim at, ``carry_m side_m radius_m label``, or another delivery's flight, ``controls radius_m label``.
    offered : list of str
        The controls that can be moved; empty: all.
    hidden : list of str
        Parts that are not shown, of `PARTS`.
    reading : dict
        What the page shows when it comes to rest: controls, launch, flight, ranges, arc, problem, why. Empty until a
        browser shows the page; `shot` is the same without one.
    """

    _esm = (_ASSETS / "flight.js").read_text(encoding="utf-8")
    _css = (_ASSETS / "flight.css").read_text(encoding="utf-8")
    numbers = traitlets.Dict().tag(sync=True)
    controls = traitlets.Dict().tag(sync=True)
    units = traitlets.Enum(("yards", "metres"), "yards").tag(sync=True)
    target = traitlets.Dict(None, allow_none=True).tag(sync=True)
    offered = traitlets.List(traitlets.Unicode()).tag(sync=True)
    hidden = traitlets.List(traitlets.Unicode()).tag(sync=True)
    reading = traitlets.Dict().tag(sync=True)
    begun = traitlets.Int(0).tag(sync=True)

    def begin(self, controls: Mapping[str, object] | None = None) -> None:
        """Put the controls where they start, some of them elsewhere, and forget the flight before.

        Raises
        ------
        DataError
            As `flight_page`.
        """
        given = placed({**start(), "hold_path": False}, checked(controls or {}))
        with self.hold_sync():
            self.controls = given
            self.begun += 1

    @property
    def shot(self) -> Shot:
        """The shot that the controls make, computed in Python; a `FlightError` where they make none."""
        return shot_at(self.controls)

    @traitlets.validate("controls")
    def _check_controls(self, proposal: dict) -> dict:
        given = checked(proposal["value"])
        if not start().keys() <= self.controls.keys():  # the page is only being made
            return placed({**start(), "hold_path": False}, given)
        return moved(self.controls, given)

    @traitlets.validate("offered")
    def _check_offered(self, proposal: dict) -> list[str]:
        checked({name: value for name, value in _some_values(proposal["value"])})
        return proposal["value"]

    @traitlets.validate("hidden")
    def _check_hidden(self, proposal: dict) -> list[str]:
        for part in proposal["value"]:
            if part not in PARTS:
                raise DataError(
                    "Parts of the ball-flight page were to be hidden.",
                    f"There is no part {part!r}.",
                    f"Use {', '.join(PARTS)}.",
                )
        return proposal["value"]


def flight_page(controls: Mapping[str, object] | None = None, settings: Settings | None = None) -> FlightPage:
    """Return the ball-flight page, to be shown in a notebook or in the app.

    Parameters
    ----------
    controls : mapping or None
        Where some of the controls begin, by name, SI and degrees, player frame: ``club`` (driver, iron-7, wedge-pw),
        ``club_speed_mps attack_up_deg path_out_deg face_open_deg delivered_loft_deg strike_toe_mm strike_high_mm``,
        ``tail_mps cross_mps profile temperature_c altitude_m``, ``hold_path``. None: a driver, straight at the target.
    settings : Settings or None
        The academy's, for units.

    Raises
    ------
    DataError
        If there is no such control, or a value is not of its kind. What is possible but cannot be struck, such as a
        loft below the attack, is told on the page, beside the control.

    Examples
    --------
    >>> page = flight_page({"face_open_deg": 2.0})
    >>> round(page.shot.face_to_path_deg, 1)
    2.0
    """
    asked, due = "A page of the ball's flight was asked for.", 'Give names and values, as in {"face_open_deg": 2.0}.'
    need(controls, (Mapping, type(None)), asked, "controls", due)
    return FlightPage(numbers=page_numbers(), controls=dict(controls or {}), units=(settings or Settings()).units)


def _some_values(names: list[str]) -> list[tuple[str, object]]:
    """Return each name with a value of its kind, so that only the name is looked at."""
    values = {**start(), "hold_path": False}
    return [(name, values.get(name, 0.0)) for name in names]
