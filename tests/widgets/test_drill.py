"""The panel of drills without a browser: what it shows before and after the answer, and what it keeps."""

import json

import pytest

import coachlab as cl
from coachlab.drills import GROUPS
from coachlab.drills.marking import LETTERS
from coachlab.errors import DataError
from coachlab.settings import Settings
from coachlab.widgets.drill import links_html


def say(panel, what, **more):
    """What the form sends when the trainee does something."""
    panel.form._handle_custom_msg({"what": what, **more}, [])


def right_message(question):
    if question.options:
        return {"place": question.right}
    side = -1 if question.sides and question.answer < 0 else 1
    return {"amount": f"{abs(question.answer) * question.measure.factor:.3f}", "side": side}


@pytest.mark.parametrize("group", GROUPS)
def test_each_question_can_be_asked_answered_and_seen(group):
    panel = cl.drill_panel(group=group, seed=2)
    for _ in range(5):
        question = panel.question
        assert panel.form.question["text"] == question.text
        assert panel.place.layout.display == (None if question.seen else "none")
        assert "before" in panel.flight.hidden and panel.form.marking == {}
        if question.seen:
            assert {name: panel.flight.controls[name] for name in question.before} == question.before
        say(panel, "answer", **right_message(question))
        assert panel.form.trouble == ""
        assert panel.form.marking["right"] and panel.form.marking["why"] == question.why
        assert panel.place.layout.display is None and panel.flight.hidden == [] and panel.flight.offered == []
        assert {name: panel.flight.controls[name] for name in question.after} == question.after
        assert panel.flight.shot.flight.carry_m > 0
        say(panel, "ask")
    assert len(panel.progress.answers) == 5
    assert "5 of 5 right" in panel.links.value


def test_nothing_can_be_moved_before_the_answer():
    panel = cl.drill_panel(group="start", seed=2)
    assert panel.flight.offered == ["hold_path"]


def test_a_question_is_answered_once():
    panel = cl.drill_panel(group="curve", seed=1)
    for place in (0, 1, 2):
        say(panel, "answer", place=place)
    assert len(panel.progress.answers) == 1


def test_a_side_gives_the_number_its_sign():
    panel = cl.drill_panel(group="arc", seed=1)
    while panel.question.exercise != "arc-2":
        say(panel, "answer", **right_message(panel.question))
        say(panel, "ask")
    amount = f"{abs(panel.question.answer):.2f}"
    wrong = 1 if panel.question.answer < 0 else -1
    say(panel, "answer", amount=amount, side=wrong)
    assert not panel.form.marking["right"]
    assert "The other way" in panel.form.marking["verdict"]


@pytest.mark.parametrize("amount", ["", "much", "1e999", "-"])
def test_an_answer_that_is_no_number_is_refused_in_words_and_may_be_given_again(amount):
    panel = cl.drill_panel(group="arc", seed=1)
    while panel.question.options:
        say(panel, "answer", place=0)
        say(panel, "ask")
    count = len(panel.progress.answers)
    for side in (1, -1):
        say(panel, "answer", amount=amount, side=side)
        assert "Give a number in" in panel.form.trouble
    assert len(panel.progress.answers) == count and panel.form.marking == {}
    # the side stands in a menu beside the box
    assert "and choose right or left beside it" in panel.form.trouble or not panel.question.sides
    assert "minus" not in panel.form.trouble
    say(panel, "answer", **right_message(panel.question))
    assert panel.form.trouble == "" and panel.form.marking["right"]


@pytest.mark.parametrize(
    "amount, found", [("-3", "has a sign"), ("−3", "has a sign"), ("999", "999° is more than a ball or a swing can do")]
)
def test_a_sign_beside_the_menu_of_sides_and_a_number_no_ball_can_make_are_told_kindly(amount, found):
    panel = cl.drill_panel(group="arc", seed=1)
    while panel.question.exercise != "arc-2":
        say(panel, "answer", **right_message(panel.question))
        say(panel, "ask")
    count = len(panel.progress.answers)
    say(panel, "answer", amount=amount, side=-1)
    assert found in panel.form.trouble and "Give" in panel.form.trouble
    assert len(panel.progress.answers) == count and panel.form.marking == {}


def test_the_page_stands_at_both_deliveries_exactly_without_the_path_being_held():
    panel = cl.drill_panel(group="distance", seed=4)
    question = panel.question
    assert question.before["attack_up_deg"] != question.after["attack_up_deg"]
    assert question.before["path_out_deg"] == question.after["path_out_deg"]
    say(panel, "answer", place=0)
    assert {name: panel.flight.controls[name] for name in question.after} == question.after
    assert not panel.flight.controls["hold_path"]


