import pytest

import coachlab as cl
from coachlab import claims

VALUES = {
    "academy": "Quillbeck Academy",
    "cue": "I2 rafter",
    "other": "S1",
    "club": "7-iron",
    "outcome": "attack",
    "pattern": "attack",
    "side": "steeper",
    "students": 24,
    "shots": "960",
    "level": "95 %",
    "low": "0.5",
    "high": "1.7°",
    "estimate": "1.1°",
    "verb": "raised",
    "way": "",
    "verdict": "wrong way",
    "state": "higher",
    "useful": "1.0°",
    "needed": 6,
    "coaches": 4,
    "grade": "B",
    "tests": 7,
    "chance": "0.3",
    "tested": "90 % nominal, about 86 % in tests at N = 12",
    **dict.fromkeys(("path", "attack", "free", "earned", "path_high", "earned_high", "band_high"), "+1.2°"),
    **dict.fromkeys(("path_low", "earned_low", "band_low"), "−0.3"),
    **dict.fromkeys(("incline", "band"), "3°"),
    "least": 5,
    "distance": "3.3 yd",
    "along": "sideways, with the face as it is",
    "speed": "74.5 mph",
    "limit": "; the flight would ask for less, but that is no more than one reading's own error",
}
ALL = [(grade, kind) for grade, kinds in claims.TEMPLATES.items() for kind in kinds]


@pytest.mark.parametrize(("grade", "kind"), ALL)
def test_every_sentence_of_the_list_is_recognised_at_its_own_grade(grade, kind):
    assert claims.matches(claims.say(grade, kind, VALUES), grade)


def test_a_causal_sentence_is_not_allowed_below_its_grade():
    sentence = claims.say("A", "moved", VALUES)
    assert sentence == (
        "In 24 students of Quillbeck Academy, I2 rafter raised 7-iron attack by 1.1° on average against the plain "
        "instruction (95 % interval 0.5 to 1.7°; 960 shots, random order)."
    )
    assert not any(claims.matches(sentence, grade) for grade in "BCD")


@pytest.mark.parametrize("word", ["works", "fixes", "proven", "significant", "responders"])
def test_forbidden_words_never_pass(word):
    assert not claims.matches(claims.say("A", "moved", VALUES | {"cue": f"I2 {word}"}), "A")


def test_no_sentence_of_grades_b_to_d_holds_a_verb_of_cause():
    causes = {claims.verb(outcome, sign) for outcome in claims._MOVES for sign in (1, -1)}
    for grade in "BCD":
        for kind, template in claims.TEMPLATES[grade].items():
            assert "{verb}" not in template, (grade, kind)
            assert not any(f" {verb} " in template for verb in causes), (grade, kind)


def test_an_interval_that_covers_zero_comes_before_the_point():
    for grade in "ABC":
        template = claims.TEMPLATES[grade]["open"]
        assert template.index("{low}") < template.index("{estimate}")


def test_a_sentence_that_a_grade_does_not_allow_is_refused():
    with pytest.raises(cl.DataError, match="This grade allows: count"):
        claims.say("D", "moved", VALUES)


def test_free_text_is_not_on_the_list():
    assert not claims.matches("I2 rafter raised attack.", "A")


def test_a_path_moves_outward_in_good_english():
    assert claims.verb("path_out_deg", 1.0) + " path" + claims.way("path_out_deg", 1.0) == "moved path outward"
    assert claims.way("attack_up_deg", -1.0) == ""
