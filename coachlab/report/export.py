"""The report as one file: the template notebook is run on a folder and becomes a page that needs nothing else."""

import os
import re
import tempfile
from html import escape
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from coachlab import errors
from coachlab.errors import CoachlabError, DataError, command, need_share
from coachlab.report.places import shipped

if TYPE_CHECKING:
    from nbformat import NotebookNode

TEMPLATE = "report.ipynb"
NAME = "academy-report.html"
_SECTION = re.compile(r'<section class="page" id="([\w-]+)">\s*<h2>(.*?)</h2>', re.DOTALL)


def write_report(
    folder: str | Path,
    out: str | Path,
    outcome: str = "attack_up_deg",
    club: str = "iron-7",
    set_aside_warned: bool = True,
    level: float = 0.95,
    timeout_s: float = 600,
) -> Path:
    """Return the path of the report that was written: one HTML file with pictures and style inside, and no address.

    The notebook ``report.ipynb`` is run on the folder in a kernel of its own; nothing else is written. The file appears
    whole or not at all.

    Parameters
    ----------
    folder : path
        A folder as `read_study` takes it.
    out : path
        The file, ending in ``.html``; or a folder, in which it is called ``academy-report.html``.
    outcome, club : str
        The main outcome, a key of `schema.OUTCOMES`, and the one club.
    set_aside_warned : bool
        Whether the shots of a coach whose log looks like best shots only are set aside; the report says so.
    level : float
        Level of the intervals.
    timeout_s : float
        Seconds that one cell may take.

    Raises
    ------
    CoachlabError
        What the reading, the models or the pages raise, as if called here.
    DataError
        If an argument is wrong, the file cannot be written, or the page holds an address or a widget.
    """
    parameters = _checked(Path(folder), outcome, club, set_aside_warned, level)
    target = report_path(out)
    notebook = _run(_filled(shipped("notebooks") / TEMPLATE, parameters), timeout_s)
    page = as_page(_body(notebook))
    refuse_outside(page)
    write_whole(target, page)
    return target


def report_path(out: str | Path, name: str = NAME) -> Path:
    """Return the file that a page is written to: `out` itself where it ends in ``.html``, else `name` in that folder.

    Raises
    ------
    DataError
        If nothing can be written there.
    """
    out = Path(out)
    target = (out if out.suffix.lower() in (".html", ".htm") else out / name).absolute()
    place = next(parent for parent in target.parents if parent.exists())
    found = (
        f"{target.name} is a folder."
        if target.is_dir()
        else f"{place} is a file, not a folder."
        if not place.is_dir()
        else f"You may not write in {place}."
        if not os.access(place, os.W_OK | os.X_OK)
        else _tried(target, place)
    )
    if found:
        raise DataError(f"A page was to be written as {target}.", found, "Choose another place with --out.")
    return target


def _tried(target: Path, place: Path) -> str:
    """Return why nothing can be written there, found by trying: rights alone do not tell of a place that is no disk."""
    try:
        if place == target.parent:
            tempfile.TemporaryFile(dir=place, prefix=f".{target.name}.").close()
        else:
            os.rmdir(tempfile.mkdtemp(dir=place, prefix=f".{target.parent.name}."))
    except OSError as err:
        return f"Nothing can be written in {place} ({err.strerror})."
    return ""


