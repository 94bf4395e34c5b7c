"""What can go wrong, in words: every error says what was asked, what was found and what to do.

All derive from `CoachlabError`, so that one ``except`` catches what this package raises on purpose, and
each is also the builtin that a programmer expects (`ValueError`, `KeyError`).
"""

import numbers
import os
import pathlib


class CoachlabError(Exception):
    """An error in three parts, kept as attributes and shown as three short lines.

    Parameters
    ----------
    asked : str
        What was being done, naming the file, table or model.
    found : str
        What stood in the way, naming column, row or group.
    do : str
        The next step for the reader.
    **facts
        Facts for a program that catches the error (``path=``, ``column=``, ``row=`` ...).
    """

    def __init__(self, asked: str, found: str = "", do: str = "", **facts: object) -> None:
        self.asked, self.found, self.do, self.facts = asked, found, do, facts
        super().__init__("\n".join(part for part in (asked, found, do) if part))

    def __reduce__(self) -> tuple:
        """Keep all parts when the error crosses a process border."""
        return (_rebuild, (type(self), self.asked, self.found, self.do, self.facts))


def _rebuild(kind: type, asked: str, found: str, do: str, facts: dict) -> CoachlabError:
    return kind(asked, found, do, **facts)


class MapError(CoachlabError, ValueError):
    """A column map is wrong, or a file does not fit its column map."""


class DataError(CoachlabError, ValueError):
    """A file, a table, a log or a settings file holds something that cannot be used."""


class FormulaError(CoachlabError, ValueError):
    """A model formula cannot be read, or names what the data do not have."""


class FitError(CoachlabError, ValueError):
    """A model cannot be fitted to these data, or an answer cannot be drawn from the fit."""


class FlightError(CoachlabError, ValueError):
    """A delivery or a launch that cannot be flown."""


class LibraryError(CoachlabError, ValueError):
    """The academy's library cannot be opened, read or written."""


def need(
    value: object,
    kinds: type | tuple[type, ...],
    asked: str,
    name: str,
    do: str,
    error: type[CoachlabError] = DataError,
) -> None:
    """Refuse a value that is not of the kind that is due, as a folder's name where its shots are; else return nothing.

    Parameters
    ----------
    value : object
        What was given, and is none of ``kinds``.
    kinds : type or tuple of type
        What may stand there.
    asked, name, do : str
        What was asked, what the value is called in it, and what to give instead.
    error : type of CoachlabError
        Which error is raised.
    """
    if isinstance(value, kinds):
        return
    plain = isinstance(value, str | int | float | None)
    seen = repr(value) if plain else f"of the kind {type(value).__name__}"
    raise error(asked, f"{name} is {seen if len(seen) <= 60 else f'{seen[:57]}...'}.", do, argument=name)


def need_share(
    value: object, asked: str, name: str = "level", error: type[CoachlabError] = DataError, example: str = ".95"
) -> None:
    """Refuse what is no share between 0 and 1, as the level of an interval; else return nothing.

    Parameters
    ----------
    value : object
        What was given.
    asked, name, error
        As `need` takes them.
    example : str
        A share that would do.
    """
    do = f"Give a share between 0 and 1, as in {example}."
    need(value, numbers.Real, asked, name, do, error)
    if not 0 < value < 1:  # type: ignore[operator]
        raise error(asked, f"{name} is {value!r}.", do, argument=name)


def need_seed(value: object, asked: str, error: type[CoachlabError] = DataError) -> None:
    """Refuse what is no seed of random numbers: a whole number from 0, or None for one that is made up.

    Parameters
    ----------
    value : object
        What was given.
    asked, error
        As `need` takes them.
    """
    do = "Give a whole number from 0, or None for one that is made up."
    need(value, (numbers.Integral, type(None)), asked, "seed", do, error)
    if value is not None and value < 0:  # type: ignore[operator]
        raise error(asked, f"seed is {value!r}.", do, argument="seed")


def command(words: str) -> str:
    """Return how a user runs a command, to be named in an error or on a page.

    In a checkout it is `kit.py` that is run, as the README says; elsewhere the program of the environment.

    Parameters
    ----------
    words : str
        The command with what follows it, as in ``"check bay-3.csv"``.
    """
    if not (pathlib.Path(__file__).resolve().parents[1] / "kit.py").is_file():
        return f"coachlab {words}"
    return f"{'py' if os.name == 'nt' else 'python3'} kit.py {words}"
