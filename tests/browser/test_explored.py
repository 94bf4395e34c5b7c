"""The explorer as a reader meets it: by keyboard, by screen reader, on a narrow screen."""

import re

import pytest
from harness import open_notebook, run_all, settle
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

CONTROLS = ["club", "what moved", "wanted", "kind of cue", "closer look at", "pattern from", "coach"]


FITS = """() => {
    const image = document.querySelector(".coachlab-picture img");
    const width = image?.complete ? parseFloat(image.style.width) : 0; // as drawn, not as squeezed
    return width > 0 && width <= image.closest("figure").clientWidth + 1 ? width : NaN;
}"""
"""The width of the picture once it is drawn for the room that it has, else not a number."""


def test_the_explorer_is_named_answers_the_keyboard_and_fits_the_page(lab, visit):
    open_notebook(visit, lab, "which-cue.ipynb")
    run_all(visit)
    panel = visit.page.locator(".coachlab-panel")
    for name in CONTROLS:
        expect(panel.get_by_role("combobox", name=name, exact=True)).to_have_count(1)

    picture, caption = panel.locator("img"), panel.locator("figcaption")
    expect(caption).to_have_attribute("aria-live", "polite")
    expect(caption).to_contain_text("Average shift of 7-iron attack")
    # the first picture is drawn before the page has told its width
    visit.page.wait_for_function(f"({FITS})()")
    settle(visit)
    wide = picture.bounding_box()

    control = panel.get_by_role("combobox", name="what moved", exact=True)
    control.focus()
    visit.page.keyboard.press("ArrowDown")
    expect(caption).to_contain_text("Average shift of 7-iron path")
    settle(visit)
    expect(picture).to_have_attribute("alt", re.compile("^" + re.escape(caption.inner_text())))
    expect(control).to_be_focused()
    for name in CONTROLS:
        chosen = panel.get_by_role("combobox", name=name, exact=True)
        assert chosen.evaluate("element => element.selectedIndex") >= 0

    fold = panel.locator("summary", has_text="Every loss by name")
    fold.focus()
    visit.page.keyboard.press("Enter")
    expect(panel.get_by_role("cell", name="in the models")).to_be_visible()

    visit.page.set_viewport_size({"width": 800, "height": 1000})
    visit.page.wait_for_function(f"wide => ({FITS})() < wide", arg=wide["width"])
    settle(visit)
    narrow = picture.bounding_box()
    # one half of the picture went below the other, so that the words keep their size
    assert narrow["width"] < wide["width"]
    assert narrow["height"] > 1.5 * wide["height"]
    assert visit.errors == []
