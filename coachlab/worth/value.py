"""The value that a worth is: a table, what may be said of it, and nothing that promises."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

from coachlab.physics.impact import Delivery
from coachlab.schema import OUTCOMES, show_club
from coachlab.settings import Settings
from coachlab.units import shown
from coachlab.worth.arc import SENTENCE, PathSplit
from coachlab.worth.model import LOFTS

COLUMNS = ("loft", "part", "alone_m", "gain_m", "low_m", "high_m", "side_m")
SPREAD_COLUMNS = (
    "loft", "end", "carry_m", "carry_sd_m", "side_m", "side_sd_m", "delivered_loft_deg", "flew_ratio",
)  # fmt: skip
TOGETHER = "together"

PARTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "attack": ("attack_up_deg",),
        "path": ("path_out_deg",),
        "face": ("face_open_deg",),
        "loft": ("delivered_loft_deg",),
        "speed": ("club_speed_mps",),
        "strike": ("strike_toe_mm", "strike_high_mm"),
    }
)
"""What a gain is shared over; the strike is one thing."""

SENTENCES: Mapping[str, str] = MappingProxyType(
    {
        "gain": "With {loft}, this model puts the change in {club} carry at {gain} ({range}).",
        "parts": "Shared over what changes: {parts}.",
        "shares": "The share of an input is what it adds, averaged over the orders in which the inputs could change.",
        "range": "Each range goes over four models of the ball's flight and the spring of the face.",
        "range with shift": "Each range goes over four models of the ball's flight and the spring of the face, and "
        "takes in the uncertainty of the shift itself ({level}).",
        "disagree": "The sign of the change hangs on what loft does: measure the delivered loft before counting on it.",
        "dispersion": "With {loft}, shots spread ±{carry} along and ±{side} across after the shift "
        "(±{carry_before} and ±{side_before} before; one SD, mishits left out).",
        "sideways": "The middle of the shots moves {side} {way}.",
        "rest": "What is not in the shift stays as it was: {rest}.",
        "arc": SENTENCE,
        "arc not in": "On the same arc this change of attack would move the path by {free} ({range}); "
        "that is not in the shift.",
        "model": "These are figures of a model at this student's own mean delivery, for carry and not for total, and "
        "not what any one shot does.",
    }
)
"""Everything that a worth may say."""

_REST = {"club_speed_mps": "head speed", "path_out_deg": "path", "face_open_deg": "face", "attack_up_deg": "attack"}
_SHIFT_WORDS = OUTCOMES | {"delivered_loft_deg": "loft", "strike_toe_mm": "strike", "strike_high_mm": "strike"}


@dataclass(frozen=True, eq=False)
class Worth:
    """What a shift is worth to one student, with all that it hangs on.

    Attributes
    ----------
    table : DataFrame
        One row for all inputs together and for each, under each assumption about loft: `COLUMNS`. ``gain_m`` of the
        parts add up to that of ``together``; ``alone_m`` is what the input would give with nothing else changed;
        ``low_m`` and ``high_m`` are the range; ``side_m`` is how far the landing point moves, out positive.
    dispersion : DataFrame
        Before and after under each assumption: `SPREAD_COLUMNS`; SDs over a student's shots, mishits left out.
        ``flew_ratio`` is the share of the drawn shots that the model could fly.
    path : PathSplit or None
        The path shift in its free and its earned part, where the attack changes.
    delivery, shift, se, club, level, settings
        What was asked.
    students : int
        Of how many students the shift is the average; 0 where it was given.
    """

    table: pd.DataFrame
    dispersion: pd.DataFrame
    path: PathSplit | None
    delivery: Delivery
    shift: dict[str, float]
    se: dict[str, float]
    club: str
    level: float
    settings: Settings
    students: int = 0

    @property
    def lofts(self) -> list[str]:
        """The assumptions about loft, in the table's order."""
        return list(dict.fromkeys(self.table["loft"]))

    def sentences(self) -> list[str]:
        """Return what may be said, from the closed list; no gain without its assumption and its range."""
        unit = shown("carry_m", self.settings.units)
        club = show_club(self.club)
        said = []
        for loft in self.lofts:
            rows = self.table[self.table["loft"] == loft].set_index("part")
            all_in = rows.loc[TOGETHER]
            values = {
                "loft": LOFTS[loft],
                "club": club,
                "gain": unit.text(all_in["gain_m"], sign=True),
                "range": unit.span(all_in["low_m"], all_in["high_m"], sign=True),
            }
            said.append(_say("gain", values))
            if len(rows) > 2:
                parts = [f"{part} {unit.text(rows.loc[part, 'gain_m'], sign=True)}" for part in rows.index[1:]]
                said.append(_say("parts", {"parts": ", ".join(parts)}))
        ends = self.table.loc[self.table["part"] == TOGETHER, "gain_m"]
        if len(ends) > 1 and ends.min() < 0 < ends.max():
            said.append(_say("disagree", {}))
        if self.table["part"].nunique() > 2:
            said.append(_say("shares", {}))
        uncertain = any(self.se.values())
        percent = f"{self.level:.0%}".replace("%", " %")
        said.append(_say("range with shift", {"level": percent}) if uncertain else _say("range", {}))
        said += self._spread_sentences()
        said += self._arc_sentences()
        rest = [word for name, word in _REST.items() if name not in self.shift]
        if "strike_toe_mm" not in self.shift and "strike_high_mm" not in self.shift:
            rest.append("strike")
        if rest:
            said.append(_say("rest", {"rest": ", ".join(rest)}))
        return [*said, _say("model", {})]

    def text(self) -> str:
        """Return all sentences as one text."""
        return " ".join(self.sentences())

    def __repr__(self) -> str:
        moved = ", ".join(f"{name} {value:+g}" for name, value in self.shift.items())
        return f"<Worth of {moved} with {self.club}: {', '.join(self.lofts)}>"

    def _repr_html_(self) -> str:
        unit = shown("carry_m", self.settings.units)
        rows = pd.DataFrame(
            {
                "with": [LOFTS[loft] for loft in self.table["loft"]],
                "what changes": self.table["part"],
                f"change in carry ({unit.unit})": [unit.number(value, sign=True) for value in self.table["gain_m"]],
                "range": [
                    unit.span(low, high, sign=True).removesuffix(f" {unit.unit}")
                    for low, high in zip(self.table["low_m"], self.table["high_m"], strict=True)
                ],
                "alone": [unit.number(value, sign=True) for value in self.table["alone_m"]],
                f"sideways, out plus ({unit.unit})": [unit.number(value, sign=True) for value in self.table["side_m"]],
            }
        )
        return rows.to_html(index=False, escape=True) + f"<p>{self.text()}</p>"

    def _spread_sentences(self) -> list[str]:
        unit = shown("carry_m", self.settings.units)
        loft = self.lofts[0]
        ends = self.dispersion[self.dispersion["loft"] == loft].set_index("end")
        said = [
            _say(
                "dispersion",
                {
                    "loft": LOFTS[loft],
                    "carry": unit.text(ends.loc["after", "carry_sd_m"]),
                    "side": unit.text(ends.loc["after", "side_sd_m"]),
                    "carry_before": unit.text(ends.loc["before", "carry_sd_m"]),
                    "side_before": unit.text(ends.loc["before", "side_sd_m"]),
                },
            )
        ]
        moved = float(ends.loc["after", "side_m"] - ends.loc["before", "side_m"])
        if abs(moved) >= 0.5 / unit.factor:
            said.append(_say("sideways", {"side": unit.text(abs(moved)), "way": "out" if moved > 0 else "in"}))
        return said

    def _arc_sentences(self) -> list[str]:
        if self.path is None:
            return []
        if "path_out_deg" in self.shift:
            return [self.path.text()]
        unit = shown("path_out_deg", self.settings.units)
        ends = {
            "free": unit.text(self.path.free_deg, sign=True),
            "range": unit.span(self.path.free_low_deg, self.path.free_high_deg, sign=True),
        }
        return [_say("arc not in", ends)]


def _say(kind: str, values: Mapping[str, object]) -> str:
    return SENTENCES[kind].format_map(values)
