"""The 24 exercises: endless variants, one right answer each, marked in its band, in yards or in metres."""

import dataclasses

import numpy as np
import pytest

import coachlab as cl
from coachlab.drills import EXERCISES, GROUPS, KINDS, LINKS, draw
from coachlab.drills.marking import LETTERS, MOST
from coachlab.drills.value import Asked
from coachlab.errors import DataError
from coachlab.settings import Settings
from coachlab.widgets.controls import control_list

SEEDS = range(30)
NUMBERS = [name for name in EXERCISES if name in draw.EXERCISES and not cl.drill(name, seed=0).options]
CHOICES = [name for name in EXERCISES if name not in NUMBERS]
METRES = Settings(units="metres")


@pytest.fixture(scope="module")
def questions():
    return {name: [cl.drill(name, seed=seed) for seed in SEEDS] for name in EXERCISES}


def test_there_are_four_exercises_in_each_of_six_groups_of_all_four_kinds():
    assert len(EXERCISES) == 24
    for group in GROUPS:
        assert sum(exercise.group == group for exercise in EXERCISES.values()) == 4
    assert {exercise.kind for exercise in EXERCISES.values()} == set(KINDS)
    assert {exercise.link for exercise in EXERCISES.values()} == set(LINKS)


@pytest.mark.parametrize("name", EXERCISES)
def test_every_variant_has_a_finite_question_and_an_answer_inside_its_own_band(questions, name):
    for question in questions[name]:
        assert np.isfinite(question.found).all()
        assert question.text and question.why and question.look
        words = " ".join([question.text, question.why, *(option.text for option in question.options)])
        assert not any(bad in words.lower() for bad in ("nan", "inf ", "−0.0", "-0", "  "))
        if question.options:
            texts = [option.text for option in question.options]
            assert len(set(texts)) == len(texts) >= 3
            assert cl.mark(question, LETTERS[question.right]).right
        else:
            assert question.low < question.answer < question.high
            assert cl.mark(question, question.answer * question.measure.factor).right


@pytest.mark.parametrize("name", EXERCISES)
def test_every_link_that_a_wrong_answer_names_is_known(questions, name):
    for question in questions[name]:
        wrong = [option for at, option in enumerate(question.options) if at != question.right]
        assert {each.link for each in (*wrong, *question.slips) if each.link} <= set(LINKS)
        assert all(each.words for each in (*wrong, *question.slips))


@pytest.mark.parametrize("name", EXERCISES)
def test_the_same_seed_and_variant_give_the_same_question_and_others_give_others(questions, name):
    again = cl.drill(name, seed=5)
    assert again.case == questions[name][5].case
    assert (again.text, again.why, again.options) == tuple(
        getattr(questions[name][5], part) for part in ("text", "why", "options")
    )
    assert cl.drill(name, seed=5, variant=1).case != again.case
    # numbers are round, so that a few of thirty may fall together
    assert len({str(sorted(question.case.items())) for question in questions[name]}) >= 20


@pytest.mark.parametrize("name", CHOICES)
def test_the_right_option_does_not_always_stand_in_the_same_place(questions, name):
    places = {question.right for question in questions[name]}
    # which club and which wind do not change with the numbers: the link itself is the answer
    assert len(places) == 1 if name in ("start-2", "air-1") else len(places) > 1


@pytest.mark.parametrize("name", NUMBERS)
def test_a_number_is_right_at_the_edges_of_its_band_and_wrong_beyond(questions, name):
    for question in questions[name][:5]:
        factor = question.measure.factor
        step = 1e-6 * (question.high - question.low)
        for edge, out in ((question.low, -step), (question.high, step)):
            assert cl.mark(question, (edge - 2 * out) * factor).right
            assert not cl.mark(question, (edge + 2 * out) * factor).right


@pytest.mark.parametrize("name", NUMBERS)
def test_a_usual_misunderstanding_is_wrong_and_named(questions, name):
    for question in questions[name]:
        assert question.slips
        for slip in question.slips:
            marking = cl.mark(question, slip.value * question.measure.factor)
            assert not marking.right
            assert slip.words in marking.verdict
            assert marking.link == (slip.link or question.link)