def test_the_word_is_kept_nowhere_and_the_answers_come_back(tmp_path):
    panel = cl.drill_panel(tmp_path, seed=1)
    wrong = {"place": (panel.question.right + 1) % 3, "amount": "77", "side": 1}
    say(panel, "answer", **wrong)
    say(panel, "who", word="Robin Doe")
    assert panel.form.student == panel.progress.student != ""
    say(panel, "ask")
    say(panel, "answer", **right_message(panel.question))
    assert "Robin" not in json.dumps(panel.form.get_state(["student", "question", "marking", "page", "trouble"]))
    again = cl.drill_panel(tmp_path, seed=1)
    say(again, "who", word="robin doe")
    # the one that was given before the word is kept too
    assert len(again.progress.answers) == 2
    assert "1 of 2 right" in again.links.value


def test_a_damaged_file_is_told_and_the_panel_goes_on_without_it(tmp_path):
    progress = cl.drill_progress("heron", tmp_path)
    progress.path.write_text("{")
    panel = cl.drill_panel(tmp_path, seed=1)
    say(panel, "who", word="heron")
    assert "damaged" in panel.form.trouble and panel.form.student == ""
    say(panel, "answer", **right_message(panel.question))
    assert panel.form.marking["right"]
    assert progress.path.read_text() == "{"


def test_the_seen_answer_stays_when_it_cannot_be_kept(tmp_path):
    panel = cl.drill_panel(tmp_path, seed=1)
    say(panel, "who", word="heron")
    panel.progress.path.write_text("{")
    say(panel, "answer", **right_message(panel.question))
    assert panel.form.marking["right"] and "damaged" in panel.form.trouble
    panel.progress.path.unlink()
    say(panel, "ask")
    say(panel, "answer", **right_message(panel.question))
    # the answer that waited went with the next one
    assert len(cl.drill_progress("heron", tmp_path).answers) == 2


def test_without_a_word_nothing_can_be_kept_and_it_is_said(tmp_path):
    panel = cl.drill_panel(tmp_path, seed=1)
    say(panel, "who", word="  ")
    assert "No word was given" in panel.form.trouble and list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("group", GROUPS)
def test_a_group_is_explained_step_by_step_on_the_flight_page(group):
    panel = cl.drill_panel(group=group, seed=1)
    say(panel, "explain")
    page = cl.explain_flight(group)
    assert panel.form.page["title"] == page.title and len(panel.form.page["steps"]) == len(page.steps)
    for at, step in enumerate(page.steps):
        say(panel, "show", step=at)
        assert {name: panel.flight.controls[name] for name in step.after} == step.after
        assert panel.flight.shot.flight.carry_m > 0
    assert panel.place.layout.display is None and panel.flight.hidden == []
    say(panel, "ask")
    assert panel.form.page == {} and panel.form.question["text"] == panel.question.text


def test_without_a_group_the_one_that_is_asked_about_is_explained():
    panel = cl.drill_panel(seed=1)
    say(panel, "explain")
    assert panel.form.page["title"] == GROUPS[panel.question.group]


def test_another_group_is_explained_or_asked_as_before():
    panel = cl.drill_panel(group="start", seed=1)
    say(panel, "group", group="air")
    assert panel.question.group == "air" and panel.form.page == {}
    say(panel, "explain")
    say(panel, "group", group="arc")
    assert panel.form.page["title"] == GROUPS["arc"]
    say(panel, "group", group="")
    assert panel.form.page == {} and panel.form.question["text"]


def test_what_the_form_cannot_mean_is_told_and_breaks_nothing():
    panel = cl.drill_panel(seed=1)
    text = panel.form.question["text"]
    say(panel, "group", group="putting")
    assert "There is no group 'putting'" in panel.form.trouble
    say(panel, "show", step=99)
    assert panel.form.question["text"] == text
    with pytest.raises(DataError, match="There is no group 'putting'"):
        cl.drill_panel(group="putting")


def test_units_go_to_the_question_and_to_the_flight_page():
    panel = cl.drill_panel(group="distance", seed=1, settings=Settings(units="metres"))
    assert panel.flight.units == "metres"
    assert not any("mph" in value for _, value in panel.form.question["given"])


def test_links_are_listed_weak_ones_first():
    progress = cl.drill_progress()
    for name, right in (("start-1", True), ("curve-1", False)):
        question = cl.drill(name, seed=0)
        right_place = question.right if question.options else question.answer
        wrong = LETTERS[(question.right + 1) % max(len(question.options), 1)]
        progress = progress.add(cl.mark(question, right_place if right else wrong))
    text = links_html(progress)
    assert text.index("weak: comes back soon") < text.index(">coming<")
    assert "18 of 20 links not asked yet" in text
