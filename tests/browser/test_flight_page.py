"""The ball-flight page as a trainee meets it: its physics against Python's, by keyboard, by touch, by screen reader."""

import re

import nbformat
import numpy as np
import pytest
from harness import PATIENCE_S, grave, open_notebook, open_page, run_all, settle
from playwright.sync_api import expect

from coachlab.errors import FlightError
from coachlab.physics.air import Air
from coachlab.physics.flight import fly
from coachlab.physics.impact import Delivery, check_delivery, strike
from coachlab.physics.shot import FLIGHT, LAUNCH
from coachlab.schema import CLUBS
from coachlab.widgets.controls import OFFERED_CLUBS, control_list, shot_at, start
from coachlab.widgets.single import flight_html

pytestmark = pytest.mark.browser

YARD_M, MPH_MPS = 0.9144, 0.44704
TOLERANCES = {
    "_m": 0.1 * YARD_M,  # what is asked of the twin: a tenth of a yard, a tenth of a degree
    "_deg": 0.1,
    "_mps": 0.01,  # of a kind with these: a hundredth of a m/s of ball speed is .02 yd of carry
    "_rpm": 1.0,
    "_s": 0.005,
}
SPANS = {
    "club_speed_mps": (15, 58),
    "attack_up_deg": (-9, 9),
    "path_out_deg": (-12, 12),
    "face_open_deg": (-12, 12),
    "strike_toe_mm": (-35, 35),
    "strike_high_mm": (-12, 12),
    "tail_mps": (-12, 12),
    "cross_mps": (-12, 12),
    "temperature_c": (-10, 45),
    "altitude_m": (0, 3000),
}
LOFTS = {"driver": (6, 20), "iron": (14, 38), "wedge": (30, 60)}


@pytest.fixture(scope="module")
def page_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "ball-flight.html"
    path.write_text(flight_html(), encoding="utf-8")
    return path


@pytest.fixture
def plain(visit, page_file):
    visit.page.goto(page_file.as_uri())
    visit.page.locator(".fp-why strong").first.wait_for()
    return visit


def ask(visit, code, argument=None):
    """What the page's interface answers."""
    return visit.page.evaluate(f"value => document.querySelector('.flight-page').flightPage.{code}", argument)


def answers(visit, many):
    """What the page computes for each of many controls, without being moved."""
    return visit.page.evaluate("all => all.map(document.querySelector('.flight-page').flightPage.answer)", many)


