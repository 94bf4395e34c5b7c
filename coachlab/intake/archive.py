"""Where the bytes of a table come from: a file, a folder, a member of a zip; unpacked in memory and under limits.

Nothing is ever unpacked to disk, and a member's own path is only a label.
"""

import copy
import gzip
import io
import lzma
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from coachlab.errors import DataError
from coachlab.settings import Settings

PACKED, EMPTY, PACKED_TEXT, BOOK, PARQUET = b"PK\x03\x04", b"PK\x05\x06", b"\x1f\x8b", b"\xd0\xcf\x11\xe0", b"PAR1"
_MB = 1_000_000
_FREE_MB = 50
"""What is so small unpacked may be packed as tightly as it likes."""
_CHUNK = 1 << 20
_NO_TABLES = (
    ".toml", ".md", ".html", ".htm", ".pdf", ".png", ".jpg", ".jpeg", ".heic", ".json", ".ipynb", ".py", ".docx",
    ".doc", ".rtf", ".db", ".ini", ".mp4", ".mov", ".avi"
)  # fmt: skip


@dataclass(frozen=True)
class Source:
    """The bytes of one table: of a file, or held in memory.

    Attributes
    ----------
    name : str
        What stands in the column ``source``: the file's name, and behind a slash the member's.
    path : Path, optional
        The file, where the table is one by itself.
    data : bytes, optional
        The table, where it was unpacked.
    """

    name: str
    path: Path | None = None
    data: bytes | None = None

    def open(self) -> BinaryIO:
        """Return a stream of the bytes."""
        return self.path.open("rb") if self.path is not None else io.BytesIO(self.data or b"")

    def read(self) -> bytes:
        """Return all bytes."""
        return self.path.read_bytes() if self.path is not None else self.data or b""


def find_sources(path: str | Path | Source, settings: Settings | None = None) -> tuple[list[Source], list[str]]:
    """Return the tables that a file, a zip or a folder holds, and the names of what was left alone there.

    Parameters
    ----------
    path : path or Source
        A folder's own files are taken, not those of folders in it; lesson logs (``log-...``), settings, pages,
        pictures and hidden files are left alone.
    settings : Settings, optional
        The limits; the defaults without.

    Raises
    ------
    DataError
        If it cannot be opened, holds no table, or goes beyond a limit.
    """
    settings = settings or Settings()
    if isinstance(path, Source):
        return [path], []
    path = Path(path)
    if path.is_dir():
        return _in_folder(path, settings)
    asked = f"{path.name} was asked for as a table of shots."
    try:
        size = path.stat().st_size
        with path.open("rb") as stream:
            start = stream.read(4)
    except (OSError, ValueError) as err:
        reason = getattr(err, "strerror", None) or "its name is no path"
        raise DataError(asked, f"It cannot be opened ({reason}): {path}.", "Check the path.", path=path.name) from err
    if size > settings.largest_file_mb * _MB:
        raise DataError(
            asked,
            f"The file has {size / _MB:,.0f} MB, more than the {settings.largest_file_mb:,} MB that are allowed.",
            "Export a part of it, or raise largest_file_mb in academy.toml.",
            path=path.name,
        )
    if start.startswith(PACKED_TEXT):
        return [Source(path.name, data=_gunzip(path, size, settings))], []
    if start == EMPTY or (start == PACKED and not is_book(path)):
        return _in_zip(path, size, settings)
    return [Source(path.name, path)], []


