"""The command line: for whoever wants an answer from a folder of files without opening a notebook."""

from coachlab.cli import files
from coachlab.cli.commands import main

__all__ = ["files", "main"]
