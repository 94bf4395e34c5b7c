"""Pages on the delivery: every picture has words, no gain stands without its assumption, and nothing is ranked away."""

import re
from dataclasses import replace

import numpy as np
import pytest

import coachlab as cl
from coachlab import claims
from coachlab.cues.value import MOVED
from coachlab.report import delivery
from coachlab.report.words import between
from coachlab.schema import OUTCOMES
from coachlab.settings import DEFAULT, FLOWN, OWN
from coachlab.units import Shown


@pytest.fixture(scope="module")
def costs(study):
    return cl.costliest(study.shots, club="iron-7", settings=study.settings)


@pytest.fixture(scope="module")
def split(study):
    return cl.free_and_earned(study.shots, "iron-7", study.cues, settings=study.settings)


def test_what_a_number_costs_stands_in_one_row_with_its_reach_and_its_range(costs):
    page = delivery.costs_page(costs)
    assert len(page.table) == len(costs.ranking)
    assert [text for text in page.table.columns if text.startswith("costs, the delivered loft")]
    for text in page.table.filter(like="costs, ").to_numpy().ravel():
        assert re.fullmatch(r"−?[\d.]+ yd \(−?[\d.]+ to −?[\d.]+\)", text), text
    assert len(page.pictures) == 1 and costs.text() in page.pictures[0].alt
    assert "stop if it hurts" in page.caution[0]
    assert "no promise" in page.text()


def test_every_picture_of_these_pages_has_words(costs, split, study):
    for page in (delivery.costs_page(costs), delivery.earned_page(split, study.cues, costs.student)):
        shown = page._repr_html_()
        assert len(re.findall("<img ", shown)) == len(page.pictures) == 1
        assert len(page.pictures[0].alt) > 200
        assert costs.student not in shown


def test_a_window_says_where_it_comes_from(costs):
    flown = cl.student_windows(costs)
    assert set(flown.table["source"]) == {FLOWN}
    page = delivery.windows_page(flown)
    assert page.table["comes from"].str.startswith("flight model").all()
    assert "assumed until the academy sets its own" in page.text()
    own = replace(
        costs.settings, windows_by_club={"iron-7": {"attack_up_deg": (-5.0, -2.0)}}, smallest_useful={"carry_m": 5.0}
    )
    windows = cl.student_windows(replace(costs, settings=own))
    row = windows.table.set_index("outcome").loc["attack_up_deg"]
    assert row[["low", "high", "source"]].tolist() == [-5.0, -2.0, OWN]
    page = delivery.windows_page(windows)
    assert page.table.set_index("number").loc["attack", "comes from"] == "the academy's own setting"
    assert "5.5 yd here, the academy's own setting" in page.text()
    sd = costs.table.drop_duplicates("number").set_index("number")["reach"]
    for window in flown.windows:
        assert abs(window.best - window.own) <= 2 * sd[window.outcome] + 1e-9


def test_what_a_cue_is_worth_is_its_mean_shift_at_the_students_own_delivery(costs, study):
    worth = cl.cue_worth(costs, study.shots, "S1", study.cues)
    assert set(worth.shift) == set(MOVED)
    shifts = cl.cue_shifts(cl.model_table(study.shots, "attack_up_deg", "iron-7", study.cues)).students
    own = shifts.loc[shifts["cue"] == "S1", "shift"].to_numpy()
    assert worth.shift["attack_up_deg"] == pytest.approx(own.mean())
    assert worth.se["attack_up_deg"] == pytest.approx(own.std(ddof=1) * np.sqrt(1 + 1 / len(own)))
    by_hand = cl.shift_worth(costs.delivery, worth.shift, worth.se, "iron-7")
    assert worth.table.equals(by_hand.table)
    assert delivery.change_page(by_hand).sentences[0].startswith("The shift: attack ")
    page = delivery.change_page(worth, "Cue S1")
    assert len(page.table) == len(worth.table)
    assert f"average of {len(own)} students" in page.sentences[0] and "not this student's own" in page.sentences[0]
    for sentence in page.sentences[1:]:
        assert sentence.startswith("With the delivered loft") and " to " in sentence
    assert "averaged over the orders" in page.text() and "shots spread" in page.text()
    with pytest.raises(cl.DataError, match="0 students hit it"):
        cl.cue_worth(costs, without_plain(study.shots.table), "S1")


def test_what_an_input_gives_alone_is_left_out_where_it_is_its_part(costs):
    one = delivery.change_page(cl.shift_worth(costs.delivery, {"attack_up_deg": 1.0}, club="iron-7"))
    assert "alone" not in one.table and "each gives alone" in one.caption
    two = cl.shift_worth(
        costs.delivery, {"attack_up_deg": 4.0, "path_out_deg": 8.0, "face_open_deg": 8.0}, club="iron-7"
    )
    assert "alone" in delivery.change_page(two).table


def test_ends_that_would_read_alike_get_a_digit_more_or_become_one_number():
    assert between(Shown("yd"), 2.01, 2.04) == "+2.01 to +2.04 yd"
    assert between(Shown("yd"), 2.0, 2.0) == "+2.0 yd"
    assert between(Shown("°"), -0.5, 1.7) == "−0.5 to +1.7°"
    assert between(Shown("°"), float("nan"), 1.7) == "–"


