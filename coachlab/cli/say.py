"""What the command line prints: steps with their seconds, tables, sentences, and errors in three short lines.

Nothing that comes from a file is read as markup, so that a bracket in a name stays a bracket. Colour and moving lines
are for a terminal only; a pipe or NO_COLOR gets plain lines.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table
from rich.text import Text

from coachlab.errors import CoachlabError

PIPE_WIDTH = 120
"""Columns of a table where there is no terminal to ask."""


def console(stderr: bool = False) -> Console:
    """Return where to print; made at each call, so that it follows a redirected stream."""
    screen = Console(stderr=stderr, highlight=False, markup=False, emoji=False)
    if not screen.is_terminal:
        screen = Console(stderr=stderr, highlight=False, markup=False, emoji=False, width=PIPE_WIDTH)
    return screen


class Steps:
    """Prints one line a step: the seconds since the last one, and what was done.

    Parameters
    ----------
    screen : Console
        Where to.
    """

    def __init__(self, screen: Console) -> None:
        self.screen = screen
        self.start = self.last = time.perf_counter()

    def __call__(self, sentence: str) -> None:
        """Print a step that is done."""
        now = time.perf_counter()
        line = Text(f"{now - self.last:5.1f} s  ", style="dim").append(sentence, style="default not dim")
        self.screen.print(_hung(line, self.screen, 9))
        self.last = now

    @contextmanager
    def under_way(self, what: str) -> Iterator[None]:
        """Show on a terminal that something is under way; print nothing elsewhere."""
        if not self.screen.is_terminal:
            yield
            return
        with self.screen.status(Text(what)):
            yield

    @contextmanager
    def counted(self, what: str) -> Iterator[Callable[[int, int], None] | None]:
        """Show a bar on a terminal, moved by the function that it gives: how many are done, of how many."""
        if not self.screen.is_terminal:
            yield None
            return
        with Progress(TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), console=self.screen,
                      transient=True) as bar:  # fmt: skip
            task = bar.add_task(what)
            yield lambda done, of: bar.update(task, completed=done, total=of)

    @property
    def seconds(self) -> float:
        """Seconds since the first step began."""
        return time.perf_counter() - self.start


def heading(screen: Console, words: str) -> None:
    """Print a heading after a blank line."""
    screen.print()
    screen.print(Text(words, style="bold"))


def table(screen: Console, columns: Sequence[str], rows: Sequence[Sequence[object]], right: Sequence[str] = ()) -> None:
    """Print a table; the columns named in `right` stand at the right."""
    grid = Table(
        box=SIMPLE_HEAD, show_edge=False, pad_edge=False, collapse_padding=True, header_style="bold", safe_box=True
    )
    for name in columns:
        grid.add_column(Text(name), justify="right" if name in right else "left")
    for row in rows:
        grid.add_row(*(Text(str(value)) for value in row))
    screen.print(grid)


def sentences(screen: Console, said: Sequence[str]) -> None:
    """Print sentences as a list, each with its lines hung under it."""
    for sentence in said:
        screen.print(_hung(Text("· ").append(sentence), screen, 2))


def trouble(error: CoachlabError) -> None:
    """Print an error on stderr: what was asked, what was found, what to do."""
    lines_of_trouble(error.asked, error.found, error.do)


def lines_of_trouble(*lines: str) -> None:
    """Print lines on stderr, each as one line however long it is."""
    screen = console(stderr=True)
    for line in filter(None, lines):
        screen.print(Text(" ".join(line.split())), soft_wrap=True)


def _hung(text: Text, screen: Console, indent: int) -> Text:
    """Return a text wrapped to the screen, with the lines after the first indented."""
    lines = text.wrap(screen, max(screen.width - indent, 20))
    result = Text()
    for number, line in enumerate(lines):
        line.rstrip()
        result.append("\n" + " " * indent if number else "").append_text(line)
    return result
