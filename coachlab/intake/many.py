"""Several files read at once: as many as there are cores, told one by one as they are done."""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from coachlab.intake.shots import Shots
from coachlab.privacy import process_key

Progress = Callable[[int, int], None]
"""Called with how many files are done, and how many there are."""


def read_many(
    paths: Sequence[Path], read: Callable[[Path], Shots], progress: Progress | None = None, workers: int | None = None
) -> list[Shots]:
    """Return the shots of several files, in the order of the paths.

    Reading is mostly work of the file and array libraries, during which other threads go on.

    Parameters
    ----------
    paths : sequence of Path
        The files.
    read : callable
        Reads one of them.
    progress : callable or None
        Called as each file is done.
    workers : int or None
        How many files at once; without, as many as there are cores.

    Raises
    ------
    CoachlabError
        What `read` raises for the first of the files that it cannot read.
    """
    process_key()  # made once, before two threads could make one each
    done = 0
    if progress is not None:
        progress(0, len(paths))
    with ThreadPoolExecutor(min(workers or os.cpu_count() or 1, max(len(paths), 1))) as pool:
        tasks = [pool.submit(read, path) for path in paths]
        parts = []
        try:
            for task in tasks:
                parts.append(task.result())
                done += 1
                if progress is not None:
                    progress(done, len(paths))
        except BaseException:
            for task in tasks:
                task.cancel()
            raise
    return parts