def test_where_no_number_costs_most_the_page_says_which_to_leave_and_where_to_begin(costs):
    assert not costs.clear
    said = delivery.costs_page(costs).sentences[0]
    windows = cl.student_windows(costs).table.set_index("outcome")["inside"]
    inside = [OUTCOMES[name] for name in costs.ranking if windows[name]]
    outside = [OUTCOMES[name] for name in costs.ranking if not windows[name]]
    assert inside and outside  # so that both lists are told
    kept, rest = said.split("leave ")[0], said.split("Outside: ")[1]
    assert all(name in kept.lower() for name in inside) and all(name in rest for name in outside)


def test_the_split_says_that_its_averages_are_not_the_models_and_how_far_they_lie_apart(evidence):
    said = delivery.earned(evidence).text()
    assert "each student's own difference" in said and "by the model." in said
    split = cl.free_and_earned(evidence.study.shots, evidence.club, evidence.study.cues, settings=evidence.settings)
    rows, models = (
        split.table.set_index(["part", "cue"])["estimate"],
        evidence.shifts.table.set_index("cue")["estimate"],
    )
    apart = [abs(rows["attack", cue] - models[cue]) for cue in models.index]
    path = evidence.others["path_out_deg"].table.set_index("cue")["estimate"]
    apart += [abs(rows["path", cue] - path[cue]) for cue in path.index]
    here, model = re.search(r"farthest apart for .*: (\S+)° here, (\S+)° by the model", said).groups()
    shown = abs(float(here.replace("−", "-")) - float(model.replace("−", "-")))
    assert shown == pytest.approx(max(apart), abs=0.1)  # both numbers are rounded to a tenth


def without_plain(table):
    """The shots without the plain blocks of the lessons of one cue."""
    phase = table["phase"].astype("str")
    lessons = table.loc[(table["cue"] == "S1") & (phase == "cue"), "session"].unique()
    return table[~((phase == "plain") & table["session"].isin(lessons))]


def test_free_and_earned_stand_for_every_cue_of_the_report_in_its_order(evidence, split):
    page = delivery.earned(evidence)
    assert page.table["cue"].tolist() == [evidence.name(cue) for cue in evidence.cues]
    for grade, sentences in page.claims:
        assert all(claims.matches(sentence, grade) for sentence in sentences)
    assert len(page.claims) == len(evidence.cues)
    assert "earned is the rest" in page.text()
    assert "58° assumed" in page.text()


def test_without_a_path_the_report_says_why_nothing_is_split(evidence):
    bare = replace(evidence.study.shots, table=evidence.study.shots.table.drop(columns="path_out_deg"))
    page = delivery.earned(replace(evidence, study=replace(evidence.study, shots=bare)))
    assert "Path shifts are not split here." in page.text() and "path_out_deg" in page.text()


def test_a_student_without_lessons_with_a_cue_is_told_so(split, study):
    assert "no lesson of theirs" in delivery.earned_page(split, study.cues, "nobody").text()


def test_ball_data_alone_get_their_page_of_what_may_be_learnt_and_what_may_not(study):
    page = delivery.ball_page(cl.infer_delivery(study.shots))
    assert page.title == "With ball data only: what may be learnt, and what may not"
    assert "It may not show attack" in page.text() and "may show loft and face as inferred" in page.text()
    assert not any("attack" in column or "path" in column for column in page.table.columns)


# Where a smallest useful shift comes from is one answer everywhere ------------------------------------------------------


def test_report_explorer_and_table_judge_by_the_same_smallest_useful_shift(study, evidence):
    from coachlab.widgets.view import Choice, explorer_view

    own = study.settings
    for outcome in ("path_out_deg", "club_speed_mps"):
        table = cl.model_table(study.shots, outcome, "iron-7", study.cues)
        direct = cl.cue_shifts(table, own).settings
        view = explorer_view(study.shots, Choice(outcome=outcome), study.cues, own)
        values = {
            settings.smallest_useful_shift(outcome, "iron-7")
            for settings in (direct, view.shifts.settings, view.patterns.settings, evidence.settings)
        }
        assert len(values) == 1
        assert direct.useful_source(outcome, "iron-7") == FLOWN
        said = [text for text in view.general if text.startswith("The smallest useful shift")]
        assert len(said) == 1 and "comes from the flight model" in said[0]
        assert claims.matches(said[0], "all")
    assert evidence.settings.useful_source("carry_m", "iron-7") == DEFAULT


def test_what_the_academy_has_set_is_left_alone(study):
    own = replace(study.settings, smallest_useful_by_club={"iron-7": {"attack_up_deg": 0.7}})
    shifts = cl.cue_shifts(cl.model_table(study.shots, "attack_up_deg", "iron-7", study.cues), own)
    assert shifts.settings.smallest_useful_shift("attack_up_deg", "iron-7") == 0.7
    assert "0.7°, is the academy's own setting" in shifts.text()
    assert "flight model" not in shifts.text()
