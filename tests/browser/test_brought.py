"""The panels that ask, as a coach meets them: few clicks, keyboard and mouse, screen reader, a narrow screen."""

import re

import pytest
from harness import grave, open_notebook, run_all, settle
from playwright.sync_api import expect

import coachlab as cl
from coachlab.intake.cards import open_cards

pytestmark = pytest.mark.browser


class Hand:
    """A person at the page, who counts the clicks."""

    def __init__(self, visit):
        self.visit, self.page, self.clicks = visit, visit.page, 0
        self.sheet = visit.page.locator(".sheet")

    def click(self, name, role="button"):
        self.sheet.get_by_role(role, name=name).first.click()
        self.clicks += 1
        self.wait()

    def press(self, name, key="Enter", role="button"):
        self.sheet.get_by_role(role, name=name).first.press(key)
        self.wait()

    def choose(self, label, value):
        """Choose from a list by keyboard."""
        field = self.sheet.get_by_label(label, exact=True).first
        field.focus()
        field.select_option(value)
        self.wait()

    def fill(self, label, value):
        self.sheet.get_by_label(label, exact=True).first.fill(value)
        self.page.keyboard.press("Tab")
        self.wait()

    def wait(self):
        """Wait until the page has answered, however busy the machine is."""
        settle(self.visit, quiet_ms=350)
        self.page.wait_for_function("!document.querySelector('.sheet[aria-busy]')")
        settle(self.visit, quiet_ms=100)


def correct_a_guess(hand):
    """Say that a column counts the other way round, and see the first shots follow."""
    hand.sheet.locator("summary", has_text="understood surely").press("Enter")
    shots = hand.sheet.locator("table", has_text="The first shots")
    place = shots.locator("thead th").all_inner_texts().index("path (°)")
    path = shots.locator("tbody tr").first.locator("th, td").nth(place)
    before = path.inner_text()
    hand.choose("Plus of Swings to [°]", "right")
    turned = before.lstrip("−") if before.startswith("−") else f"−{before}"
    assert before != "0.0"
    expect(path).to_have_text(turned)
    # the place of whoever has no mouse, and what was unfolded, stay
    expect(hand.sheet.get_by_label("Plus of Swings to [°]", exact=True).first).to_be_focused()
    expect(hand.sheet.locator("details[open] summary", has_text="understood surely")).to_have_count(1)
    assert grave(hand.page, ".sheet") == {}


PRESS_TWICE = """handle => new Promise((done) => {
    const press = () => handle.dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowRight"}));
    press();
    const look = setInterval(() => {
        if (!window.unanswered.size) return;
        clearInterval(look);
        press();
        done(null);
    }, 1);
})"""
"""Presses a key at a handle, and again as soon as the page has asked Python, before there is an answer."""


def fits_a_narrow_page(hand):
    """See that nothing of the log lies beyond the edge where there is little room."""
    hand.page.set_viewport_size({"width": 520, "height": 900})
    hand.wait()
    beyond = """() => {
        const room = document.querySelector(".sheet").getBoundingClientRect().right + 1;
        return [...document.querySelectorAll(".sheet :is(button, select, input, svg, p)")]
            .filter((one) => one.getClientRects().length && one.getBoundingClientRect().right > room)
            .map((one) => one.outerHTML.slice(0, 120));
    }"""
    assert hand.page.evaluate("document.querySelector('.sheet').clientWidth") < 480
    assert hand.page.evaluate(beyond) == []


def test_a_file_becomes_a_saved_table_in_under_ten_clicks_and_every_step_can_be_read(app, visit):
    open_notebook(visit, app, "bring-in-shots.ipynb")
    hand = Hand(visit)
    expect(visit.page.get_by_role("heading", name="Which files do you bring?")).to_be_visible()
    assert grave(visit.page, ".sheet") == {}

    # what is wrong is told in a plain box, and goes with the next action
    hand.press("Go on")
    box = hand.sheet.get_by_role("alert")
    expect(box).to_contain_text("No file is chosen.")
    expect(box).to_contain_text("Tick at least one file.")

    hand.click("bay-3.csv", "checkbox")
    expect(box).to_have_count(0)
    for name, heading in (
        ("Go on", "Which heading of bay-3.csv is what?"),
        ("This is right", "What came, and what is set aside"),
        ("Go on", "Which shots were hit under which cue?"),
        ("Join these logs", "Save the table"),
        ("Save the table", "Saved"),
    ):
        hand.click(name)
        # one step is in sight, and a screen reader is at its heading
        expect(visit.page.locator(".sheet h2")).to_have_text([heading])
        expect(visit.page.locator(".sheet h2")).to_be_focused()
        assert grave(visit.page, ".sheet") == {}
    assert hand.clicks < 10
    saved = cl.read_shots(app.folder / "out" / "shots" / "shots.csv")
    text = hand.sheet.inner_text()
    n = saved.counts
    assert f"= {n.shots:,} shots +" in text and f"{n.shots:,} shots = " in text
    assert saved.table["cue"].nunique() > 5
    assert "Simulated data" in text


