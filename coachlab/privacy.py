"""Pseudonyms: a name becomes a short id on its way in, and stands in no output.

An id is a keyed hash (HMAC-SHA256, RFC 2104 and FIPS 180-4): the same name and key give the same id, and without the
key nobody can try names until one fits.
"""

import hmac
import re
import secrets
import unicodedata
from functools import cache
from pathlib import Path

import pandas as pd

from coachlab.errors import DataError

KEY_FILE = "pseudonyms.key"
"""Where an academy keeps its key, in hex digits; beside names, and never with what is handed on."""
_OWN_ID = re.compile(r"[a-z]-[0-9a-f]{8}")


@cache
def process_key() -> bytes:
    """Return the key that stands in for an academy's own: random, and gone when the process ends."""
    return secrets.token_bytes(32)


def read_key(path: Path) -> bytes:
    """Return the key that a file holds in hex digits.

    Raises
    ------
    DataError
        If it holds none of 16 bytes or more.
    """
    try:
        key = bytes.fromhex(path.read_text(encoding="utf-8").strip())
    except (OSError, ValueError):
        key = b""
    if len(key) < 16:
        raise DataError(
            "Names were to become pseudonyms.",
            f"{path.name} holds no key of 32 hex digits or more.",
            "Put back a copy of the key, or take the file away: then pseudonyms are made from the exports, and differ "
            "from those of before.",
            path=str(path),
        )
    return key


def pseudonym(name: str, key: bytes, prefix: str = "s") -> str:
    """Return the id that stands for a name, as in ``s-7f3a9c2e``.

    Case, outer and doubled blanks do not count, so that ``Robin Doe`` and ``robin  doe`` are one person.

    Parameters
    ----------
    name : str
        A person's name or member number.
    key : bytes
        At least 16 bytes, as `process_key` returns.
    prefix : str
        One small letter before the hash: ``s`` for students, ``c`` for coaches.

    Raises
    ------
    DataError
        If the name is blank or the key is short.

    Notes
    -----
    An id has 32 bits: among 1,000 people the chance that any two share one is about 1 in 9,000.

    >>> pseudonym("Robin Doe", b"sixteen bytes...") == pseudonym(" robin  doe", b"sixteen bytes...")
    True
    """
    if len(key) < 16:
        raise DataError("A pseudonym was asked for.", f"The key has {len(key)} bytes.", "Give a key of 16 or more.")
    plain = " ".join(unicodedata.normalize("NFKC", str(name)).casefold().split())
    if not plain:
        raise DataError("A pseudonym was asked for.", "The name is blank.", "Leave it missing instead.")
    return f"{prefix}-{hmac.digest(key, plain.encode(), 'sha256').hex()[:8]}"


def pseudonyms(names: pd.Series, key: bytes, prefix: str = "s", known: frozenset[str] = frozenset()) -> pd.Series:
    """Return names as ids, each distinct name worked out once; blank and missing ones stay missing.

    Parameters
    ----------
    names : Series, shape (n,)
        Names; not changed.
    key : bytes
        As for `pseudonym`.
    prefix : str
        As for `pseudonym`.
    known : frozenset of str
        Ids that stand already and are left as they are. So is whatever has the form of an id of this module.

    Raises
    ------
    DataError
        If the key is short.
    """
    codes, words = pd.factorize(names)
    ids = [_id_of(str(word), key, prefix, known) for word in words]
    return pd.Series(pd.array([*ids, None], dtype="str").take(codes), index=names.index, name=names.name)


def _id_of(word: str, key: bytes, prefix: str, known: frozenset[str]) -> str | None:
    word = word.strip()
    if not word:
        return None
    return word if word in known or is_pseudonym(word) else pseudonym(word, key, prefix)


def is_pseudonym(text: str) -> bool:
    """Return whether a text has the form of an id of this module.

    >>> is_pseudonym("s-7f3a9c2e"), is_pseudonym("Robin Doe")
    (True, False)
    """
    return _OWN_ID.fullmatch(text) is not None