def is_book(path: Path) -> bool:
    """Return whether a zip is a spreadsheet or another document, and not a box of files."""
    try:
        with zipfile.ZipFile(path) as archive:
            names = set(archive.namelist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return True  # the reader of spreadsheets says what is wrong with it
    return "[Content_Types].xml" in names or "mimetype" in names or "content.xml" in names


def member_chunks(name: str, data: bytes, settings: Settings) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Give each member of a zip with its unpacked chunks, counted as they come: a header may lie about its size.

    Raises
    ------
    DataError
        If the members together unpack to more than the limits allow, or the zip is damaged or locked.
    """
    counter = _Counter(name, len(data), settings)
    with _opened(name, io.BytesIO(data)) as archive:
        for member in archive.infolist():
            if not member.is_dir():
                yield member.filename, _chunks(archive, member, counter)


def plain_name(text: str) -> str:
    """Return a name as one line that prints, without steps to other folders.

    >>> plain_name("../../one.csv"), plain_name("C:/bays/two.csv")
    ('one.csv', 'bays/two.csv')
    """
    parts = re.split(r"[/\\]+", re.sub(r"[\x00-\x1f\x7f\u200e\u200f\u202a-\u202e\u2066-\u2069]+", " ", str(text)))
    kept = [part for part in map(str.strip, parts) if part.strip(" .") and not re.fullmatch(r"[A-Za-z]:", part)]
    return "/".join(kept)[-200:] or "no name"


def _in_folder(folder: Path, settings: Settings) -> tuple[list[Source], list[str]]:
    there = sorted(path for path in folder.iterdir() if path.is_file() and path.name[0] not in ".~")
    found: list[Source] = []
    left: list[str] = []
    for path in there:
        if path.suffix.lower() in _NO_TABLES or path.name.lower().startswith(("log-", "readme")):
            left.append(path.name)
        else:
            inside, beside = find_sources(path, settings)
            found, left = found + inside, left + beside
    if not found:
        raise DataError(
            f"The folder {folder} was asked for as tables of shots.",
            f"It holds none; there are: {', '.join(left[:12]) or 'no files'}.",
            "Name the folder that holds the exports, or one of its files.",
            path=folder.name,
        )
    return found, left


def _in_zip(path: Path, size: int, settings: Settings) -> tuple[list[Source], list[str]]:
    counter = _Counter(path.name, size, settings)
    found, left = [], []
    with _opened(path.name, path) as archive:
        for member in archive.infolist():
            name = plain_name(member.filename)
            base = name.rpartition("/")[2]
            if member.is_dir() or base[0] in ".~" or name.startswith("__MACOSX"):
                continue
            if Path(base).suffix.lower() in _NO_TABLES or base.lower().startswith(("log-", "readme")):
                left.append(base)
                continue
            data = b"".join(_chunks(archive, member, counter))
            if data[:4] == PACKED and not data_is_book(data):
                left.append(base)  # a zip in a zip
                continue
            found.append(Source(f"{path.name}/{name}", data=data))
    if not found:
        raise DataError(
            f"{path.name} was opened as a zip.",
            f"No table is in it; it holds: {', '.join(left[:12]) or 'no files'}.",
            "Zip the exports themselves, as CSV, XLSX, ODS or Parquet.",
            path=path.name,
        )
    if len(found) == 1:
        found = [Source(path.name, data=found[0].data)]
    return found, left


def data_is_book(data: bytes) -> bool:
    """Return whether a zip in memory is a spreadsheet, as `is_book` does."""
    return is_book(io.BytesIO(data))  # type: ignore[arg-type]


@dataclass
class _Counter:
    """Counts what a packed file unpacks to, and refuses it beyond the limits."""

    name: str
    packed: int
    settings: Settings
    total: int = 0

    def add(self, count: int) -> None:
        self.total += count
        most = self.settings.largest_unpacked_mb * _MB
        tight = max(_FREE_MB * _MB, self.packed * self.settings.largest_packing_ratio)
        if self.total > min(most, tight):
            limit = (
                f"{self.settings.largest_unpacked_mb:,} MB"
                if most <= tight
                else f"{self.settings.largest_packing_ratio:,} times its size"
            )
            key = "largest_unpacked_mb" if most <= tight else "largest_packing_ratio"
            raise DataError(
                f"{self.name} was unpacked.",
                f"It unpacks to more than {limit}: that is no export, or one too large.",
                f"Export it again, unpacked; or raise {key} in academy.toml.",
                path=self.name,
                limit=key,
            )


def _opened(name: str, file: Path | BinaryIO) -> zipfile.ZipFile:
    try:
        archive = zipfile.ZipFile(file)
        if not all(member.filename for member in archive.infolist()):
            archive.close()
            raise zipfile.BadZipFile("a member has no name")
        return archive
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as err:
        raise _damaged(name, err) from err


def _chunks(archive: zipfile.ZipFile, member: zipfile.ZipInfo, counter: _Counter) -> Iterator[bytes]:
    entry = copy.copy(member)
    entry.file_size = 1 << 60  # what comes is counted, whatever the header says
    try:
        with archive.open(entry) as stream:
            while chunk := stream.read(_CHUNK):
                counter.add(len(chunk))
                yield chunk
    except DataError:
        raise
    except RuntimeError as err:
        raise DataError(
            f"{counter.name} was unpacked.", "It is locked by a password.", "Zip it without one.", path=counter.name
        ) from err
    except (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, OSError, NotImplementedError, ValueError) as err:
        raise _damaged(counter.name, err) from err


def _gunzip(path: Path, size: int, settings: Settings) -> bytes:
    counter = _Counter(path.name, size, settings)
    parts = []
    try:
        with gzip.open(path) as stream:
            while chunk := stream.read(_CHUNK):
                counter.add(len(chunk))
                parts.append(chunk)
    except (OSError, EOFError, zlib.error) as err:
        raise _damaged(path.name, err) from err
    return b"".join(parts)


def _damaged(name: str, err: Exception) -> DataError:
    return DataError(f"{name} was unpacked.", f"It cannot be read ({err}).", "Zip it again.", path=name)
