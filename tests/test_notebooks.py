import re
import shutil
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient
from traitlets.config import Config

ROOT = Path(__file__).resolve().parents[1]
NOTEBOOKS = sorted(ROOT.glob("notebooks/*.ipynb"))
RANDOM_ID = re.compile(r"[0-9a-f]{8}([0-9a-f-]{24,28})?")


def test_each_question_has_its_notebook():
    assert {"which-cue.ipynb", "report.ipynb", "ball-flight.ipynb", "drills.ipynb"} <= {path.name for path in NOTEBOOKS}


def test_every_notebook_has_the_form_that_readers_and_reviewers_need():
    assert {path.name: faults(nbformat.read(path, as_version=4)) for path in NOTEBOOKS} == {
        path.name: [] for path in NOTEBOOKS
    }


@pytest.mark.parametrize("name", ["good.ipynb", *(path.name for path in NOTEBOOKS)])
def test_each_notebook_runs_from_top_to_bottom_in_silence(name, tmp_path):
    folder = tmp_path / "notebooks"
    shutil.copytree(ROOT / "notebooks", folder)
    shutil.copytree(ROOT / "data", tmp_path / "data")
    nbformat.write(good(), folder / "good.ipynb")
    done = run(nbformat.read(folder / name, as_version=4), folder)
    assert stderr(done) == ""
    assert any(cell.get("outputs") for cell in done.cells)


# What the checks above are worth --------------------------------------------------------------------------------------


def test_a_notebook_in_good_form_has_no_fault():
    assert faults(good()) == []


def test_each_fault_of_form_is_found():
    bad = good()
    bad.cells[1].metadata["tags"] = []
    bad.cells[2].metadata["jupyter"]["source_hidden"] = False
    bad.cells[2]["outputs"] = [nbformat.v4.new_output("stream", text="left")]
    bad.cells[2]["id"] = "0b1c2d3e"
    bad.metadata["kernelspec"]["name"] = "mine"
    bad.metadata["language_info"] = {"name": "python", "version": "3.11.7"}
    assert faults(bad) == [
        "no cell is tagged parameters",
        "the code of cell 2 is not folded",
        "cell 2 still holds outputs",
        "the id of cell 2 is random",
        "the kernel is not python3",
        "the kernel's details are kept",
    ]


def test_a_warning_in_a_cell_is_found(tmp_path):
    loud = good()
    loud.cells[2]["source"] = "import warnings; warnings.warn('careful')"
    assert "careful" in stderr(run(loud, tmp_path))


def faults(notebook):
    """What keeps a notebook from being read, reviewed and run with other parameters, in words."""
    nbformat.validate(notebook)
    code = [(number, cell) for number, cell in enumerate(notebook.cells) if cell.cell_type == "code"]
    found = []
    if not any("parameters" in cell.metadata.get("tags", []) for _, cell in code):
        found.append("no cell is tagged parameters")
    for number, cell in code:
        if not cell.metadata.get("jupyter", {}).get("source_hidden"):
            found.append(f"the code of cell {number} is not folded")
        if cell.outputs or cell.execution_count is not None:
            found.append(f"cell {number} still holds outputs")
    found += [f"the id of cell {n} is random" for n, cell in enumerate(notebook.cells) if RANDOM_ID.fullmatch(cell.id)]
    if notebook.metadata.get("kernelspec", {}).get("name") != "python3":
        found.append("the kernel is not python3")  # without one JupyterLab asks the reader which kernel to start
    if set(notebook.metadata) - {"kernelspec", "title"}:
        found.append("the kernel's details are kept")
    return found


def run(notebook, folder):
    """The notebook with the outputs of a run in a folder."""
    quiet = Config({"KernelManager": {"transport_encryption": "auto"}})
    resources = {"metadata": {"path": str(folder)}}
    NotebookClient(notebook, timeout=300, kernel_name="python3", resources=resources, config=quiet).execute()
    return notebook


def stderr(notebook):
    """What the cells wrote beside their outputs: warnings, mostly."""
    outputs = (output for cell in notebook.cells for output in cell.get("outputs", []))
    return "".join(output["text"] for output in outputs if output.get("name") == "stderr")


def good():
    """A notebook in good form."""
    hidden = {"jupyter": {"source_hidden": True}}
    return nbformat.v4.new_notebook(
        metadata={"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}},
        cells=[
            nbformat.v4.new_markdown_cell("# How much is six sevens?", id="question"),
            nbformat.v4.new_code_cell("sevens = 6", id="parameters", metadata={"tags": ["parameters"], **hidden}),
            nbformat.v4.new_code_cell("7 * sevens", id="answer", metadata=hidden),
        ],
    )