def as_page(body: str) -> str:
    """Return a whole HTML document around the sections of a report, with style and contents."""
    heading = re.search(r"<h1>(.*?)</h1>", body, re.DOTALL)
    name = heading[1] if heading else "Report"
    head, end, rest = body.partition("</section>")
    links = "".join(f'<li><a href="#{key}">{words}</a></li>' for key, words in _SECTION.findall(body))
    style = files("coachlab").joinpath("assets/report.css").read_text(encoding="utf-8")
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<title>{name}</title>
<style>
{style}</style>
</head>
<body>
<main>
{head}{end}
<nav aria-label="Contents"><ol>{links}</ol></nav>
{rest}
</main>
</body>
</html>
"""


def refuse_outside(page: str) -> None:
    """Refuse a page that needs anything from outside itself, or holds a live widget; return nothing where it is whole.

    Raises
    ------
    DataError
        Naming what was found.
    """
    reader = _Outside()
    reader.feed(page)
    if reader.found:
        raise DataError(
            "The report was checked before it was written.",
            f"It holds {reader.found[0]}, and must stand alone.",
            "Take the address out of the cards, the log, academy.toml or report.toml.",
            outside=tuple(reader.found),
        )


def write_whole(path: Path, text: str) -> None:
    """Write a text file so that it appears whole or not at all.

    Raises
    ------
    DataError
        If it cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        try:
            with open(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
            # a temporary file is for its owner only; a report is read by others, as any new file here
            os.chmod(name, 0o666 & ~_umask())
            os.replace(name, path)
        except BaseException:
            os.unlink(name)
            raise
    except OSError as err:
        raise DataError(
            f"{path.name} was to be written into {path.parent}.",
            f"That is not possible ({err.strerror}).",
            "Choose another place with --out, or close the program that holds the file.",
            path=str(path),
        ) from err


def _checked(folder: Path, outcome: str, club: str, set_aside_warned: bool, level: float) -> dict[str, object]:
    from coachlab.intake.clubs import club_hint
    from coachlab.schema import CLUBS, OUTCOMES

    asked = "A report was asked for."
    if not folder.is_dir():
        raise DataError(asked, f"{folder} is no folder.", "Name the folder that holds the files.", path=str(folder))
    if outcome not in OUTCOMES:
        raise DataError(asked, f"{outcome!r} is no outcome.", f"Choose one of: {', '.join(OUTCOMES)}.", outcome=outcome)
    if club not in CLUBS:
        raise DataError(
            asked,
            f"{club!r} is no club of ours{club_hint(club)}.",
            "Write it as in iron-7, driver, wedge-pw.",
            club=club,
        )
    if not isinstance(set_aside_warned, bool):
        raise DataError(asked, f"set_aside_warned is {set_aside_warned!r}.", "Pass True or False.")
    need_share(level, asked)
    return {
        "folder": str(folder.resolve()),
        "club": club,
        "outcome": outcome,
        "set_aside_warned": set_aside_warned,
        "level": float(level),
    }


def _filled(template: Path, parameters: dict[str, object]) -> "NotebookNode":
    """Return the template with its ``parameters`` cell replaced by these values."""
    import nbformat

    notebook = nbformat.read(template, as_version=4)
    cell = next(cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", ()))
    cell.source = "\n".join(f"{name} = {value!r}" for name, value in parameters.items())
    return notebook


def _run(notebook: "NotebookNode", timeout_s: float) -> "NotebookNode":
    from jupyter_client.kernelspec import NoSuchKernel
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError
    from traitlets.config import Config

    asked = f"The report's notebook {TEMPLATE} was run."
    with tempfile.TemporaryDirectory(prefix="report-") as place:
        client = NotebookClient(
            notebook,
            timeout=timeout_s,
            kernel_name="python3",
            resources={"metadata": {"path": place}},
            # without it ipykernel 7.3 and newer complain at each start about a plain connection to this very machine
            config=Config({"KernelManager": {"transport_encryption": "auto"}}),
        )
        try:
            # an own folder for IPython: no history file is left behind, and nobody's start-up scripts change a report
            return client.execute(env={**os.environ, "IPYTHONDIR": place})
        except CellExecutionError as err:
            raise _as_raised(err.ename, err.evalue, asked) from err
        except (CellTimeoutError, DeadKernelError, NoSuchKernel) as err:
            found = str(err).splitlines()[0]
            raise DataError(
                asked, f"It stopped: {found}", f"Try again; {command('doctor')} looks for the cause."
            ) from err


def _as_raised(name: str, message: str, asked: str) -> CoachlabError:
    """Return an error of the notebook as the one that was raised inside it."""
    kind = getattr(errors, name, None)
    lines = message.splitlines()
    if isinstance(kind, type) and issubclass(kind, CoachlabError) and len(lines) >= 2:
        return kind(lines[0], "\n".join(lines[1:-1]) or lines[1], lines[-1])
    return DataError(asked, f"{name}: {message}", "This is a fault of the program: please report it with the folder.")


def _body(notebook: "NotebookNode") -> str:
    from nbconvert import HTMLExporter
    from traitlets.config import Config

    for cell in notebook.cells:
        if cell.cell_type == "code":
            kept = ("display_data", "execute_result")
            cell.outputs = [output for output in cell.outputs if output.output_type in kept]
    config = Config()
    config.TagRemovePreprocessor.enabled = True
    config.TagRemovePreprocessor.remove_cell_tags = ("notebook-only",)
    exporter = HTMLExporter(
        config=config,
        template_name="basic",
        exclude_input=True,
        exclude_output_prompt=True,
        exclude_anchor_links=True,
        embed_images=True,
    )
    body, _ = exporter.from_notebook_node(notebook)
    return body


class _Outside(HTMLParser):
    """Collects what a page would load, open or run."""

    _ADDRESS = re.compile(r"\b(?:https?|ftp|file|wss?)://\S*|\bwww\.\S+|@import\b|\burl\(\s*[^)\s]", re.IGNORECASE)
    _LIVE = ("script", "iframe", "object", "embed", "link", "base", "form", "video", "audio")

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in self._LIVE:
            self.found.append(f"a <{tag}> element")
        for name, value in attrs:
            text = value or ""
            inside = text.startswith("data:image/") if name == "src" else text.startswith("#")
            if name in ("src", "href", "srcset", "action", "data", "poster", "background") and not inside:
                self.found.append(f"the address {escape(text[:80])}")
            elif not inside:
                self.handle_data(text)
            if name.startswith("on"):
                self.found.append(f"an {name} attribute")

    def handle_data(self, data: str) -> None:
        self.found += [f"the address {found[0][:80]}" for found in self._ADDRESS.finditer(data)]
        if "widget-view" in data:
            self.found.append("a live widget")


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