@pytest.mark.parametrize("name", CHOICES)
def test_a_wrong_option_says_what_was_missed_and_what_is_right(questions, name):
    question = questions[name][0]
    for place, option in enumerate(question.options):
        marking = cl.mark(question, place)
        assert marking.right == (place == question.right)
        if not marking.right:
            assert option.words in marking.verdict
            assert f"“{question.options[question.right].text}”" in marking.verdict
            assert marking.link == option.link
            compared = question.kind in ("backward", "causes") and option.controls
            assert marking.before == (option.controls if compared else question.before)


@pytest.mark.parametrize("name", ["distance-2", "strike-2"])
def test_a_distance_is_asked_and_marked_in_the_academys_units(name):
    yards, metres = cl.drill(name, seed=4), cl.drill(name, seed=4, settings=METRES)
    assert (yards.unit, metres.unit) == ("yd", "m")
    assert yards.answer == metres.answer
    assert cl.mark(yards, yards.answer / 0.9144).right and cl.mark(metres, metres.answer).right
    assert not cl.mark(metres, metres.high * 1.01).right
    assert " yd" in yards.text_of_answer() and " yd" not in metres.text_of_answer()


@pytest.mark.parametrize("name", EXERCISES)
def test_metres_change_the_words_and_not_the_question(name):
    yards, metres = cl.drill(name, seed=6), cl.drill(name, seed=6, settings=METRES)
    assert yards.case == metres.case and yards.right == metres.right
    said = " ".join([metres.text, metres.why, *map(str, metres.given), *(option.text for option in metres.options)])
    assert not any(unit in said for unit in (" yd", " mph", " ft"))


@pytest.mark.parametrize("answer", ["", "z", "four", 9, -1, True, None, 0.5])
def test_an_answer_that_is_no_option_gets_one_clear_error(answer):
    with pytest.raises(DataError, match="Give one of a, b"):
        cl.mark(cl.drill("curve-1", seed=0), answer)


@pytest.mark.parametrize("answer", ["", "much", None, float("nan"), float("inf")])
def test_an_answer_that_is_no_number_gets_one_clear_error(answer):
    with pytest.raises(DataError, match="Give a number in degrees, up plus, down minus"):
        cl.mark(cl.drill("arc-2", seed=0), answer)


@pytest.mark.parametrize(
    "name, answer, found",
    [
        ("arc-2", 999, "999° is more than a ball or a swing can do"),
        ("arc-2", "-90.5", "90.5° is more"),
        ("arc-4", 2_000, "2000 cm is more"),
        ("distance-2", 501, "501 yd is more"),
    ],
)
def test_a_number_that_no_ball_can_make_is_refused_kindly_and_not_marked(name, answer, found):
    with pytest.raises(DataError, match=found) as caught:
        cl.mark(cl.drill(name, seed=0), answer)
    assert "nothing was marked" in caught.value.do


def test_every_number_that_is_asked_for_has_an_end_far_beyond_its_answers():
    for name in EXERCISES:
        for settings in (None, METRES):
            question = cl.drill(name, seed=1, settings=settings)
            if not question.options:
                ends = [question.low, question.high, *(slip.value for slip in question.slips)]
                assert max(map(abs, ends)) * question.measure.factor < MOST[question.unit] / 2, name


def test_a_number_may_be_written_as_people_write_it():
    question = cl.drill("arc-2", seed=2)
    shown = f"{question.answer:.2f}"
    for text in (shown, shown.replace(".", ","), f" {shown} ", shown.replace("-", "−")):
        assert cl.mark(question, text).right


@pytest.mark.parametrize(
    ("arguments", "found"),
    [
        (("start-9",), "There is no exercise 'start-9'. 'start-"),
        (("start-1", -1), "seed is -1"),
        (("start-1", 1.5), "seed is 1.5"),
        (("start-1", 1, -2), "variant is -2"),
        (("start-1", True), "seed is True"),
    ],
)
def test_a_question_that_does_not_exist_gets_one_clear_error(arguments, found):
    with pytest.raises(DataError) as caught:
        cl.drill(*arguments)
    assert found in caught.value.found and caught.value.do


