import re

import nbformat
import pytest
from harness import ROOT, move_slider, open_notebook, open_page, run_all, settle, slider, take_picture
from playwright.sync_api import expect

pytestmark = pytest.mark.browser
NOTEBOOKS = sorted(path.name for path in ROOT.glob("notebooks/*.ipynb"))


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_each_notebook_runs_in_jupyterlab_without_an_error_or_an_outside_request(name, lab, visit):
    open_notebook(visit, lab, name)
    run_all(visit)
    assert visit.errors == []
    assert visit.outputs.count() > 0


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_each_notebook_is_an_app_without_code_or_an_outside_request(name, app, visit):
    open_notebook(visit, app, name)
    assert visit.errors == []
    assert visit.outputs.count() > 0
    assert visit.page.locator("h1").count() > 0
    assert visit.page.locator(".jp-CodeMirrorEditor, .highlight, .jp-CodeCell .jp-InputArea-editor").count() == 0


def test_a_slider_moved_by_keyboard_reaches_python_and_comes_back_in_jupyterlab(lab, visit):
    open_notebook(visit, lab, "tiny.ipynb")
    run_all(visit)
    assert visit.errors == []
    move_slider(visit, "attack", presses=3)
    expect(slider(visit, "attack")).to_have_attribute("aria-valuenow", re.compile(r"^23(\.0)?$"))
    expect(visit.outputs.last).to_contain_text("twice is 46")


def test_a_slider_moved_by_keyboard_reaches_python_and_comes_back_in_the_app(app, visit):
    open_notebook(visit, app, "tiny.ipynb")
    move_slider(visit, "attack", key="ArrowLeft")
    expect(visit.outputs.last).to_contain_text("twice is 38")


def test_the_list_of_the_app_leads_to_a_notebook_without_an_outside_request(app, visit):
    visit.page.goto(app.url)
    visit.page.get_by_role("link", name="notebooks").click()
    visit.page.get_by_role("link", name="Tiny", exact=True).click()
    visit.page.get_by_role("heading", name="Twice a number").wait_for()


def test_a_picture_shows_the_whole_notebook(lab, visit, tmp_path):
    long = nbformat.v4.new_notebook(cells=[nbformat.v4.new_markdown_cell(f"# Line {n}", id=f"n{n}") for n in range(40)])
    long.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(long, lab.folder / "notebooks" / "long.ipynb")
    open_notebook(visit, lab, "long.ipynb")
    take_picture(visit, tmp_path / "long.png")
    box = visit.page.locator("h1", has_text="Line 39").bounding_box()
    assert box is not None and box["y"] + box["height"] <= visit.page.viewport_size["height"]
    assert (tmp_path / "long.png").read_bytes().startswith(b"\x89PNG")


# The harness itself must see what it is there to see -------------------------------------------------------------------


def test_a_page_that_asks_another_machine_is_seen_and_gets_nothing(browser, tmp_path):
    page = tmp_path / "page.html"
    page.write_text('<img src="https://example.com/pixel.png"><p>text</p>')
    with open_page(browser) as visit:
        visit.page.goto(page.as_uri())
        settle(visit)
        assert visit.outside == ["https://example.com/pixel.png"]


def test_a_script_that_fails_is_seen(browser, tmp_path):
    page = tmp_path / "page.html"
    page.write_text("<script>undefinedName()</script><script>console.error('said aloud')</script>")
    with open_page(browser) as visit:
        with (
            visit.page.expect_event("pageerror"),
            visit.page.expect_console_message(lambda line: line.text == "said aloud"),
        ):
            visit.page.goto(page.as_uri())
        assert sorted(visit.console) == ["said aloud", "undefinedName is not defined"]


def test_a_cell_that_fails_and_a_warning_are_seen(lab, visit):
    cells = ["import warnings; warnings.warn('careful')", "1 / 0"]
    broken = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in cells])
    broken.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(broken, lab.folder / "notebooks" / "broken.ipynb")
    open_notebook(visit, lab, "broken.ipynb")
    run_all(visit)
    text = "\n".join(visit.errors)
    assert "careful" in text
    assert "ZeroDivisionError" in text