def test_guesses_are_corrected_and_runs_of_shots_chosen_by_mouse_and_by_keyboard(lab, visit):
    open_notebook(visit, lab, "bring-in-shots.ipynb")
    run_all(visit)
    hand = Hand(visit)
    # letters that JupyterLab takes for commands (delete a cell, add one, cut) stay where they are typed
    cells = visit.page.locator(".jp-Notebook .jp-Cell").count()
    folder = hand.sheet.get_by_label("Folder")
    folder.press("End")
    folder.press_sequentially("ddabx")
    expect(folder).to_have_value("../data/demoddabx")
    assert visit.page.locator(".jp-Notebook .jp-Cell").count() == cells
    hand.fill("Folder", "../data/demo")

    hand.click("bay-3.csv", "checkbox")
    hand.click("Go on")
    correct_a_guess(hand)
    for name in ("This is right", "Go on", "Write the log"):
        hand.click(name)
    hand.fill("Pain today, 0 to 10", "0")
    hand.click("Go on to the log")
    assert grave(visit.page, ".sheet") == {}
    first, last = (hand.sheet.get_by_role("slider", name=f"{end} shot of the run") for end in ("First", "Last"))
    expect(first).to_have_attribute("aria-valuenow", "1")

    strip = hand.sheet.locator(".sheet-strip svg")
    strip.scroll_into_view_if_needed()
    dots = strip.locator("circle")
    ends = [dots.nth(place).bounding_box() for place in (2, 6)]
    visit.page.mouse.move(ends[0]["x"] + 3, ends[0]["y"] + 3)
    visit.page.mouse.down()
    visit.page.mouse.move(ends[1]["x"] + 3, ends[0]["y"] + 3, steps=4)
    visit.page.mouse.up()
    hand.wait()
    expect(hand.sheet.get_by_label("First shot", exact=True)).to_have_value("3")
    expect(hand.sheet.get_by_label("Last shot", exact=True)).to_have_value("7")

    # the second press comes while Python has not answered the first, whose answer must not take it back
    last.evaluate(PRESS_TWICE)
    hand.wait()
    expect(hand.sheet.get_by_label("Last shot", exact=True)).to_have_value("9")
    last.press("PageDown")
    hand.wait()
    # 7 and two to the right is 9, five back is 4
    expect(hand.sheet.get_by_label("Last shot", exact=True)).to_have_value("4")
    expect(last).to_have_attribute("aria-valuetext", re.compile("shot 4, "))
    first.press("Home")
    last.press("End")
    last.press("Home")
    for _ in range(7):
        last.press("ArrowRight")
    hand.wait()
    hand.choose("What it was for", "warmup")
    hand.press("Add this block")
    expect(hand.sheet.get_by_role("row", name="warm-up, not used")).to_have_count(1)
    expect(hand.sheet.locator(".sheet-strip text", has_text="1 warm-up")).to_have_count(1)
    expect(hand.sheet.get_by_role("button", name="Save the log")).to_be_disabled()
    expect(hand.sheet.get_by_role("status")).to_contain_text("Shots 1 to 8 are in the log.")

    hand.choose("What it was for", "screen")
    hand.fill("Last shot", "14")
    hand.fill("Pain, 0 to 10", "5")
    hand.press("It hurts: stop")
    expect(hand.sheet.get_by_role("row", name="ended because it hurt")).to_have_count(1)
    expect(hand.sheet.get_by_role("status")).to_contain_text("licensed clinician")
    assert grave(visit.page, ".sheet") == {}
    assert visit.errors == []
    fits_a_narrow_page(hand)


def test_a_card_is_changed_by_keyboard_and_its_new_wording_is_a_new_version(app, visit):
    open_notebook(visit, app, "cue-cards.ipynb")
    hand = Hand(visit)
    assert grave(visit.page, ".sheet") == {}
    hand.press("Change I2 rafter")
    words = hand.sheet.get_by_label("What the coach says, word for word")
    words.focus()
    visit.page.keyboard.press("Control+A")
    # letters that JupyterLab takes for commands elsewhere
    visit.page.keyboard.type("Add a <b>beam</b>: over the near rafter.")
    visit.page.keyboard.press("Tab")
    hand.wait()
    expect(hand.sheet.get_by_text("this becomes a new version")).to_be_visible()
    assert grave(visit.page, ".sheet") == {}
    hand.press("Save this card")
    expect(hand.sheet.get_by_role("status")).to_have_text("I2 is saved in cues.toml, version 2.")
    # what somebody writes is shown as it was written, and never becomes part of the page
    expect(hand.sheet.get_by_text("“Add a <b>beam</b>: over the near rafter.”")).to_be_visible()
    assert hand.sheet.locator("b").count() == 0
    visit.page.evaluate("document.body.dataset.jpThemeLight = 'false'")
    assert grave(visit.page, ".sheet") == {}
    cards = open_cards(app.folder / "out" / "cues.toml")
    assert cards.by_cue["I2"].card_text == "Add a <b>beam</b>: over the near rafter."
    assert cards.older["I2"] == (("1", "Start it over the far rafter."),)
