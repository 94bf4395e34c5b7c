"""The six pages: plain sentences whose figures are the physics' own."""

import re

import pytest

import coachlab as cl
from coachlab.drills import GROUPS
from coachlab.drills.worlds import usual
from coachlab.errors import DataError
from coachlab.settings import Settings
from coachlab.widgets.controls import checked


@pytest.mark.parametrize("group", GROUPS)
@pytest.mark.parametrize("units", ["yards", "metres"])
def test_each_group_has_a_page_of_four_steps_that_the_flight_page_can_show(group, units):
    page = cl.explain_flight(group, Settings(units=units))
    assert page.title == GROUPS[group] and len(page.steps) == 4
    for step in page.steps:
        assert step.text.endswith(".") and len(step.text.split()) < 80
        for controls in (step.before, step.after):
            checked(controls)
    text = page.text()
    assert not re.search(r"nan|inf\b|−0", text)
    assert not re.search(r"\byd\b|\bmph\b" if units == "metres" else r"\d m\b|m/s", text)
    assert page._repr_html_().count("<p>") == 5


def test_figures_are_computed():
    start = cl.strike(cl.Delivery(41.0, -1.5, 0.0, 4.0, 14.0)).launch_out_deg
    assert f"starts {start:.1f}° right" in cl.explain_flight("start").steps[0].text
    iron = usual("iron-7")
    carries = [
        cl.fly(
            cl.strike(
                cl.Delivery(iron["club_speed_mps"], iron["attack_up_deg"], 0.0, 0.0, iron["delivered_loft_deg"]), "iron"
            ),
            cl.Air(tail_mps=wind * 0.44704),
        ).carry_m
        for wind in (-10, 0, 10)
    ]
    text = cl.explain_flight("air").steps[0].text
    assert f"takes {(carries[1] - carries[0]) / 0.9144:.0f} yd" in text
    assert f"gives only {(carries[2] - carries[1]) / 0.9144:.0f} yd" in text


def test_an_unknown_group_gets_one_clear_error():
    with pytest.raises(DataError, match="There is no group 'putting'"):
        cl.explain_flight("putting")
