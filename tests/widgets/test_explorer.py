"""The explorer without a browser: the value that it shows, and the panel that shows it."""

import asyncio
import gc
import io
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from PIL import Image

import coachlab as cl
from coachlab.claims import matches
from coachlab.cues.compare import pattern_shifts
from coachlab.errors import DataError
from coachlab.intake.shots import Shots
from coachlab.settings import Settings
from coachlab.widgets import explorer
from coachlab.widgets.advice import CAUTION, next_steps
from coachlab.widgets.page import draw_view, view_html
from coachlab.widgets.view import Choice, explorer_view

CLAIMED_TOO_MUCH = re.compile(r"\b(works|fix(es)?|proven|significant|responders?|best|caused?)\b", re.IGNORECASE)


@pytest.fixture(scope="module")
def academy():
    return cl.simulate_academy(students=24, seed=3, rogue=False, cues=["S1", "S2", "I1", "I2"], lessons=4, coaches=3)


@pytest.fixture(scope="module")
def view(academy):
    return explorer_view(academy.shots, Choice(), academy.cues)


@pytest.fixture
def panel(academy):
    return cl.explore_cues(academy.shots, academy.cues)


# The value ------------------------------------------------------------------------------------------------------------


def test_the_view_holds_what_the_public_functions_give(view, academy):
    table = cl.model_table(academy.shots, cues=academy.cues)
    by_cue = cl.cue_shifts(table).table.set_index("cue")
    pd.testing.assert_frame_equal(view.shifts.table.set_index("cue").loc[by_cue.index], by_cue)
    own = pattern_shifts(table).table.sort_values(["cue", "at"], ignore_index=True)
    pd.testing.assert_frame_equal(view.patterns.table.sort_values(["cue", "at"], ignore_index=True), own)
    assert view.flow["shots"].iloc[-1] == len(table)
    assert view.account == academy.shots.text()


def test_every_claim_is_one_that_its_grade_allows(view):
    grade = dict(zip(view.grades["cue"], view.grades["grade"], strict=True))
    assert len(view.claims) >= 8
    assert [row for row in view.claims.itertuples() if not matches(row.sentence, grade[row.cue])] == []
    assert [sentence for sentence in view.general if not matches(sentence, "all")] == []
    assert any("Academy" in sentence or "academy" in sentence for sentence in view.general)


def test_a_family_and_a_single_cue_are_parts_of_the_whole(view, academy):
    known = {}
    whole = view.shifts.table.set_index("cue")
    for choice, cues in [(Choice(family="setup"), ["S1", "S2"]), (Choice(cue="I2"), ["I2"])]:
        part = explorer_view(academy.shots, choice, academy.cues, known=known)
        assert sorted(part.shifts.table["cue"]) == cues
        pd.testing.assert_frame_equal(part.shifts.table.set_index("cue"), whole.loc[part.shifts.table["cue"]])
        assert set(part.patterns.table["cue"]) == set(cues)
        names = [view.shifts.names[cue] for cue in cues]
        assert set(part.claims["cue"]) == set(names)
        assert any(view.shifts.notes[cue] for cue in view.shifts.names if cue not in cues)
        assert not any(name in part.shifts._repr_html_() for name in view.shifts.names.values() if name not in names)
        mine = academy.shots.table["cue"].isin(cues) & (academy.shots.table["phase"] == "cue")
        lessons = academy.shots.table.loc[mine, "session"].nunique()
        assert lessons < academy.shots.table["session"].nunique()
        assert part.flow["shots"].iloc[-1] < view.flow["shots"].iloc[-1]


def test_what_is_known_already_changes_no_answer(academy):
    known = {}
    explorer_view(academy.shots, Choice(outcome="path_out_deg"), academy.cues, known=known)
    again = explorer_view(academy.shots, Choice(outcome="path_out_deg", direction=-1), academy.cues, known=known)
    fresh = explorer_view(academy.shots, Choice(outcome="path_out_deg", direction=-1), academy.cues)
    pd.testing.assert_frame_equal(again.shifts.table, fresh.shifts.table)
    pd.testing.assert_frame_equal(again.patterns.table, fresh.patterns.table)
    assert again.next_steps == fresh.next_steps


