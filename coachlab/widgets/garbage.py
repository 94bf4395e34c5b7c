"""Python's garbage collector, held back while a panel answers."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def garbage_waits() -> Iterator[None]:
    """Start no search for unreachable objects inside; one that its user has switched off stays off.

    A search through all objects takes a third of the time of an answer with all its models and pictures, and the many
    small ones that an answer makes and drops call for one every few moves. After the answer they are all young, and
    found without a look at the rest.
    """
    if not gc.isenabled():
        yield
        return
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
