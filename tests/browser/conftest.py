"""One browser and one server of each kind for all browser tests, and a fresh page for each."""

import os

import nbformat
import pytest
from harness import PATIENCE_S, lay_out, obstacle, open_browser, open_page, serve
from playwright.sync_api import expect

expect.set_options(timeout=PATIENCE_S * 1000)


@pytest.fixture(scope="session")
def browser():
    word = obstacle()
    if word:
        if os.environ.get("COACHLAB_REQUIRE_BROWSER") == "1":
            pytest.fail(word)
        pytest.skip(word)
    with open_browser() as running:
        yield running


@pytest.fixture(scope="session")
def served(tmp_path_factory):
    """The folder that both servers serve: copies of the notebooks, the demo data, and a tiny notebook of our own."""
    folder = lay_out(tmp_path_factory.mktemp("served") / "project")
    nbformat.write(tiny(), folder / "notebooks" / "tiny.ipynb")
    return folder


@pytest.fixture(scope="session")
def lab(browser, served, tmp_path_factory):
    with serve("jupyterlab", served, tmp_path_factory.mktemp("lab")) as server:
        yield server


@pytest.fixture(scope="session")
def app(browser, served, tmp_path_factory):
    with serve("voila", served, tmp_path_factory.mktemp("app")) as server:
        yield server


@pytest.fixture(autouse=True)
def no_kernel_stays(request):
    """End the kernels of a test after its page is closed (fixtures that run by themselves are torn down last)."""
    yield
    if "lab" in request.fixturenames:
        request.getfixturevalue("lab").stop_kernels()


@pytest.fixture
def visit(browser):
    """A page; a test that uses it fails where the page asked another machine or wrote an error on its console."""
    with open_page(browser) as opened:
        yield opened
        assert opened.outside == []
        assert opened.console == []


def tiny():
    """A notebook with the least that proves the harness: a slider whose value Python doubles."""
    code = (
        "import ipywidgets as widgets\n"
        "number = widgets.IntSlider(20, 0, 40, description='attack')\n"
        "widgets.VBox([number, widgets.interactive_output(lambda n: print('twice is', 2 * n), {'n': number})])"
    )
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    cells = [
        nbformat.v4.new_markdown_cell("# Twice a number", id="title"),
        nbformat.v4.new_code_cell(code, id="slider", metadata={"jupyter": {"source_hidden": True}}),
    ]
    return nbformat.v4.new_notebook(cells=cells, metadata={"kernelspec": kernel})
