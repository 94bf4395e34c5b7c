"""Bring in shots, step by step: files, columns, cleaning, lesson log, saved table; one step in sight."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from coachlab.errors import DataError, need
from coachlab.intake.bring import save_shots, settings_near
from coachlab.intake.clean import clean_shots
from coachlab.intake.cleaning import CleaningReport, cleaning_report
from coachlab.intake.clock import audit_clock, find_offset
from coachlab.intake.combine import combine_shots
from coachlab.intake.decide import decisions_of, restore, write_decisions
from coachlab.intake.folder import CUES, EXPORTS, key_for, list_folder
from coachlab.intake.journal import read_log
from coachlab.intake.log import join_log
from coachlab.intake.read import read_shots
from coachlab.intake.shots import Shots
from coachlab.intake.write import file_name, plain_cell, write_bytes
from coachlab.settings import Settings, read_cues
from coachlab.widgets.brought import STEPS, step_parts
from coachlab.widgets.logbook import Logbook
from coachlab.widgets.mapping import MapBook
from coachlab.widgets.sheet import Part, Sheet

FILES, COLUMNS, CLEANING, LOG, SAVE = range(len(STEPS))


def bring_panel(folder: str | Path = ".", out: str | Path = "out/shots") -> Sheet:
    """Return a panel that leads from the exports of a folder to one saved table of shots.

    Parameters
    ----------
    folder : path
        Exports (CSV, XLSX, ODS, Parquet), and, as far as they are there, maps beside them, lesson logs (``log-...``,
        or tables with a log's headings), ``cues.toml`` and ``academy.toml``. Nothing is written into it.
    out : path
        Where the table, the maps, the logs and the decisions are saved.
    """
    for name, path in (("folder", folder), ("out", out)):
        need(path, (str, Path), "A panel to bring shots in was asked for.", name, "Give the path of a folder.")
    return Sheet(Bring(folder, out))


class Bring:
    """The page of `bring_panel`: where we stand, what was read, and what each action does."""

    def __init__(self, folder: str | Path, out: str | Path) -> None:
        self.folder, self.out = Path(folder), Path(out)
        self.at = FILES
        self.kind = "csv"
        self.reason = ""
        self.writing: Logbook | None = None
        self.done: list[str] = []
        self.look()

    def look(self) -> None:
        """List what the folder holds, and forget what was read before."""
        there = sorted(path for path in self.folder.iterdir() if path.is_file()) if self.folder.is_dir() else []
        tables = [path for path in there if path.suffix.lower() in EXPORTS and path.name[0] not in ".~"]
        logs = list_folder(self.folder)[2] if self.folder.is_dir() else []
        self.exports = [path for path in tables if path not in logs]
        self.logs = {path.name: path for path in tables if path in logs}
        self.chosen: list[str] = [self.exports[0].name] if len(self.exports) == 1 else []
        self.chosen_logs: list[str] = list(self.logs)
        self.books: dict[str, MapBook] = {}
        self.turn = 0
        self.read: Shots | None = None
        self.key: bytes | None = None
        self.shots: Shots | None = None
        self.report: CleaningReport | None = None
        self.joined = self.clock = ""

    @property
    def settings(self) -> Settings:
        """The academy's, if they stand in the folder."""
        return settings_near(self.folder)

    @property
    def cues(self) -> pd.DataFrame | None:
        """The cue cards, if they stand in the folder."""
        path = self.folder / CUES
        return read_cues(path) if path.is_file() else None

    @property
    def files(self) -> list[Path]:
        """The exports that are chosen."""
        return [path for path in self.exports if path.name in self.chosen]

    @property
    def mapping(self) -> MapBook | None:
        """The map that is being looked at."""
        return self.books[self.files[self.turn].name] if self.at == COLUMNS else None

    def known_map(self, path: Path) -> Path | None:
        """Return the map that lies beside a file, or was saved for it before."""
        places = (path.with_suffix(".toml"), self.out / file_name(path.stem, ".toml"))
        return next((place for place in places if place.is_file()), None)

    def parts(self) -> list[Part]:
        """Return the step that we stand at."""
        return step_parts(self)

    def act(self, action: str, values: Mapping[str, Any]) -> str:
        """Do what was asked, and return what was done."""
        own = getattr(self, f"_do_{action}", None)
        if self.writing is not None and action not in ("log_done", "back"):
            return self._write(action, values)
        book = self.mapping
        if book is not None and action in ("set", "see"):
            return book.act(action, values)
        if own is None:
            raise DataError("Something was asked of the page.", f"There is no step {action!r}.", "Begin again.")
        return own(**values)

    # Files and columns ------------------------------------------------------------------------------------------------

    def _do_set(self, **values: Any) -> str:
        for name, value in values.items():
            if name == "folder":
                self.folder = Path(str(value).strip() or ".")
                self.look()
                many = len(self.exports)
                return "1 file is there." if many == 1 else f"{many} files are there."
            if name == "out":
                self.out = Path(str(value).strip() or "out/shots")
            elif name == "files":
                self.chosen = list(value)
            elif name == "logs":
                self.chosen_logs, self.clock = list(value), ""
            elif name in ("kind", "reason"):
                setattr(self, name, value)
        return ""

    def _do_files_done(self) -> str:
        if not self.chosen:
            raise DataError("Shots were to be brought in.", "No file is chosen.", "Tick at least one file.")
        return self._look_at(0)

    def _look_at(self, turn: int) -> str:
        """Propose the map of the next file; read and clean all of them once none is left."""
        if turn < len(self.files):
            path = self.files[turn]
            if path.name not in self.books:
                known = self.known_map(path)
                self.books[path.name] = MapBook(path, [known] if known else [], self.settings, self.out)
            self.turn, self.at = turn, COLUMNS
            return f"{path.name}: {len(self.books[path.name].proposal.table)} headings."
        self.key = key_for(self.files)[0]
        parts = [
            clean_shots(read_shots(path, self.books[path.name].proposal.map, self.key, self.settings))
            for path in self.files
        ]
        self.read = combine_shots(parts)
        said = self._report(self.read)
        self.at = CLEANING
        return said

    def _do_map_done(self) -> str:
        book = self.mapping
        if book is None:
            return ""
        if book.trouble:
            raise DataError(book.trouble[0], *book.trouble[1:])
        return self._look_at(self.turn + 1)

    # Cleaning ---------------------------------------------------------------------------------------------------------

    def _report(self, shots: Shots) -> str:
        self.shots = shots
        self.report = cleaning_report(shots)
        self.joined = ""
        return shots.text()

    def _do_use(self, row: str) -> str:
        if not self.reason:
            raise DataError(
                "A shot was to be used although a rule set it aside.", "No reason is given.", "Choose why; it is kept."
            )
        if self.shots is None:
            return ""
        source, _, line = row.rpartition(":")
        table = self.shots.table
        where = (table["source"].astype("str") == source) & (table["source_row"] == int(line))
        self.read = restore(self.shots, where, self.reason)
        return self._report(self.read)

    def _do_cleaned(self) -> str:
        self.at = LOG
        return "Cleaning is done."

    # The lesson log ---------------------------------------------------------------------------------------------------

    def _do_write_log(self) -> str:
        if self.shots is not None:
            self.writing = Logbook(self.shots, self.cues, self.settings, self.out)
        return "The lesson log of one visit."

    def _write(self, action: str, values: Mapping[str, Any]) -> str:
        book = self.writing
        if book is None:
            return ""
        said = book.act(action, values)
        if book.saved is not None and book.saved.name not in self.logs:
            self.logs[book.saved.name] = book.saved
            self.chosen_logs.append(book.saved.name)
        return said

    def _do_log_done(self) -> str:
        self.writing = None
        return "Back to the logs."

    def _do_join(self, clock: str = "ask") -> str:
        """Join the chosen logs; where a log by time and the device's clock differ, ask first."""
        paths = [self.logs[name] for name in self.chosen_logs if name in self.logs]
        if not paths or self.read is None:
            raise DataError("A lesson log was to be joined.", "None is chosen.", "Tick one, or go on without a log.")
        log = read_log(paths)
        for name in log.columns[[isinstance(kind, pd.StringDtype) for kind in log.dtypes]]:
            log[name] = log[name].map(plain_cell, na_action="ignore")  # as it was before it was made harmless
        other = 0
        if "session" in self.read.table:
            mine = log["session"].isin(set(self.read.table["session"].astype("str")))
            other, log = int((~mine).sum()), log[mine]
            if not len(log):
                raise DataError(
                    f"{', '.join(path.name for path in paths)} was joined with the shots.",
                    "It speaks of none of these visits.",
                    "Choose another log, or go on without.",
                )
        offset = 0.0
        if "starts_at" in log and clock != "as it is":
            found = audit_clock(self.read, log, self.key)
            if len(found) and clock == "ask":
                self.clock = f"{found.table['what'].iloc[0]} Nothing is moved unless you say so."
                self.clock = self.clock[0].upper() + self.clock[1:]
                return self.clock
            offset = find_offset(self.read, log, self.key) if len(found) else 0.0
        shots = join_log(self.read, log, self.cues, self.key, offset)
        self.clock = ""
        said = self._report(clean_shots(shots))
        outside = int(shots.table["phase"].isna().sum())
        left = f" {other:,} rows of other visits are left alone." if other else ""
        self.joined = f"{len(log):,} blocks are joined; {outside:,} shots stand in none.{left}"
        self.at = SAVE
        return f"{self.joined} {said}"

    def _do_join_corrected(self) -> str:
        return self._do_join("corrected")

    def _do_join_as_it_is(self) -> str:
        return self._do_join("as it is")

    def _do_without_log(self) -> str:
        if self.read is not None:
            self._report(self.read)
        self.at = SAVE
        return "No log is joined."

    # Saving -----------------------------------------------------------------------------------------------------------

    def _do_save(self) -> str:
        if self.shots is None:
            return ""
        paths = save_shots(self.shots, self.out, self.kind)
        for path in self.files:
            text = self.books[path.name].proposal.toml
            paths.append(write_bytes(self.out / file_name(path.stem, ".toml"), text))
        decisions = decisions_of(self.shots)
        if len(decisions):
            paths.append(write_decisions(decisions, self.out))
        self.done = [path.name for path in paths]
        return f"Saved {self.shots.text()}"

    def _do_back(self) -> str:
        self.done = []
        if self.writing is not None:
            self.writing = None
        elif self.at == CLEANING:
            return self._look_at(len(self.files) - 1)
        elif self.at == COLUMNS and self.turn:
            return self._look_at(self.turn - 1)
        else:
            self.at = max(self.at - 1, FILES)
        return f"Back to: {STEPS[self.at]}."

    def _do_again(self) -> str:
        self.look()
        self.at, self.done = FILES, []
        return "Choose the next files."
