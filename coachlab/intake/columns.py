"""`ColumnMap`: a file's headings become our columns, with their units and signs. The user owns it, as TOML."""

import datetime as dt
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from coachlab.errors import MapError
from coachlab.intake.headings import close_to, loose_heading, plain_heading, read_club, without_unit
from coachlab.schema import CLUBS, COLUMNS, LATERAL, MEASURES, PHASES, TABLES
from coachlab.settings import load_toml
from coachlab.units import factor_to_column, read_unit, units_for

LABELS = ("student", "coach", "session", "block", "club", "hand", "phase", "cue", "session_day")
"""The columns of a shot that a map's top level may give for a whole file."""

_BY_ITSELF = ("read_ok", "excluded", "excluded_reason", "source", "source_row")
MAPPABLE: tuple[str, ...] = tuple(
    dict.fromkeys([name for name in [*TABLES["shots"], *TABLES["derived"], *LABELS] if name not in _BY_ITSELF])
)
"""Every column that a map may name."""

READINGS: tuple[str, ...] = (*MEASURES, *TABLES["derived"])
"""The columns that hold a device's readings, the derived ones that it may report included."""

_HANDS = dict.fromkeys(("r", "right", "rh", "rhh", "righty", "rechts", "droitier", "diestro"), "R") | dict.fromkeys(
    ("l", "left", "lh", "lhh", "lefty", "links", "gaucher", "zurdo"), "L"
)


def read_hand(text: str) -> str | None:
    """Return a hand as people write it, or None if it is none.

    >>> read_hand("Left-handed"), read_hand("RH"), read_hand("both")
    ('L', 'R', None)
    """
    plain = re.sub(r"[\W_]", "", text.casefold())
    return _HANDS.get(re.sub(r"(?:hand(?:ed|er)?|händ(?:er|ig))$", "", plain))


_WAYS: dict[str, tuple[str, str]] = {
    # the plus of our own column -> the player's words for plus and minus
    "out": ("out", "in"),
    "open": ("open", "closed"),
    "up": ("up", "down"),
    "down": ("down", "up"),
    "forward": ("ahead", "behind"),
    "toe": ("toe", "heel"),
    "high": ("high", "low"),
}
_KEYS = ("name", "decimal", "sheet", "hand", "club_names", "column", *(name for name in LABELS if name != "hand"))


@dataclass(frozen=True)
class Mapped:
    """Where one of our columns stands in a file: its heading (the first one found), its unit, its plus."""

    headings: tuple[str, ...]
    unit: str | None = None
    positive: str | None = None


@dataclass(frozen=True)
class ColumnMap:
    """A file's headings, units and signs in our own terms.

    Attributes
    ----------
    name : str
        What the map is called in messages.
    columns : mapping of str to Mapped
        Our column -> where it stands. A lateral column always has a ``positive``.
    decimal : str
        ``"."``, ``","`` or ``"auto"``: settled by the file.
    sheet : str, optional
        Name of the sheet of a spreadsheet; without it the first sheet that fits.
    club_names : mapping of str to str
        The file's word for a club -> ours.
    given : mapping of str to str
        What holds for the whole file where no column says it: hand, student, club, session, session_day, block,
        phase, cue, coach.
    own : bool
        True for a file in our own names, in which each column stands in its own unit.
    """

    name: str
    columns: Mapping[str, Mapped]
    decimal: str = "auto"
    sheet: str | None = None
    club_names: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    given: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    own: bool = False

    @classmethod
    def from_toml(cls, path: str | Path) -> "ColumnMap":
        """Return the map that a TOML file holds.

        Raises
        ------
        MapError
            Naming the first key that does not fit, with what is close to it; further faults are counted.
        """
        columns, faults = read_map(path)
        if faults:
            first = faults[0]
            more = f" ({len(faults) - 1} more such faults in this map.)" if len(faults) > 1 else ""
            raise MapError(first.asked, first.found + more, first.do, **first.facts)
        return columns

    @classmethod
    def own_names(cls, headings: Iterable[str]) -> "ColumnMap":
        """Return the map of a file in our own names, for those of them that stand among its headings."""
        there = {loose_heading(text) for heading in headings for text in (str(heading), without_unit(heading))}
        columns = {
            name: Mapped((name,), None, COLUMNS[name].positive or None if name in LATERAL else None)
            for name in MAPPABLE
            if loose_heading(name) in there
        }
        return cls("our own names", MappingProxyType(columns), own=True)

    @property
    def readings(self) -> tuple[str, ...]:
        """The mapped columns that hold readings of a device."""
        return tuple(name for name in self.columns if name in READINGS)

    def __repr__(self) -> str:
        return f"<ColumnMap {self.name!r}: {', '.join(self.columns)}>"


