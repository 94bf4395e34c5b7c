"""The page of twelve looks as a reader meets it: by keyboard, by screen reader, on a narrow screen."""

import re

import pytest
from harness import open_notebook, run_all, settle
from playwright.sync_api import expect

pytestmark = pytest.mark.browser


def test_the_looks_answer_the_keyboard_have_words_and_fit_a_phone(lab, visit):
    open_notebook(visit, lab, "diagnostics.ipynb")
    run_all(visit)
    panel = visit.page.locator(".coachlab-panel")
    for name in ("club", "what moved", "with"):
        expect(panel.get_by_role("combobox", name=name, exact=True)).to_have_count(1)
    pictures = panel.locator(".coachlab-looks img")
    expect(pictures).to_have_count(12)
    expect(pictures.first).to_have_attribute("alt", expected_start("with S1"))

    control = panel.get_by_role("combobox", name="with", exact=True)
    control.focus()
    visit.page.keyboard.press("ArrowDown")
    expect(panel.get_by_text("7-iron attack with S2 foot-back")).to_be_visible()
    expect(pictures.first).to_have_attribute("alt", expected_start("with S2 foot-back"))

    fold = panel.locator("summary", has_text="Which panel is real?")
    fold.focus()
    visit.page.keyboard.press("Enter")
    expect(panel.get_by_text("Panel ", exact=False).last).to_be_visible()

    button = panel.get_by_role("button", name="Ask another program")
    button.focus()
    visit.page.keyboard.press("Enter")
    expect(panel.get_by_role("heading", name="A second opinion")).to_be_visible()
    expect(panel.get_by_role("cell", name="standard error")).to_be_visible()

    visit.page.set_viewport_size({"width": 640, "height": 900})
    settle(visit)
    widths = [figure.bounding_box()["width"] for figure in panel.locator(".coachlab-looks figure").all()]
    assert max(widths) - min(widths) < 2  # one below the other
    assert visit.errors == []


def expected_start(words):
    return re.compile(f"^Look 1, every block, for 7-iron attack {re.escape(words)}")