def test_the_shots_and_the_cards_stay_as_they_were(academy):
    shots, cues = academy.shots.table.copy(), academy.cues.copy()
    explorer_view(academy.shots, Choice(coach="c1"), academy.cues)
    pd.testing.assert_frame_equal(academy.shots.table, shots)
    pd.testing.assert_frame_equal(academy.cues, cues)


def test_a_cue_tried_by_fewer_than_five_students_appears_nowhere_but_in_the_reason(academy):
    shots = only_some(academy.shots, "S2", students=4)
    view = explorer_view(shots, Choice(), academy.cues)
    assert "S2" not in set(view.shifts.table["cue"]) | set(view.patterns.table["cue"])
    assert "S2" not in set(view.shifts.students["cue"])
    assert view.hidden == ("S2: tried by fewer than 5 students, so not shown; a small group can give a person away.",)
    text = "".join(view_html(view).values()) + view.picture
    assert text.count("S2") == 1
    alone = explorer_view(shots, Choice(cue="S2"), academy.cues)
    assert alone.shifts is None
    assert alone.picture.startswith("No picture: S2: tried by fewer than 5")


def test_five_students_are_shown_but_get_no_mean(academy):
    view = explorer_view(only_some(academy.shots, "S2", students=5), Choice(), academy.cues)
    row = view.shifts.table.set_index("cue").loc["S2"]
    assert row["students"] == 5
    assert np.isnan(row["estimate"])
    assert view.hidden == ()


def test_the_small_group_limit_is_the_academys(academy):
    strict = Settings(small_group_students=12)
    assert explorer_view(only_some(academy.shots, "S2", students=11), Choice(), academy.cues, strict).hidden
    assert not explorer_view(only_some(academy.shots, "S2", students=12), Choice(), academy.cues, strict).hidden


def test_a_coach_of_eight_students_is_shown_and_one_of_seven_is_not(academy):
    shots = taught_by(academy.shots, "tina", students=8)
    enough = explorer_view(shots, Choice(coach="tina"), academy.cues)
    assert enough.shifts.students["student"].nunique() <= 8
    assert set(enough.shifts.students["coach"]) == {"tina"}
    fewer = explorer_view(taught_by(academy.shots, "tina", students=7), Choice(coach="tina"), academy.cues)
    assert fewer.shifts is None
    assert fewer.hidden[0].startswith("tina taught fewer than 8 students with 7-iron.")
    assert "all coaches" in fewer.next_steps[0]
    assert fewer.caution == CAUTION


def test_the_wanted_direction_turns_the_verdict_and_not_the_estimate(academy):
    up, down = (explorer_view(academy.shots, Choice(direction=way), academy.cues) for way in (1, -1))
    pd.testing.assert_series_equal(up.shifts.table["estimate"], down.shifts.table["estimate"])
    verdicts = [found.shifts.table.set_index("cue")["verdict"] for found in (up, down)]
    assert verdicts[0]["I1"] == "wrong way"
    assert verdicts[1]["I1"] == "useful"


def test_next_steps_send_each_cue_to_the_student_who_needs_its_change(view):
    some = view.shifts.table.set_index("cue")
    some["verdict"] = ["useful", "useful", "useful", "not yet clear"]
    some["estimate"] = [1.2, -1.3, 1.1, 0.4]
    some["grade"] = "A"
    shifts = replace(view.shifts, table=some.reset_index())
    up, down, how, unclear = next_steps(shifts)
    first, second, third, fourth = (shifts.names[cue] for cue in some.index)
    assert up == f"For a student who needs a higher attack: let a draw choose between {first} and {third}."
    assert down == f"For a student who needs a lower attack: offer {second}."
    assert "does not rank" in how
    assert unclear.startswith(f"Not yet clear: {fourth}.")