def random_controls(rng, n):
    found = []
    for at in range(n):
        club = OFFERED_CLUBS[at % 3]
        values = {name: float(rng.uniform(*span)) for name, span in SPANS.items()}
        values["delivered_loft_deg"] = float(rng.uniform(*LOFTS[CLUBS[club]])) + max(values["attack_up_deg"], 0.0)
        found.append({"club": club, "profile": ("uniform", "log")[at // 3 % 2], **values})
    return found


# The physics in the browser against Python's --------------------------------------------------------------------------


def test_five_hundred_random_shots_fly_as_in_python(plain):
    controls = random_controls(np.random.default_rng(500), 500)
    theirs = answers(plain, controls)
    assert sum(bool(answer["problem"]) for answer in theirs) == 0
    worst = dict.fromkeys((*FLIGHT, *LAUNCH), 0.0)
    for club in OFFERED_CLUBS:
        for profile in ("uniform", "log"):
            at = [i for i, one in enumerate(controls) if (one["club"], one["profile"]) == (club, profile)]
            assert len(at) > 80
            take = {name: np.array([controls[i][name] for i in at]) for name in (*SPANS, "delivered_loft_deg")}
            weather = ("tail_mps", "cross_mps", "temperature_c", "altitude_m")
            air = Air(profile=profile, **{name: take.pop(name) for name in weather})
            launch = strike(Delivery(**take), CLUBS[club])
            flight = fly(launch, air)
            for part, value, names in (("launch", launch, LAUNCH), ("flight", flight, FLIGHT)):
                for name in names:
                    apart = np.abs(getattr(value, name) - np.array([theirs[i][part][name] for i in at]))
                    worst[name] = max(worst[name], float(apart.max()))
    assert {name: off for name, off in worst.items() if off > TOLERANCES["_" + name.rpartition("_")[2]]} == {}


def test_ranges_and_the_arc_are_those_of_python(plain):
    for controls in random_controls(np.random.default_rng(12), 12):
        theirs, ours = ask(plain, "answer(value)", controls), shot_at(controls)
        for name, ends in ours.ranges.items():
            assert theirs["ranges"][name] == pytest.approx(ends, abs=TOLERANCES["_" + name.rpartition("_")[2]]), name
        for name in ("face_to_path_deg", "arc_azimuth_deg", "arc_bottom_fwd_mm"):
            assert theirs[name] == pytest.approx(getattr(ours, name), abs=1e-6), name


def test_the_page_refuses_what_python_refuses(plain):
    rng = np.random.default_rng(3)
    controls = []
    for one in random_controls(rng, 300):
        name = rng.choice([*SPANS][:6] + ["delivered_loft_deg", "strike_high_mm"])
        far = {"strike_toe_mm": 90, "strike_high_mm": 60, "club_speed_mps": 100, "delivered_loft_deg": 100}.get(
            name, 75
        )
        controls.append(one | {str(name): float(rng.uniform(-far, far))})
    theirs = [bool(answer["problem"]) for answer in answers(plain, controls)]
    ours = []
    for one in controls:
        delivery = {name: one[name] for name in Delivery.__dataclass_fields__}
        problem = bool(check_delivery(**delivery))
        if not problem:
            try:
                strike(Delivery(**delivery), CLUBS[one["club"]])
            except FlightError:
                problem = True
        ours.append(problem)
    assert 60 < sum(ours) < 240
    assert [one for one, a, b in zip(controls, theirs, ours, strict=True) if a != b] == []


# By hand --------------------------------------------------------------------------------------------------------------


def test_every_control_is_reached_by_keyboard_seen_there_and_changes_the_sentence(plain):
    page = plain.page
    order, seen = (
        [],
        page.evaluate(
            "[...document.querySelectorAll('.flight-page :is(select, input, button, summary)')].map(e => e.id || e.textContent)"
        ),
    )
    for _ in seen:
        page.keyboard.press("Tab")
        order.append(page.evaluate("document.activeElement.id || document.activeElement.textContent"))
        outline = page.evaluate(
            "(({outlineStyle, outlineWidth}) => [outlineStyle, parseFloat(outlineWidth)])(getComputedStyle(document.activeElement))"
        )
        assert outline[0] == "solid" and outline[1] >= 2, order[-1]
    assert order == seen

    ask(plain, "set({tail_mps: -4, cross_mps: 3})")  # or the kind of wind would change nothing
    why = page.locator(".fp-why")
    expect(why).to_have_attribute("aria-live", "polite")
    for control in control_list():
        before, carry = why.inner_text(), ask(plain, "read().flight")
        if "options" in control:
            box = page.get_by_role("combobox", name=control["label"], exact=True)
            box.focus()
            page.keyboard.press("ArrowDown")
        else:
            handle = page.get_by_role("slider").and_(page.locator(f"[id$='-{control['name']}']"))
            handle.focus()
            for _ in range(4):
                page.keyboard.press("ArrowRight")
        expect(why).not_to_have_text(before)
        expect(why).to_contain_text(f"{control['label']} made the difference", ignore_case=False)
        assert ask(plain, "read().flight") != carry, control["name"]


def test_labels_name_each_control_with_its_unit(plain):
    for control in control_list():
        if "options" in control:
            continue
        shown = control["shown"]["yards"]
        handle = plain.page.locator(f"[id$='-{control['name']}']")
        name = handle.evaluate("element => element.labels[0].textContent")
        assert name.startswith(control["label"]) and shown["unit"] in name
        assert handle.get_attribute("aria-valuetext")
        assert shown["unit"] in plain.page.locator(f"[id$='-{control['name']}-typed']").get_attribute("aria-label")


def test_the_arc_takes_the_path_along_unless_the_trainee_holds_it(plain):
    page = plain.page
    # six presses of one move, however slowly they come: the page takes what comes late for another move
    page.evaluate("at => (performance.now = () => at)", page.evaluate("performance.now()"))
    handle = page.locator("[id$='-attack_up_deg']")
    handle.focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    free = ask(plain, "read()")
    assert free["controls"]["path_out_deg"] == pytest.approx(-2.8, abs=0.1)  # 3 degrees, 1 / tan 47 each
    assert free["arc_azimuth_deg"] == pytest.approx(-1.4, abs=0.1)
    expect(page.locator(".fp-why")).to_contain_text("taking the path 2.8° left with it on this arc")
    page.get_by_role("checkbox", name="Hold the path by turning the arc").focus()
    page.keyboard.press("Space")
    handle.focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    held = ask(plain, "read()")
    assert held["controls"]["path_out_deg"] == free["controls"]["path_out_deg"]
    assert held["arc_azimuth_deg"] == pytest.approx(1.4, abs=0.1)
    expect(page.locator(".fp-why")).to_contain_text("with the arc turned 2.8° right to hold the path")
    expect(page.locator(".fp-arc")).to_contain_text("1.4° right")


@pytest.mark.parametrize(
    "name, typed, said",
    [
        ("delivered_loft_deg", "-3", "is not above attack −1.5°"),
        ("strike_toe_mm", "80", "80 mm from the centre is off the face"),
        ("club_speed_mps", "0", "strikes no ball"),
        ("attack_up_deg", "15", "Loft 14.0° is not above attack +15.0°"),
        ("arc_bottom_fwd_mm", "-200", "would miss the ball"),
        ("strike_high_mm", "-39", ""),
    ],
)
def test_what_cannot_be_is_told_beside_its_control_and_the_last_good_flight_stays(plain, name, typed, said):
    page = plain.page
    good = ask(plain, "read()")
    field = page.locator(f"[id$='-{name}-typed']")
    field.fill(typed)
    trouble = page.locator(f"[id$='-{name}-trouble']")
    if not said:
        expect(page.locator(".fp-why")).to_contain_text("made the difference")
        expect(trouble).to_be_hidden()
        return
    expect(trouble).to_contain_text(said)
    assert field.get_attribute("aria-describedby") == trouble.get_attribute("id")
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(page.locator(".fp-why")).to_contain_text("No such shot")
    now = ask(plain, "read()")
    assert now["flight"] == good["flight"] and said in now["problem"]
    field.fill({"club_speed_mps": "80"}.get(name, "4"))
    expect(trouble).to_be_hidden()
    assert ask(plain, "read()")["flight"] != good["flight"]


@pytest.mark.parametrize(
    "name, typed, said",
    [
        ("club_speed_mps", "999", "999 mph is outside 0 to 178 mph"),
        ("club_speed_mps", "-5", "−5 mph is outside 0 to 178 mph"),
        ("face_open_deg", "99", "99° is outside −60 to 60°"),
        ("arc_bottom_fwd_mm", "-400", "−400 cm is outside −"),
        ("delivered_loft_deg", "120.5", "120.5° is above 85°"),
        ("cross_mps", "-95", "−95 mph is outside −89 to 89 mph"),
    ],
)
def test_an_impossible_number_is_told_at_its_box_and_in_the_sentence_while_the_last_good_flight_is_called_so(
    plain, name, typed, said
):
    page, good = plain.page, ask(plain, "read()")
    assert pixels(page, "faceText") == 0
    field, trouble = page.locator(f"[id$='-{name}-typed']"), page.locator(f"[id$='-{name}-trouble']")
    field.fill(typed)
    page.keyboard.press("Tab")
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(field).to_have_value(re.compile(rf"^{re.escape(typed)}(\.0)?$"))
    expect(trouble).to_contain_text(said)
    expect(page.locator(".fp-why")).to_contain_text(f"No such shot: {said}")
    expect(page.locator(".fp-why")).to_contain_text("; the last good flight stays.")
    expect(page.locator(".fp-why")).not_to_contain_text("move a control")
    expect(page.get_by_role("columnheader").first).to_have_text("last good")
    assert pixels(page, "faceText") > 50 and pixels(page, "flight") > 300  # the words over the flight, and the flight
    assert ask(plain, "read()")["flight"] == good["flight"]
    # an emptied box goes back to the last good number
    field.fill("")
    page.keyboard.press("Tab")
    expect(trouble).to_be_hidden()
    expect(page.get_by_role("columnheader").first).to_have_text("now")
    expect(field).to_have_attribute("aria-invalid", "false")
    assert ask(plain, "read()")["controls"] == pytest.approx(good["controls"]) and pixels(page, "faceText") == 0
    settle(plain)
    shown = field.input_value()
    assert shown
    field.fill("")
    page.keyboard.press("Tab")
    expect(field).to_have_value(shown)


def test_what_is_given_stands_also_where_it_is_what_it_was(plain):
    free = ask(plain, "set({attack_up_deg: 3})")["controls"]
    assert abs(free["path_out_deg"]) > 3  # the arc takes it along
    ask(plain, "set({attack_up_deg: -1.5, path_out_deg: 2})")
    held = ask(plain, "set({attack_up_deg: 3, path_out_deg: 2})")
    assert held["controls"]["path_out_deg"] == 2
    assert "with the arc turned" in held["why"] and "taking the path" not in held["why"]
    same = {"club": "iron-7", "club_speed_mps": held["controls"]["club_speed_mps"], "path_out_deg": 2}
    iron = ask(plain, "set(value)", same)["controls"]
    assert {name: iron[name] for name in same} == same


def test_numbers_to_the_side_say_their_side_in_words_and_a_range_of_one_number_is_one(plain):
    page = plain.page

    def row(name):
        return page.get_by_role("row", name=name).get_by_role("cell").all_inner_texts()

    assert row("Lands to the side")[:2] == ["0 yd", "0"]
    assert row("Starts sideways")[:2] == ["0.0°", "0.0"]
    ask(plain, "set({face_open_deg: 4})")
    now, between, before = row("Lands to the side")
    assert re.fullmatch(r"\d+ yd right", now) and re.fullmatch(r"\d+ to \d+ right", between) and before == "0"
    ask(plain, "set({face_open_deg: -4})")
    now, between, before = row("Lands to the side")
    assert re.fullmatch(r"\d+ yd left", now) and re.fullmatch(r"\d+ right", before)
    near, far = map(int, re.fullmatch(r"(\d+) to (\d+) left", between).groups())
    assert near < far


def test_a_control_is_offered_in_words_only_where_one_can_be_moved(plain):
    why = plain.page.locator(".fp-why")
    expect(why).to_contain_text("Now move a control")
    ask(plain, "offer(['hold_path'])")
    expect(why).to_contain_text("carries")
    expect(why).not_to_contain_text("move a control")
    ask(plain, "offer([])")
    expect(why).to_contain_text("Now move a control")


RECORDER = """() => {
    window.drawn = [];
    const pens = CanvasRenderingContext2D.prototype;
    let points = [];
    const wrap = (name, note) => {
        const was = pens[name];
        pens[name] = function (...args) { note(this, args); return was.apply(this, args); };
    };
    wrap("beginPath", () => (points = []));
    for (const name of ["moveTo", "lineTo"]) wrap(name, (_, [x, y]) => points.push([x, y]));
    const view = (pen) => (pen.canvas.closest(".fp-flights") ? "flights" : "strikes");
    wrap("stroke", (pen) => window.drawn.push({ view: view(pen), points: [...points], colour: pen.strokeStyle }));
    wrap("fillText", (pen, [text, x, y]) =>
        window.drawn.push({ view: view(pen), text, box: [x, y - 6, x + pen.measureText(text).width, y + 6] }));
}"""
"""Notes down what is drawn from now on: lines with their points, words with the box that their letters fill."""


def crosses(points, box):
    """Whether a line through some points goes through a box."""
    ends = np.asarray(points, dtype=float)
    if len(ends) < 2:
        return False
    share = np.linspace(0, 1, 60)[:, None, None]
    along = (ends[:-1] * (1 - share) + ends[1:] * share).reshape(-1, 2)
    return bool(np.any((along > box[:2]).all(axis=1) & (along < box[2:]).all(axis=1)))


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_words_in_pictures_and_table_have_room(browser, page_file, width):
    with open_page(browser, width, 900) as visit:
        visit.page.goto(page_file.as_uri())
        visit.page.locator(".fp-why strong").first.wait_for()
        visit.page.evaluate(RECORDER)
        for moved in (
            {"club": "iron-7", "face_open_deg": -4, "path_out_deg": 3, "attack_up_deg": -5},
            {"club": "driver", "face_open_deg": 3, "path_out_deg": 5, "cross_mps": 6},
            {"club": "wedge-pw", "face_open_deg": 6, "path_out_deg": -4, "cross_mps": 0, "attack_up_deg": -9},
            {"face_open_deg": 12, "path_out_deg": -12},
            {"face_open_deg": -12, "path_out_deg": 9},
        ):
            visit.page.evaluate("window.drawn.length = 0")
            ask(visit, "set(value)", moved)
            drawn = visit.page.evaluate("window.drawn")
            table = visit.page.locator(".fp-numbers table").evaluate(
                "e => [e.scrollWidth, e.parentElement.clientWidth]"
            )
            assert table[0] <= table[1]
            last = max(at for at, each in enumerate(drawn) if each.get("text") == "strike, from above")
            strike = drawn[last - 2 :]  # its two names come just before
            words = {each["text"]: (at, each["box"]) for at, each in enumerate(strike) if "text" in each}
            assert {text.split()[0] for text in words} >= {"path", "face", "strike,", "arc,", "attack", "lowest"}
            over = [
                (t, x["points"])
                for t, (at, box) in words.items()
                for x in strike[at:]
                if "points" in x and crosses(x["points"], box)
            ]
            assert over == []
            soft = next(
                each["points"] for each in strike if len(each.get("points", [])) > 20
            )  # the head's way, face-on
            assert [text for text, (_, box) in words.items() if crosses(soft, box)] == []
            lowest = next(box for text, (_, box) in words.items() if text.startswith("lowest"))
            tips = [each["points"][-1] for each in strike if len(each.get("points", [])) == 2]
            assert not [y for x, y in tips if y > lowest[1] - 4 and lowest[0] < x < lowest[2]]  # paper hides no arrow
            flights = [each for each in drawn if each["view"] == "flights"]
            landing = [each for each in flights if re.match(r"\d+ (yd|m), ", each.get("text", ""))][-1]
            shape = [each for each in flights if "points" in each and each["colour"] == colour(visit.page, "band")][-1]
            assert not crosses(shape["points"], landing["box"])


def colour(page, name):
    return page.evaluate(
        "name => getComputedStyle(document.querySelector('.flight-page')).getPropertyValue(`--fp-${name}`).trim()", name
    )


def test_a_page_that_begins_with_what_cannot_be_tells_it_too(visit, tmp_path):
    # its content policy goes, since the changed script has another hash
    text = re.sub(r"<meta http-equiv.*?>", "", flight_html())
    options = '{ system: "yards" }'
    assert options in text
    page = tmp_path / "page.html"
    page.write_text(text.replace(options, '{ system: "yards", controls: { delivered_loft_deg: -5 } }'), "utf-8")
    visit.page.goto(page.as_uri())
    expect(visit.page.get_by_role("alert")).to_contain_text("Loft −5.0° is not above attack")
    expect(visit.page.locator(".fp-why")).to_contain_text("No such shot")
    assert ask(visit, "read()")["flight"]["carry_m"] > 100


def test_yards_and_metres_are_the_same_flight(plain):
    carry = ask(plain, "read()")["flight"]["carry_m"]
    cell = plain.page.get_by_role("row", name="Carry").get_by_role("cell").first
    expect(cell).to_have_text(f"{carry / YARD_M:.0f} yd")
    plain.page.get_by_role("combobox", name="Show in").select_option("metres")
    expect(cell).to_have_text(f"{carry:.0f} m")
    assert ask(plain, "read()")["flight"]["carry_m"] == carry


def test_a_flight_can_be_kept_and_all_begins_again(plain):
    page = plain.page
    page.get_by_role("button", name="Keep this flight to compare").click()
    for name in ("face_open_deg", "delivered_loft_deg"):
        page.locator(f"[id$='-{name}']").focus()
        page.keyboard.press("ArrowRight")
    expect(page.locator(".fp-why")).to_contain_text("Of the 2 controls moved,")
    page.get_by_role("button", name="Start again").click()
    expect(page.locator(".fp-why")).to_contain_text("Now move a control")
    assert ask(plain, "read()")["controls"] == start() | {"hold_path": False}


def test_an_exercise_can_set_aim_lock_and_hide(plain):
    page = plain.page
    with pytest.raises(Exception, match="There is no control loft"):
        ask(plain, "set({loft: 3})")
    blank = pixels(page, "target")
    ask(plain, "target({carry_m: 180, side_m: 10, radius_m: 8, label: 'land here'})")
    assert pixels(page, "target") > blank + 30
    ask(plain, "offer(['face_open_deg'])")
    assert page.locator("[id$='-face_open_deg']").is_enabled()
    assert page.locator("[id$='-path_out_deg']").is_disabled()
    ask(plain, "hide(['flight', 'why', 'numbers'])")
    assert pixels(page, "flight") == 0
    expect(page.locator(".fp-why")).to_be_hidden()
    expect(page.get_by_role("table")).to_be_hidden()
    assert "carries" not in page.locator(".fp-flights canvas").get_attribute("aria-label")
    ask(plain, "hide([])")
    assert pixels(page, "flight") > 300


def pixels(page, colour):
    """How many pixels of the flight's picture have a colour of the page's own, within what smoothing leaves."""
    return page.evaluate(
        """name => {
            const root = document.querySelector(".flight-page");
            const probe = document.createElement("canvas").getContext("2d");
            probe.fillStyle = getComputedStyle(root).getPropertyValue(`--fp-${name}`).trim();
            probe.fillRect(0, 0, 1, 1);
            const [r, g, b] = probe.getImageData(0, 0, 1, 1).data;
            const canvas = root.querySelector(".fp-flights canvas");
            const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
            let count = 0;
            for (let i = 0; i < data.length; i += 4)
                if (Math.abs(data[i] - r) + Math.abs(data[i + 1] - g) + Math.abs(data[i + 2] - b) < 6) count += 1;
            return count;
        }""",
        colour,
    )


# For everybody --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_grave_is_found_by_the_checker_of_accessibility(plain, scheme):
    plain.page.emulate_media(color_scheme=scheme)
    assert grave(plain.page, ".flight-page") == {}
    plain.page.locator("[id$='-delivered_loft_deg-typed']").fill("-3")
    expect(plain.page.get_by_role("alert")).to_be_visible()
    assert grave(plain.page, ".flight-page") == {}


def test_the_checker_finds_what_is_wrong(plain):
    plain.page.evaluate("document.querySelector('.flight-page label').remove()")
    assert "select-name" in grave(plain.page, ".flight-page") or "label" in grave(plain.page, ".flight-page")


def test_nothing_moves_by_itself_where_less_motion_is_wanted(plain):
    plain.page.emulate_media(reduced_motion="reduce")
    moving = plain.page.evaluate(
        "[...document.querySelectorAll('.flight-page *')].filter(e => parseFloat(getComputedStyle(e).transitionDuration)"
        " || getComputedStyle(e).animationName !== 'none').length"
    )
    assert moving == 0


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_the_page_fits_its_width(browser, page_file, width):
    with open_page(browser, width, 800) as visit:
        visit.page.goto(page_file.as_uri())
        visit.page.locator(".fp-why strong").first.wait_for()
        settle(visit)
        assert visit.page.evaluate("document.documentElement.scrollWidth") == width
        assert visit.console == [] and visit.outside == []


def test_a_finger_moves_a_slider_on_a_phone_while_the_flight_stays_in_sight(browser, page_file):
    context = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True)
    try:
        page = context.new_page()
        page.set_default_timeout(PATIENCE_S * 1000)
        page.goto(page_file.as_uri())
        page.locator(".fp-why strong").first.wait_for()
        handle = page.locator("[id$='-face_open_deg']")
        handle.scroll_into_view_if_needed()
        box = handle.bounding_box()
        assert box["height"] >= 36
        page.touchscreen.tap(box["x"] + 0.75 * box["width"], box["y"] + box["height"] / 2)
        expect(page.locator(".fp-why")).to_contain_text("Face made the difference")
        sight = page.locator(".fp-flights canvas").bounding_box()
        assert sight["y"] >= 0 and sight["y"] + sight["height"] <= 740
    finally:
        context.close()


# In the notebooks -----------------------------------------------------------------------------------------------------


def test_it_lives_in_jupyterlab_and_talks_with_python(lab, visit):
    code = (
        "import coachlab as cl\nimport ipywidgets as w\n"
        "page, heard, button = cl.flight_page(), w.Label(), w.Button(description='Open the face')\n"
        "def hear(change):\n"
        "    state = change['new']\n"
        "    carry = page.shot.flight.carry_m - state['flight']['carry_m']\n"
        "    heard.value = f\"face {state['controls']['face_open_deg']:.1f}, apart {abs(carry):.3f} m\"\n"
        "page.observe(hear, 'reading')\n"
        "button.on_click(lambda _: setattr(page, 'controls', {'face_open_deg': 3.0}))\n"
        "anew = w.Button(description='Begin anew')\n"
        "anew.on_click(lambda _: page.begin({'face_open_deg': -1.0}))\n"
        "w.VBox([page, button, anew, heard])"
    )
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    cells = [nbformat.v4.new_code_cell(code, id="talk"), nbformat.v4.new_markdown_cell("The next cell.", id="next")]
    talk = nbformat.v4.new_notebook(cells=cells, metadata={"kernelspec": kernel})
    nbformat.write(talk, lab.folder / "notebooks" / "talk.ipynb")
    open_notebook(visit, lab, "talk.ipynb")
    run_all(visit)
    page = visit.page
    heard = page.locator(".widget-label", has_text="face ")
    page.get_by_role("button", name="Open the face").click()
    expect(heard).to_have_text("face 3.0, apart 0.000 m")
    expect(page.locator(".fp-why")).to_contain_text("Face made the difference: it went from 0.0° to 3.0° right")
    page.locator("[id$='-face_open_deg']").focus()
    page.keyboard.press("ArrowRight")
    expect(heard).to_have_text("face 3.5, apart 0.000 m")
    expect(page.locator("[id$='-face_open_deg']")).to_be_focused()
    # arrow keys on a choice are the choice's, although the cell is selected and JupyterLab would go to the next one
    club = page.get_by_role("combobox", name="Club", exact=True)
    cell = page.evaluate("window.jupyterapp.shell.currentWidget.content.activeCellIndex")
    page.evaluate("window.jupyterapp.shell.currentWidget.content.mode = 'command'")
    club.focus()
    page.keyboard.press("ArrowDown")
    expect(club).to_have_value("iron-7")
    assert page.evaluate("window.jupyterapp.shell.currentWidget.content.activeCellIndex") == cell
    expect(club).to_be_focused()
    club.select_option("driver")
    settle(visit)
    expect(heard).to_contain_text("face 3.5")
    light = page.evaluate("getComputedStyle(document.querySelector('.flight-page')).backgroundColor")
    page.evaluate("window.jupyterapp.commands.execute('apputils:change-theme', {theme: 'JupyterLab Dark'})")
    page.wait_for_function(
        "light => getComputedStyle(document.querySelector('.flight-page')).backgroundColor !== light", arg=light
    )
    settle(visit)  # the page draws once the theme is loaded
    assert pixels(page, "flight") > 300  # in the dark theme's own blue
    assert grave(page, ".flight-page") == {}
    page.get_by_role("button", name="Begin anew").click()
    expect(heard).to_have_text("face -1.0, apart 0.000 m")
    expect(page.locator(".fp-why")).to_contain_text("Now move a control")
    assert visit.errors == []


def test_it_lives_in_the_app(app, visit):
    open_notebook(visit, app, "ball-flight.ipynb")
    why = visit.page.locator(".fp-why")
    expect(why).to_contain_text("carries")
    visit.page.locator("[id$='-attack_up_deg']").focus()
    visit.page.keyboard.press("ArrowRight")
    expect(why).to_contain_text("Attack made the difference")
    assert pixels(visit.page, "flight") > 300
    assert grave(visit.page, ".flight-page") == {}
    assert visit.errors == []