def sign_of(column: str, positive: str | None) -> tuple[int, bool]:
    """Return the sign that turns a file's plus into ours, and whether it is the world's (mirrored for a left-hander).

    >>> sign_of("path_out_deg", "left"), sign_of("face_open_deg", "closed"), sign_of("land_angle_deg", "down")
    ((-1, True), (-1, False), (1, False))
    """
    if positive in ("right", "left"):
        return (1 if positive == "right" else -1), True
    return (-1 if positive is not None and positive in _minus_words(column) else 1), False


def words_for(column: str) -> tuple[str, ...]:
    """Return the words that `positive` may take for a column; none for a column without direction."""
    way = COLUMNS[column].positive
    if way not in _WAYS or column not in READINGS:
        return ()
    player = _WAYS[way] + (_WAYS["out"] if way == "open" else ())
    return (("right", "left") if column in LATERAL else ()) + player


def _minus_words(column: str) -> tuple[str, ...]:
    return tuple(word for word in words_for(column) if word in (_WAYS[COLUMNS[column].positive][1], "in"))


def read_map(path: str | Path) -> tuple[ColumnMap, list[MapError]]:
    """Return the map of a TOML file and all that is wrong with it; where a key is wrong it is left out of the map."""
    path = Path(path)
    empty = ColumnMap(path.stem, MappingProxyType({}))
    read = f"{path.name} was read as a column map."
    try:
        content = load_toml(path.read_text(encoding="utf-8-sig"))
    except OSError as err:
        found, do = f"It cannot be opened ({err.strerror}).", "Check the path."
        return empty, [MapError(f"{path} was asked for as a column map.", found, do, path=path.name)]
    except UnicodeDecodeError:
        return empty, [MapError(read, "It is no text in UTF-8.", "Save it as UTF-8 text.", path=path.name)]
    except ValueError as err:  # beside what is no TOML, a number of thousands of digits
        return empty, [MapError(read, f"It is not valid TOML: {err}.", "Correct that line.", path=path.name)]
    return check_map(content, path.name)


def check_map(content: Mapping, where: str) -> tuple[ColumnMap, list[MapError]]:
    """Return the map that a TOML file's content says, and all that is wrong with it."""
    faults: list[MapError] = []

    def fault(found: str, do: str, **facts: object) -> None:
        faults.append(MapError(f"{where} was read as a column map.", found, do, path=where, **facts))

    for key in content:
        if key not in _KEYS:
            hint = close_to(key, _KEYS)
            if key in COLUMNS:
                hint = f"; a column is mapped in a section [column.{key}]"
            fault(f"The key {key!r} is not known{hint}.", f"Use only: {', '.join(_KEYS)}.", key=key)
    decimal = content.get("decimal", "auto")
    if decimal not in (".", ",", "auto"):
        fault(f"decimal is {decimal!r}.", 'Write decimal = ".", "," or "auto".', key="decimal")
        decimal = "auto"
    for key in ("name", "sheet"):
        if not isinstance(content.get(key, ""), str):
            fault(f"{key} is {content[key]!r}; a text is due.", f"Write {key} in quotes.", key=key)
    aliases = _check_clubs(content.get("club_names", {}), fault)
    given = _check_given(content, aliases, fault)
    sections = content.get("column", {})
    if not isinstance(sections, dict):
        fault(f"column is {sections!r}.", "Write one section for each column, as [column.carry_m].", key="column")
        sections = {}
    columns = {}
    for name, section in sections.items():
        mapped = _check_column(name, section, fault)
        if mapped is not None:
            columns[name] = mapped
    _check_shared(columns, fault)
    if not any(name in READINGS for name in sections):
        fault("No measure is mapped.", f"Map at least one of: {', '.join(MEASURES)}.", key="column")
    sheet = content.get("sheet")
    built = ColumnMap(
        str(content.get("name", Path(where).stem)),
        MappingProxyType(columns),
        decimal,
        sheet if isinstance(sheet, str) else None,
        MappingProxyType(aliases),
        MappingProxyType(given),
    )
    return built, faults


def _check_clubs(content: object, fault) -> dict[str, str]:
    if not isinstance(content, dict):
        fault(f"club_names is {content!r}.", 'Write a section [club_names] with lines such as "7 I" = "iron-7".')
        return {}
    aliases = {}
    for alias, club in content.items():
        if not isinstance(club, str) or club not in CLUBS:
            fault(
                f"The club name {alias!r} stands for {club!r}, which is no club of the vocabulary"
                f"{close_to(str(club), CLUBS)}.",
                "Use one of: driver, wood-3, hybrid-4, iron-7, wedge-pw, wedge-54 and the like.",
                key="club_names",
                club=club,
            )
        else:
            aliases[alias] = club
    return aliases