def test_without_a_seed_each_question_is_new():
    assert len({cl.drill("start-1").seed for _ in range(4)}) == 4


def test_an_exercise_that_can_promise_nothing_is_given_up_after_a_bounded_number_of_draws(monkeypatch):
    drawn = []

    def disputed(case, worlds):
        drawn.append(case)
        return np.array([[1, 1, -1], [-1, -1, 1]])

    broken = dataclasses.replace(EXERCISES["curve-1"], solve=disputed)
    monkeypatch.setattr(draw, "EXERCISES", {**EXERCISES, "curve-1": broken})
    with pytest.raises(DataError, match="None of 60 draws has one answer that holds under every model"):
        draw.drill("curve-1", seed=0)
    assert len(drawn) == draw.MOST_DRAWS


@pytest.mark.parametrize(
    ("found", "holds"),
    [
        ([[1, 1], [-1, -1]], True),
        ([[1, -1], [-1, 1]], False),  # the models dispute which
        ([[1, 0], [-1, -1]], False),  # unclear under one model
        ([[1, 1], [-1, 0]], False),  # a wrong one that may be right
        ([[1, 1], [1, 1]], False),  # two right ones
    ],
)
def test_a_choice_holds_only_where_every_model_says_the_same_of_every_option(found, holds):
    assert draw.one_right(np.array(found)) is holds


def test_a_number_holds_only_where_models_lie_together_and_no_misunderstanding_falls_into_the_band():
    from coachlab.drills.value import Slip

    asked = Asked("", (), "", "", {}, slips=(Slip(5.0, "too much"),), slack=1.0, widest=1.0)
    assert draw.promised(np.array([2.0, 2.5]), asked)
    assert not draw.promised(np.array([2.0, 3.5]), asked)  # too far apart
    assert not draw.promised(np.array([3.9, 4.1]), asked)  # the misunderstanding lies at the edge of the band
    assert draw.band(np.array([2.0, 2.5]), asked) == (1.0, 3.5)


def test_before_the_answer_the_page_shows_nothing_that_gives_it_away(questions):
    for name, exercise in EXERCISES.items():
        for question in questions[name][:3]:
            if exercise.kind in ("forward",) and question.seen:
                assert {"flight", "numbers", "why"} <= set(question.hidden), name
            if question.seen:
                assert question.after != question.before or "flight" in question.hidden


@pytest.mark.parametrize("name", EXERCISES)
def test_every_flight_of_a_question_can_be_set_on_the_page(questions, name):
    ends = {each["name"]: each["shown"]["yards"] for each in control_list() if "shown" in each}
    for question in questions[name]:
        flights = [question.before, question.after, *(option.controls for option in question.options)]
        for controls in filter(None, flights):
            for control, value in controls.items():
                if control in ends:
                    shown = value * ends[control]["factor"]
                    assert ends[control]["low"] - 1e-9 <= shown <= ends[control]["high"] + 1e-9, control


def test_a_band_is_said_with_the_smaller_amount_first_and_its_side_once():
    question = dataclasses.replace(cl.drill("start-1", seed=0), low=-6.2, high=-3.8)
    assert question.say_band() == "3.8° to 6.2° left"
    assert dataclasses.replace(question, low=-0.2, high=1.9).say_band() == "0.2° left to 1.9° right"
    yards = dataclasses.replace(cl.drill("strike-2", seed=0), low=3.0 * 0.9144, high=13.0 * 0.9144)
    assert yards.say_band() == "3 to 13 yd"


def test_a_question_shows_itself_in_a_notebook_with_its_words_escaped():
    question = dataclasses.replace(cl.drill("start-1", seed=0), text="<b>")
    assert "&lt;b&gt;" in question._repr_html_() and "Answer in degrees" in question._repr_html_()
    assert "<li>" in cl.drill("curve-1", seed=0)._repr_html_()
    assert cl.mark(cl.drill("curve-1", seed=0), "a")._repr_html_().count("<p>") == 3
