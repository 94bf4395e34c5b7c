"""The panel of twelve looks without a browser: what it shows, what it says when it cannot, the other program on request."""

import re

import pytest
import statsmodels.formula.api as smf

import coachlab as cl
from coachlab.cues.diagnose import diagnose
from coachlab.settings import Settings
from coachlab.widgets.trust import looks_html, opinion_html


@pytest.fixture(scope="module")
def academy():
    return cl.simulate_academy(students=16, seed=3, rogue=False, cues=["S1", "I2"], lessons=2, coaches=2)


@pytest.fixture(scope="module")
def panel(academy):
    return cl.explore_trust(academy.shots, academy.cues, seed=1)


def test_it_begins_with_the_first_cue_and_shows_twelve_pictures_with_words(panel):
    panel.controls["cue"].value = "S1"
    assert panel.diagnostics.cue == "S1"
    images = re.findall(r'<img alt="([^"]*)" src="data:image/png;base64,', panel.page.value)
    assert len(images) == 12
    assert [alt.split(",")[0] for alt in images] == [f"Look {number}" for number in range(1, 13)]
    assert all("A good one:" in alt and "This one (" in alt for alt in images)
    assert "evidence grade" in panel.status.caption


def test_signs_of_the_page_are_those_of_the_table(panel):
    shown = re.findall(r'<span class="sign look">▲ look</span>', panel.page.value)
    assert len(shown) == (panel.diagnostics.table["sign"] == "look").sum()


def test_which_panel_is_real_stands_behind_a_fold(panel):
    fold = panel.page.value.index("<details>")
    said = f"Panel {panel.diagnostics.seen.lineup.reveal()}."
    assert said in panel.page.value[fold:]
    assert said not in panel.page.value[:fold]


def test_another_cue_and_another_number_are_looked_at_anew(panel):
    panel.controls["cue"].value = "I2"
    panel.controls["outcome"].value = "club_speed_mps"
    assert panel.diagnostics.outcome == "club_speed_mps"
    assert panel.diagnostics.cue == "I2"
    assert "mph" in panel.page.value
    panel.controls["outcome"].value = "attack_up_deg"


def test_no_student_is_named_on_the_page(panel, academy):
    names = academy.shots.table["student"].astype("str").unique()
    assert not [
        name for name in names if re.search(rf"\b{re.escape(name)}\b", re.sub(r"base64,[^\"]*", "", panel.page.value))
    ]


def test_the_other_program_is_asked_on_request_and_shown_below(panel):
    panel.refresh()
    assert panel.second.value == ""
    panel.ask.click()
    assert panel.opinion.fitted
    assert "A second opinion" in panel.second.value
    assert "standard error" in panel.second.value


def test_a_failure_of_the_other_program_is_words_on_the_page(panel, monkeypatch):
    monkeypatch.setattr(smf, "mixedlm", lambda *args, **kwargs: 1 / 0)
    panel.compare()
    assert "statsmodels stopped: division by zero" in panel.second.value


def test_a_cue_without_an_estimate_is_told_in_words_and_nothing_old_stays(academy):
    few = academy.shots.table["student"].drop_duplicates().iloc[:4]
    shots = cl.simulate_academy(students=4, seed=1, rogue=False, cues=["S1"], lessons=1, coaches=1).shots
    panel = cl.explore_trust(shots)
    assert len(few) == 4
    assert panel.diagnostics is None
    assert panel.page.value == ""
    assert panel.ask.disabled
    assert "at least 6 students" in panel.trouble.value
    panel.compare()
    assert panel.second.value == ""


def test_a_small_group_is_not_shown(academy):
    panel = cl.explore_trust(academy.shots, academy.cues, Settings(small_group_students=30))
    assert panel.page.value == ""
    assert "Fewer than 30 students" in panel.trouble.value


def test_a_first_cue_that_is_not_there_is_refused(academy):
    with pytest.raises(cl.DataError, match=r"cue is 'S9'; these shots hold: S1, I2"):
        cl.explore_trust(academy.shots, academy.cues, cue="S9")


def test_names_are_escaped(academy):
    table = cl.model_table(academy.shots, cues=academy.cues.assign(name="<b>x</b>"))
    found = diagnose(table, "I2", sets=199, seed=1)
    assert "<b>x" not in re.sub(r"base64,[^\"]*", "", looks_html(found))
    assert "<b>x" not in opinion_html(cl.second_opinion(table, "I2"))
