"""What a file is, is found out from its content and not from its name; each kind becomes a page."""

from pathlib import Path

from coachlab.errors import DataError
from coachlab.intake.archive import BOOK, PACKED, PARQUET, Source, find_sources
from coachlab.intake.lines import read_lines
from coachlab.intake.pages import Page, Wanted, too_wide
from coachlab.intake.sheets import read_parquet, read_sheet
from coachlab.settings import Settings

_PICTURES = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8")
_OTHERS = (*_PICTURES, b"%PDF", b"Rar!", b"7z", b"BZh", b"\xfd7zXZ", b"ARROW1", b"SQLite", b"{\\rtf")


def read_page(
    path: str | Path | Source, wanted: Wanted, sheet: str | None = None, settings: Settings | None = None
) -> Page:
    """Return the table of a file that holds the wanted headings.

    Parameters
    ----------
    path : path or Source
        CSV (any separator of one sign, or two blanks; UTF-8, UTF-16, UTF-32 or an 8-bit code), XLSX, ODS or Parquet;
        packed as zip or gzip if it is one table.
    wanted : mapping of str to tuple of str
        For each column the headings under which it may stand; the line that holds most of them is the header.
    sheet : str, optional
        Name of the sheet of a spreadsheet; without it the first one that fits.
    settings : Settings, optional
        The limits; the defaults without.

    Raises
    ------
    DataError
        If there is no such file, it is empty, is no table, goes beyond a limit, or has no line below its header.
    MapError
        If no line holds any wanted heading, or the sheet is not there.
    """
    settings = settings or Settings()
    source = _only_source(path, settings)
    name = source.name
    asked = f"{name} was asked for as a table of shots."
    with source.open() as stream:
        start = stream.read(16)
    if not start:
        raise DataError(asked, "The file is empty.", "Export it again.", path=name)
    if start.startswith((PACKED, BOOK)):
        page = read_sheet(source, wanted, sheet, settings)
    elif start.startswith(PARQUET):
        page = read_parquet(source, wanted, settings)
    elif start.startswith(_OTHERS):
        raise DataError(asked, "It is a picture, document or archive.", "Give CSV, XLSX, ODS or Parquet.", path=name)
    elif start.lstrip().lower().startswith((b"<!doc", b"<html", b"<?xml", b"{", b"[{", b"<table")):
        raise DataError(asked, "It is a web page or JSON, not a table.", "Export it as CSV or XLSX.", path=name)
    else:
        page = read_lines(source, wanted, settings)
    if len(page.headings) > settings.largest_columns:
        raise too_wide(page.where, len(page.headings), settings)
    page = page.without_blank_lines()
    if not len(page):
        raise DataError(
            f"{page.where} was read as a table of shots.",
            f"Line {page.header_row} is the header, and no line stands below it.",
            "Export it again, with its shots.",
            path=name,
            row=page.header_row,
        )
    return page


def _only_source(path: str | Path | Source, settings: Settings) -> Source:
    if isinstance(path, str | Path) and Path(path).is_dir():
        path = Path(path)
        raise DataError(
            f"{path.name} was asked for as one table.", f"It is a folder: {path}.", "Name a file.", path=path.name
        )
    sources, _ = find_sources(path, settings)
    if len(sources) > 1:
        raise DataError(
            f"{Path(sources[0].name).parts[0]} was asked for as one table.",
            f"It holds {len(sources)}: {', '.join(source.name for source in sources[:8])}.",
            "Give one of them.",
            path=sources[0].name,
        )
    return sources[0]
