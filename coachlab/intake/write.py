"""What we write for others to open: tables without formulas, file names without paths, files that appear whole or not.

A spreadsheet program runs a cell that begins with one of ``= + - @`` (or a tab or line end before it) as a formula,
whoever wrote it into a name or a remark; with an apostrophe before it, it is text. Reading takes the apostrophe away.
"""

import hashlib
import os
import re
import tempfile
from pathlib import Path

import pandas as pd

from coachlab.errors import DataError

_FORMULA = re.compile(r"[\s\x00-\x1f]*[=+\-@＝＋－＠]")
_HARMLESS = re.compile(r"[+-]?(?:\d[\d.,' ]*|[.,]\d+)(?:[eE][+-]?\d+)?|[-–—]+")
_RESERVED = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)(?:\..*)?", re.IGNORECASE)


def neutral(value: object) -> object:
    """Return a cell that no spreadsheet program runs as a formula; numbers and whatever is no text stay.

    >>> neutral("=1+1"), neutral("-3.5"), neutral("iron-7"), neutral(-3.5)
    ("'=1+1", '-3.5', 'iron-7', -3.5)
    """
    if not isinstance(value, str) or not _FORMULA.match(value) or _HARMLESS.fullmatch(value):
        return value
    return "'" + value


def plain_cell(text: str) -> str:
    """Return the text that `neutral` made harmless.

    >>> plain_cell("'=1+1"), plain_cell("'tis")
    ('=1+1', "'tis")
    """
    return text[1:] if text[:1] == "'" and _FORMULA.match(text[1:]) else text


def neutral_table(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table whose texts and headings no spreadsheet program runs; the table given is not changed."""
    safe = table.copy(deep=False)
    for place, name in enumerate(table.columns):
        column = table.iloc[:, place]
        if isinstance(column.dtype, pd.CategoricalDtype):
            if column.cat.categories.dtype.kind in "OTU" or isinstance(column.cat.categories.dtype, pd.StringDtype):
                words = [neutral(word) for word in column.cat.categories]
                safe[name] = column.cat.rename_categories(words) if len(set(words)) == len(words) else column
        elif column.dtype == object or isinstance(column.dtype, pd.StringDtype):
            safe[name] = column.map(neutral, na_action="ignore").astype(column.dtype)
    safe.columns = pd.Index([neutral(name) for name in table.columns])
    return safe


def csv_text(table: pd.DataFrame) -> str:
    """Return a table as CSV, its cells made harmless; line ends in a cell are those of the file."""
    safe = neutral_table(table)
    for name in safe.columns[[isinstance(kind, pd.StringDtype) or kind.kind == "O" for kind in safe.dtypes]]:
        safe[name] = safe[name].map(_one_line_end, na_action="ignore")
    safe.columns = safe.columns.map(_one_line_end)
    return safe.to_csv(index=False, lineterminator="\n")


def _one_line_end(value: object) -> object:
    return value.replace("\r\n", "\n").replace("\r", "\n") if isinstance(value, str) else value


def file_name(text: object, ending: str = "") -> str:
    """Return a name as the name of a file in one folder, whatever stands in it; different names stay different.

    >>> file_name("v0001", ".csv"), file_name("../../etc/passwd").startswith("etc-passwd-")
    ('v0001.csv', True)
    """
    name = str(text)
    plain = re.sub(r"[^\w. -]+|\.{2,}", "-", name).strip("-. ")[:80].rstrip(". ")
    if plain != name or not plain or _RESERVED.fullmatch(plain):
        mark = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:6]
        plain = f"{'_' if _RESERVED.fullmatch(plain) else ''}{plain or 'name'}-{mark}"
    return plain + ending


def write_bytes(path: str | Path, content: bytes | str) -> Path:
    """Write a file so that it appears whole or not at all, and return its path; its folder is made if need be.

    Raises
    ------
    DataError
        If it cannot be written.
    """
    path = Path(path)
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, part = tempfile.mkstemp(dir=path.parent, prefix=".coachlab-")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            os.chmod(part, 0o644)
            os.replace(part, path)
        except BaseException:
            Path(part).unlink(missing_ok=True)
            raise
    except OSError as err:
        raise DataError(
            f"{path.name} was to be written to {path.parent}.",
            f"It cannot be written there ({err.strerror}).",
            "Choose a folder that you may write to.",
            path=str(path),
        ) from err
    return path