def test_a_log_of_chosen_cues_is_told_to_draw_the_order_and_ranks_nothing():
    chosen = cl.simulate_academy(students=20, seed=4, design="chosen", cues=["S1", "I1"], lessons=2, rogue=False)
    view = explorer_view(chosen.shots, Choice(), chosen.cues)
    assert set(view.grades["grade"]) <= {"C", "D"}
    assert len(view.next_steps) == 1
    assert "let the kit draw the order" in view.next_steps[0]
    assert all("not yet clear" in sentence for sentence in view.claims["sentence"] if "interval" in sentence)


def test_a_log_without_any_baseline_is_counted_and_not_compared():
    log = cl.simulate_academy(students=20, seed=4, design="log-only", cues=["S1", "I1"], lessons=2, rogue=False)
    view = explorer_view(log.shots, Choice(), log.cues)
    assert set(view.grades["grade"]) == {"D"}
    assert view.shifts.table["estimate"].isna().all()
    assert view.claims.groupby("cue")["sentence"].first().str.contains("counted and not compared").all()


@pytest.mark.parametrize("outcome", ["path_out_deg", "face_to_path_deg", "club_speed_mps"])
def test_next_steps_claim_nothing_new(academy, outcome):
    steps = explorer_view(academy.shots, Choice(outcome=outcome), academy.cues).next_steps
    assert steps
    assert not CLAIMED_TOO_MUCH.search(" ".join(steps))


def test_units_are_the_academys_in_every_sentence(academy):
    metres = explorer_view(academy.shots, Choice(outcome="carry_m"), academy.cues, Settings(units="metres"))
    yards = explorer_view(academy.shots, Choice(outcome="carry_m"), academy.cues)
    assert "within 3.0 m either side" in metres.picture
    assert "within 3.3 yd either side" in yards.picture
    assert not re.search(r"\d (yd|mph)", "".join(view_html(metres).values()))


def test_what_cannot_be_asked_is_an_error_in_three_parts(academy):
    with pytest.raises(DataError) as caught:
        explorer_view(academy.shots, Choice(club="driver"), academy.cues)
    assert all((caught.value.asked, caught.value.found, caught.value.do))


# The panel ------------------------------------------------------------------------------------------------------------


def test_the_panel_opens_with_a_picture_its_text_and_all_sections(panel):
    assert Image.open(io.BytesIO(panel.picture.png)).size[0] >= 1000
    assert panel.picture.alt == panel.view.picture
    assert panel.picture.caption.startswith("Average shift of 7-iron attack for 4 cues")
    text = "".join(section.value for section in panel.sections.values())
    for words in ("What may be said", "What to do next", "Where the shots went", "grade A", CAUTION):
        assert words.replace("'", "&#x27;") in text
    assert panel.trouble.value == ""


def test_every_control_has_a_name_and_can_be_moved_to_each_of_its_options(panel):
    assert all(control.description for control in panel.controls.values())
    for name, control in panel.controls.items():
        start = control.value
        for _, value in control.options:
            control.value = value
            assert panel.trouble.value == ""
            assert getattr(panel.view.choice, name) == (None if value == 0 else value)
            # an index of None would leave the control blank on the page
            assert all(other.index is not None for other in panel.controls.values())
        control.value = start
    assert panel.view.choice == Choice(pattern="attack_up_deg")


def test_moving_a_control_changes_picture_alternative_and_sentences(panel):
    before = panel.picture.png, panel.picture.alt, panel.sections["said"].value
    panel.controls["outcome"].value = "path_out_deg"
    after = panel.picture.png, panel.picture.alt, panel.sections["said"].value
    assert all(old != new for old, new in zip(before, after, strict=True))
    assert panel.controls["pattern"].value == "path_out_deg"
    assert [words for words, _ in panel.controls["direction"].options][1:] == ["further out", "further in"]


def test_a_closer_look_at_one_cue_opens_what_is_folded_elsewhere(panel):
    assert "<details open>" not in panel.sections["said"].value
    panel.controls["cue"].value = "I2"
    assert panel.picture.alt.startswith("Plain and cue mean of 7-iron attack of")
    assert "<details open>" in panel.sections["said"].value


