"""The drills as a trainee meets them: answered by keyboard, told to a screen reader, on a phone."""

import nbformat
import pytest
from harness import grave, open_notebook, run_all, settle
from playwright.sync_api import expect

import coachlab as cl
from coachlab.drills import GROUPS

pytestmark = pytest.mark.browser


def lay(server, name, group, seed):
    """A copy of the notebook that begins with a known question."""
    notebook = nbformat.read(server.folder / "notebooks" / "drills.ipynb", as_version=4)
    cell = next(cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", []))
    cell.source = f'folder = "../out/trainees"\ngroup = "{group}"\nseed = {seed}'
    nbformat.write(notebook, server.folder / "notebooks" / name)


def test_a_question_is_answered_by_keyboard_and_the_flight_is_seen(lab, visit):
    lay(lab, "drilled.ipynb", "start", 3)
    open_notebook(visit, lab, "drilled.ipynb")
    run_all(visit)
    drill = visit.page.get_by_role("region", name="Predict, then see")
    expect(drill.get_by_role("combobox", name="About")).to_have_value("start")
    options = drill.get_by_role("radio")
    expect(options).to_have_count(4)
    # no control of the page can be moved before the answer, and none is spoken of
    expect(visit.page.get_by_role("slider", name="Face", exact=False)).to_have_count(0)
    expect(visit.page.locator(".fp-why")).not_to_contain_text("move a control")
    options.first.focus()
    visit.page.keyboard.press("Space")
    visit.page.keyboard.press("ArrowDown")
    expect(options.nth(1)).to_be_checked()
    visit.page.keyboard.press("Enter")
    marking = drill.locator(".drill-marking")
    expect(marking).to_have_attribute("aria-live", "polite")
    expect(marking).to_contain_text("Not so.")
    expect(marking).to_contain_text("On the page")
    page = visit.page.get_by_role("region", name="Ball flight")
    expect(page.locator(".fp-before").first).not_to_be_empty()
    expect(page.get_by_role("slider").first).to_be_enabled()
    expect(visit.page.locator(".drill-links")).to_contain_text("weak: comes back soon")

    # the button for the next question has the focus
    visit.page.keyboard.press("Enter")
    expect(marking).to_be_empty()
    expect(drill.get_by_role("button", name="Answer, then see")).to_be_visible()
    assert visit.errors == []


def test_a_number_is_typed_with_its_side_and_the_answers_are_kept_under_a_pseudonym(lab, visit):
    lay(lab, "numbered.ipynb", "arc", 0)
    open_notebook(visit, lab, "numbered.ipynb")
    run_all(visit)
    drill = visit.page.get_by_role("region", name="Predict, then see")
    fold = drill.locator("summary")
    expect(fold).to_have_text("Answers are not kept")
    fold.focus()
    visit.page.keyboard.press("Enter")
    drill.get_by_label("A word of your own").fill("blue heron")
    visit.page.keyboard.press("Enter")
    expect(fold).to_contain_text("Answers are kept as s-")
    amount = drill.get_by_label("Your answer")
    amount.fill("many")
    visit.page.keyboard.press("Enter")
    expect(drill.get_by_role("alert")).to_contain_text("Give a number in degrees, and choose right or left beside it")
    amount.fill("999")
    visit.page.keyboard.press("Enter")
    expect(drill.get_by_role("alert")).to_contain_text("999° is more than a ball or a swing can do")
    amount.fill("5")
    drill.get_by_label("to which side").select_option("left")
    amount.press("Enter")
    expect(drill.locator(".drill-marking")).to_contain_text("you said 5.0° left")
    settle(visit)
    folder = lab.folder / "out" / "trainees"
    kept = [path.read_text(encoding="utf-8") for path in folder.glob("*.json")]
    assert len(kept) == 1 and "5.0\\u00b0 left" in kept[0].replace("°", "\\u00b0") and "heron" not in kept[0]
    assert visit.errors == []


def test_a_group_is_explained_in_the_app_and_fits_a_phone(app, visit):
    visit.page.set_viewport_size({"width": 360, "height": 800})
    lay(app, "told.ipynb", "curve", 1)
    open_notebook(visit, app, "told.ipynb")
    drill = visit.page.get_by_role("region", name="Predict, then see")
    drill.get_by_role("button", name="Explain it first").click()
    expect(drill.get_by_role("heading", name="Curve")).to_be_visible()
    shows = drill.get_by_role("button", name="Show: ")
    expect(shows).to_have_count(4)
    shows.nth(3).click()
    page = visit.page.get_by_role("region", name="Ball flight")
    expect(page.locator(".fp-why")).to_contain_text("to the left")
    settle(visit)
    assert visit.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth + 1")


def test_the_page_flies_exactly_what_is_explained_and_asked(lab, visit):
    lay(lab, "flown.ipynb", "distance", 4)
    open_notebook(visit, lab, "flown.ipynb")
    run_all(visit)
    drill = visit.page.get_by_role("region", name="Predict, then see")

    # attack changes and the path does not, although the page's arc would take it along
    question = cl.drill_progress().next("distance", seed=4)
    assert question.before["attack_up_deg"] != question.after["attack_up_deg"]
    drill.get_by_role("radio").first.check()
    drill.get_by_role("button", name="Answer, then see").click()
    expect(drill.locator(".drill-marking")).not_to_be_empty()
    settle(visit)
    assert shown(visit, question.after) == pytest.approx(numbers(question.after), abs=1e-9)

    drill.get_by_role("button", name="Explain it first").click()
    for group, title in GROUPS.items():
        drill.get_by_role("combobox", name="About").select_option(group)
        expect(drill.get_by_role("heading", name=title)).to_be_visible()
        for at, step in enumerate(cl.explain_flight(group).steps):
            drill.get_by_role("button", name="Show: ").nth(at).click()
            settle(visit)
            assert shown(visit, step.after) == pytest.approx(numbers(step.after), abs=1e-9), (group, at)
    assert visit.errors == []


def numbers(controls):
    return {name: value for name, value in controls.items() if name != "club"}


def shown(visit, controls):
    """Where the page's controls stand, those that a question names."""
    read = visit.page.evaluate("document.querySelector('.flight-page').flightPage.read().controls")
    assert read["club"] == controls["club"]
    return {name: read[name] for name in numbers(controls)}


@pytest.mark.parametrize("told", [False, True])
def test_a_checker_of_accessibility_finds_nothing_serious(lab, visit, told):
    lay(lab, "checked.ipynb", "strike", 1)
    open_notebook(visit, lab, "checked.ipynb")
    run_all(visit)
    drill = visit.page.get_by_role("region", name="Predict, then see")
    if told:
        drill.get_by_role("radio").first.check()
        drill.get_by_role("button", name="Answer, then see").click()
        expect(drill.locator(".drill-marking")).not_to_be_empty()
    assert grave(visit.page, ".drill") == {}
