import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.pain import PLACES, Pain, allow_swings, barred_cues
from coachlab.settings import Settings

CARDS = pd.DataFrame(
    {
        "cue": ["S1", "S2", "I1", "plain"],
        "moves": ["attack_up_deg", "path_out_deg", "attack_up_deg", ""],
        "direction": [1, 1, -1, 1],
        "exclusions": ["back hip", "pain", "", ""],
    }
)


def test_without_trouble_the_academys_own_cap_holds():
    assert allow_swings(Pain(0)).swings == 70
    assert allow_swings(Pain(2, ("knee",)), Settings(adult_swings=50)).swings == 50
    assert allow_swings(Pain(0), junior=True).swings == 40
    assert allow_swings(Pain(0)).driver_swings == 30
    assert not allow_swings(Pain(2, ("knee",))).limited


@pytest.mark.parametrize(
    "pain",
    [Pain(3), Pain(0, ("wrist",)), Pain(0, ("elbow",)), Pain(1, ("back",)), Pain(0, ("hip",)), Pain(0, recent=True)],
)
def test_pain_of_three_or_trouble_in_some_places_limits_the_lesson(pain):
    allowed = allow_swings(pain)
    assert allowed.may_swing and allowed.limited
    assert (allowed.swings, allowed.driver_swings) == (35, 15)
    text = allowed.text()
    for words in ("tilts the body", "width of the stance", "hit down", "no trying out", "it hurts, stop"):
        assert words in text


@pytest.mark.parametrize("pain", [Pain(7), Pain(0, alarm=True), Pain(2, ("back",), alarm=True)])
def test_severe_or_new_or_spreading_pain_stops_and_refers(pain):
    allowed = allow_swings(pain)
    assert not allowed.may_swing and allowed.swings == 0
    assert "licensed clinician" in allowed.text()


def test_cues_that_load_the_body_are_left_out_each_with_its_reason():
    assert barred_cues(CARDS, Pain(0)) == {}
    assert set(barred_cues(CARDS, Pain(4))) == {"S2", "I1"}
    assert set(barred_cues(CARDS, Pain(0, ("hip",)))) == {"S1", "S2", "I1"}
    assert set(barred_cues(CARDS, Pain(0, ("knee",)))) == set()
    assert barred_cues(CARDS, Pain(0, ("back", "hip")))["S1"] == "Its card excludes trouble in the back and hip."


@pytest.mark.parametrize("answer", [{"pain_0_10": 11}, {"pain_0_10": True}, {"pain_0_10": 1, "places": ("soul",)}])
def test_an_answer_that_cannot_be_is_refused(answer):
    with pytest.raises(cl.DataError) as caught:
        Pain(**answer)
    assert caught.value.do


def test_every_place_can_stand_in_a_cards_exclusions():
    assert all(place.isalpha() for place in PLACES)