def test_the_picture_is_drawn_for_the_width_that_the_page_has(panel, academy):
    panel.picture.room_px = 1300
    wide = Image.open(io.BytesIO(panel.picture.png)).size
    panel.picture.room_px = 680
    narrow = Image.open(io.BytesIO(panel.picture.png)).size
    assert wide[0] == 1300
    assert narrow[0] == 680
    assert narrow[1] > 1.5 * wide[1]
    panel.picture.room_px = 380
    assert Image.open(io.BytesIO(panel.picture.png)).size[0] == 380
    figure = Figure()
    draw_view(panel.view, figure, academy.cues, 380)
    assert [axes.get_position().width > 0.9 for axes in figure.axes] == [True, True]
    panel.picture.room_px = 680
    panel.picture.ratio = 2.0
    assert Image.open(io.BytesIO(panel.picture.png)).size == (2 * narrow[0], 2 * narrow[1])
    assert panel.picture.drawn_ratio == 2.0


def test_an_error_is_shown_in_words_and_leaves_nothing_of_the_last_view(panel, monkeypatch):
    def refuse(*_):
        raise DataError("Asked <this>.", "Found that.", "Do so.")

    monkeypatch.setattr(explorer, "explorer_view", refuse)
    panel.controls["family"].value = "setup"
    assert "Asked &lt;this&gt;.</p><p>Found that.</p><p>Do so." in panel.trouble.value
    assert 'role="alert"' in panel.trouble.value
    assert panel.picture.png == b""
    assert panel.picture.caption == "No picture: Asked <this>."
    assert all(section.value == "" for section in panel.sections.values())
    monkeypatch.undo()
    panel.controls["family"].value = "intent"
    assert panel.trouble.value == ""
    assert panel.picture.png


@pytest.mark.parametrize("wanted", [True, False])
def test_garbage_waits_for_the_answer_and_its_collector_is_left_as_it_was(panel, monkeypatch, wanted):
    seen = []

    def look(*asked):
        seen.append(gc.isenabled())
        if len(seen) == 2:
            raise DataError("Asked.", "Found.", "Do.")
        return explorer_view(*asked)

    monkeypatch.setattr(explorer, "explorer_view", look)
    (gc.enable if wanted else gc.disable)()
    try:
        for family in ("setup", "intent"):  # an answer, then an error
            panel.controls["family"].value = family
            assert gc.isenabled() is wanted
    finally:
        gc.enable()
    assert seen == [False, False]
    assert "Found." in panel.trouble.value


def test_a_fault_of_the_program_is_shown_too(panel, monkeypatch):
    monkeypatch.setattr(explorer, "explorer_view", lambda *_: 1 / 0)
    panel.controls["family"].value = "setup"
    assert "ZeroDivisionError: division by zero" in panel.trouble.value
    assert "please report it" in panel.trouble.value


def test_where_nothing_may_be_shown_there_is_a_sentence_and_no_picture(academy):
    panel = cl.explore_cues(taught_by(academy.shots, "tina", students=7), academy.cues)
    panel.controls["coach"].value = "tina"
    assert panel.picture.png == b""
    assert panel.picture.alt == ""
    assert "Below that number no coach is shown alone" in panel.picture.caption
    assert CAUTION.split(",")[0] in panel.sections["next"].value


def test_moves_in_quick_succession_are_answered_once(academy, monkeypatch):
    asked = []

    def count(shots, choice, *rest):
        asked.append(choice.outcome)
        return explorer_view(shots, choice, *rest)

    monkeypatch.setattr(explorer, "explorer_view", count)

    async def drag():
        panel = cl.explore_cues(academy.shots, academy.cues)
        for outcome in ("path_out_deg", "carry_m", "face_open_deg"):
            panel.controls["outcome"].value = outcome
        assert asked == ["attack_up_deg"]
        for _ in range(1000):  # however busy the machine is
            if len(asked) < 2:
                await asyncio.sleep(explorer._DEBOUNCE_S)
        await asyncio.sleep(4 * explorer._DEBOUNCE_S)  # nothing else may come
        return panel

    panel = asyncio.run(drag())
    assert asked == ["attack_up_deg", "face_open_deg"]
    assert panel.view.choice.outcome == "face_open_deg"