def _check_given(content: Mapping, aliases: Mapping[str, str], fault) -> dict[str, str]:
    given = {}
    for key in LABELS:
        if key not in content:
            continue
        value = content[key]
        if isinstance(value, dict | list | bool) or str(value).strip() == "":
            fault(f"{key} is {value!r}; one text is due.", f"Write the {COLUMNS[key].meaning} in quotes.", key=key)
            continue
        text = str(value).strip()
        if key == "hand":
            if read_hand(text) is None:
                fault(f"hand is {value!r}.", 'Write hand = "R" or "L".', key=key)
                continue
            text = str(read_hand(text))
        elif key == "club":
            club = read_club(text, aliases)
            if club is None:
                hint = close_to(text, CLUBS)
                fault(
                    f"club is {value!r}, which is no club of the vocabulary{hint}.", "Write it as in iron-7.", key=key
                )
                continue
            text = club
        elif key == "phase" and text not in PHASES:
            hint = close_to(text, PHASES)
            fault(f"phase is {value!r}{hint}.", f"Write one of: {', '.join(PHASES)}.", key=key)
            continue
        elif key == "session_day":
            try:
                text = dt.date.fromisoformat(text[:10]).isoformat()
            except ValueError:
                fault(f"session_day is {value!r}.", "Write a calendar day as in 2026-11-03.", key=key)
                continue
        given[key] = text
    return given


def _check_column(name: str, section: object, fault) -> Mapped | None:
    if name not in MAPPABLE:
        fault(
            f"The column {name!r} is not known{close_to(name, MAPPABLE)}.",
            f"Use one of: {', '.join(MAPPABLE)}.",
            column=name,
        )
        return None
    if not isinstance(section, dict):
        fault(f"column.{name} is {section!r}.", f'Write a section [column.{name}] with heading = "...".', column=name)
        return None
    for key in section:
        if key not in ("heading", "unit", "positive"):
            fault(
                f"The key {key!r} of column {name} is not known{close_to(key, ('heading', 'unit', 'positive'))}.",
                "Use only: heading, unit, positive.",
                column=name,
                key=key,
            )
    heading = section.get("heading")
    headings = heading if isinstance(heading, list) else [heading]
    if not headings or not all(isinstance(one, str) and one.strip() for one in headings):
        fault(
            f"The heading of column {name} is {heading!r}.",
            'Write heading = "..." as it stands in the file, or a list of such texts.',
            column=name,
        )
        return None
    unit = _check_unit(name, section.get("unit"), fault)
    positive = _check_positive(name, section.get("positive"), fault)
    return Mapped(tuple(map(str, headings)), unit, positive)


def _check_unit(name: str, unit: object, fault) -> str | None:
    if unit is None:
        return None
    allowed = units_for(name)
    known = read_unit(unit) if isinstance(unit, str) else None
    if known is not None and known in allowed:
        factor_to_column(known, name)
        return known
    if not allowed:
        fault(f"Column {name} has no unit, but unit is {unit!r}.", "Leave the unit out.", column=name, unit=unit)
    elif known is None:
        hint = close_to(str(unit), allowed)
        fault(
            f"The unit {unit!r} of column {name} is not known{hint}.",
            f"Use one of: {', '.join(allowed)}.",
            column=name,
            unit=unit,
        )
    else:
        fault(
            f"The unit {unit!r} of column {name} is of the wrong kind.",
            f"Use one of: {', '.join(allowed)}.",
            column=name,
            unit=unit,
        )
    return None


def _check_positive(name: str, positive: object, fault) -> str | None:
    words = words_for(name)
    if positive is None:
        if name in LATERAL:
            fault(
                f"Column {name} points sideways, and the map does not say which way is plus.",
                f"Add positive = one of: {', '.join(words)} (right and left as the world has them).",
                column=name,
            )
        return None
    word = positive.strip().casefold() if isinstance(positive, str) else positive
    if not words:
        fault(f"Column {name} has no direction, but positive is {positive!r}.", "Leave positive out.", column=name)
    elif word not in words:
        fault(
            f"positive of column {name} is {positive!r}, which does not fit it.",
            f"Use one of: {', '.join(words)}.",
            column=name,
        )
    else:
        return str(word)
    return None


def _check_shared(columns: Mapping[str, Mapped], fault) -> None:
    """Refuse one heading for a reading and something else: a slip of copying, by which one of them would be wrong."""
    taken: dict[str, str] = {}
    for name, mapped in columns.items():
        for heading in mapped.headings:
            other = taken.setdefault(plain_heading(heading), name)
            if other != name and (name in READINGS or other in READINGS):
                fault(
                    f"The heading {heading!r} is mapped twice, to {other} and to {name}.",
                    "Map each heading to one column.",
                    column=name,
                    heading=heading,
                )
