"""What a file is, is found out from its content and not from its name; each kind becomes a page."""

from pathlib import Path

from coachlab.errors import DataError
from coachlab.intake.lines import read_lines
from coachlab.intake.pages import Page, Wanted
from coachlab.intake.sheets import read_parquet, read_sheet


def read_page(path: str | Path, wanted: Wanted, sheet: str | None = None) -> Page:
    """Return the table of a file that holds the wanted headings.

    Parameters
    ----------
    path : path
        CSV (comma, semicolon, tab or pipe; UTF-8, UTF-16 or Latin-1), XLSX, ODS or Parquet.
    wanted : mapping of str to tuple of str
        For each column the headings under which it may stand; the line that holds most of them is the header.
    sheet : str, optional
        Name of the sheet of a spreadsheet; without it the first one that fits.

    Raises
    ------
    DataError
        If there is no such file, it is empty, is no table, or has no line below its header.
    MapError
        If no line holds any wanted heading, or the sheet is not there.
    """
    path = Path(path)
    asked = f"{path.name} was asked for as a table of shots."
    try:
        with path.open("rb") as stream:
            start = stream.read(16)
    except OSError as err:
        reason = "It is a folder" if path.is_dir() else f"It cannot be opened ({err.strerror})"
        raise DataError(asked, f"{reason}: {path}.", "Check the path.", path=path.name) from err
    if not start:
        raise DataError(asked, "The file is empty.", "Export it again.", path=path.name)
    if start.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        page = read_sheet(path, wanted, sheet)
    elif start.startswith(b"PAR1"):
        page = read_parquet(path, wanted)
    elif start.startswith((b"%PDF", b"\x89PNG", b"\x1f\x8b", b"\xff\xd8\xff", b"GIF8", b"Rar!", b"7z")):
        raise DataError(
            asked, "It is a picture, document or archive.", "Give CSV, XLSX, ODS or Parquet.", path=path.name
        )
    elif start.lstrip().lower().startswith((b"<!doc", b"<html", b"<?xml", b"{", b"<table")):
        raise DataError(asked, "It is a web page or JSON, not a table.", "Export it as CSV or XLSX.", path=path.name)
    else:
        page = read_lines(path, wanted)
    page = page.without_blank_lines()
    if not len(page):
        raise DataError(
            f"{page.where} was read as a table of shots.",
            f"Line {page.header_row} is the header, and no line stands below it.",
            "Export it again, with its shots.",
            path=path.name,
            row=page.header_row,
        )
    return page