def test_while_nobody_moves_a_control_the_other_numbers_are_answered(academy, monkeypatch):
    asked, drawn = [], []

    def count(shots, choice, *rest):
        asked.append(choice.outcome)
        if choice.outcome == "carry_m":
            raise DataError("Asked.", "Found.", "Do.")
        return explorer_view(shots, choice, *rest)

    monkeypatch.setattr(explorer, "explorer_view", count)
    monkeypatch.setattr(explorer, "_IDLE_S", 0.01)
    monkeypatch.setattr(explorer, "_BREATH_S", 0.0)

    monkeypatch.setattr(explorer, "png_of", lambda *_: drawn.append(1) or b"png")

    async def wait():
        panel = cl.explore_cues(academy.shots, academy.cues)
        await asyncio.sleep(0.05)
        assert asked == ["attack_up_deg"]
        panel.picture.room_px = 1150
        for _ in range(5000):  # 6 numbers, 2 families and 4 cues: all but carry and what is shown itself are drawn
            if len(drawn) < 11:
                await asyncio.sleep(0.02)
        await asyncio.sleep(0.05)
        shown = panel.view.choice.outcome, panel.trouble.value, len(asked), len(drawn)
        panel.controls["outcome"].value = "path_out_deg"
        panel.refresh()
        return shown, panel.view.choice.outcome, len(asked), len(drawn)

    shown, moved, *work = asyncio.run(wait())
    assert shown == ("attack_up_deg", "", 12, 11)
    assert moved == "path_out_deg"
    assert work == [12, 11]


def test_without_cards_the_panel_offers_ids_and_no_families(academy):
    panel = cl.explore_cues(academy.shots)
    assert [words for words, _ in panel.controls["cue"].options] == ["all cues", "I1", "I2", "S1", "S2"]
    assert len(panel.controls["family"].options) == 1
    assert panel.trouble.value == ""


def test_what_an_academy_writes_is_shown_as_text_and_never_run(academy):
    cues = academy.cues.assign(name=academy.cues["name"].replace("rafter", "<b>rafter</b>"))
    panel = cl.explore_cues(academy.shots, cues, Settings(name="<i>Q</i>", note="<script>note</script>"))
    everything = "".join(section.value for section in panel.sections.values()) + panel.children[-1].value
    assert "&lt;b&gt;rafter&lt;/b&gt;" in everything
    assert "&lt;script&gt;note" in everything
    assert not re.search("<b>rafter|<i>Q|<script>", everything)


def test_shots_without_any_cue_are_refused_in_words(academy):
    plain = academy.shots.table["phase"] != "cue"
    unjoined = replace(academy.shots, table=academy.shots.table.drop(columns=["phase", "cue", "block"]))
    for shots, found in ((part_of(academy.shots, plain), "cue block"), (unjoined, "no column phase")):
        with pytest.raises(DataError) as caught:
            cl.explore_cues(shots, academy.cues)
        assert found in caught.value.found
        assert "join_log" in caught.value.do


def part_of(shots, keep):
    """The shots of some rows, with raw rows that fit."""
    return Shots(
        shots.table[keep].reset_index(drop=True),
        shots.raw.iloc[: int(keep.sum())],
        shots.rejects.iloc[:0],
        shots.flags.iloc[:0],
    )


def only_some(shots, cue, students):
    """The shots without the lessons about a cue of all but the first few students."""
    table = shots.table
    mine = (table["cue"] == cue) & (table["phase"] == "cue")
    kept = sorted(table.loc[mine, "student"].unique())[:students]
    lessons = table.loc[mine & ~table["student"].isin(kept), "session"].unique()
    return part_of(shots, ~table["session"].isin(lessons))


def taught_by(shots, coach, students):
    """The shots with the first few students in the hands of one more coach."""
    table = shots.table.copy()
    few = sorted(table["student"].unique())[:students]
    table["coach"] = table["coach"].astype("str").where(~table["student"].isin(few), coach)
    return replace(shots, table=table)
