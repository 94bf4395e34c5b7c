"""What a number costs is what moving it is worth, ranked, with its range, and never said without its assumption."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

import coachlab as cl
from coachlab.physics.flight import fly
from coachlab.physics.impact import Delivery, strike
from coachlab.plots import describe_costs, plot_costs
from coachlab.worth.cost import ALONG, COST_COLUMNS, LEAST_SHOTS


def plain_shots(attack=-6.0, path=0.0, face=0.0, speed=34.0, loft=22.0, sds=(1.5, 2.0, 2.5, 0.5), visits=6, n=20):
    """One student's plain shots, whose means are exactly those given."""
    rng = np.random.default_rng(0)
    z = rng.standard_normal((4, visits, n))
    z = (z - z.mean(axis=(1, 2), keepdims=True)) / z.std(axis=(1, 2), keepdims=True)
    values = {
        name: (mean + sd * each).ravel()
        for name, mean, sd, each in zip(
            ("attack_up_deg", "path_out_deg", "face_open_deg", "club_speed_mps"),
            (attack, path, face, speed),
            sds,
            z,
            strict=True,
        )
    }
    table = pd.DataFrame(values).assign(student="Q1", club="iron-7", phase="plain", delivered_loft_deg=loft)
    return table.assign(session=np.repeat([f"v{at}" for at in range(visits)], n))


def carry(**changes):
    usual = {"club_speed_mps": 34.0, "attack_up_deg": -6.0, "path_out_deg": 0.0, "face_open_deg": 0.0}
    return fly(strike(Delivery(**(usual | {"delivered_loft_deg": 22.0} | changes)), "iron")).carry_m


def test_a_cost_is_the_models_own_gain_of_the_best_value_in_reach():
    costs = cl.costliest(plain_shots(), club="iron-7")
    row = costs.table.query("number == 'club_speed_mps' and loft == 'held'").iloc[0]
    assert row["best"] == pytest.approx(row["own"] + row["reach"])
    assert row["gain_m"] == pytest.approx(carry(club_speed_mps=row["best"]) - carry(), abs=0.02)
    held = costs.table.query("number == 'attack_up_deg' and loft == 'held'").iloc[0]
    assert held["gain_m"] == pytest.approx(carry(attack_up_deg=held["best"]) - carry(), abs=0.02)
    rises = costs.table.query("number == 'attack_up_deg' and loft == 'rises'").iloc[0]
    moved = rises["best"] - rises["own"]
    expected = carry(attack_up_deg=rises["best"], delivered_loft_deg=22 + moved) - carry()
    assert rises["gain_m"] == pytest.approx(expected, abs=0.02)


def test_each_range_holds_its_gain_and_a_surer_mean_narrows_it():
    sure, unsure = (cl.costliest(plain_shots(n=n), club="iron-7").table for n in (200, 4))
    for table in (sure, unsure):
        assert tuple(table.columns) == COST_COLUMNS
        assert ((table["low_m"] <= table["gain_m"]) & (table["gain_m"] <= table["high_m"])).all()
        assert (table["gain_m"] >= 0).all()
    wide = [(table["high_m"] - table["low_m"]).sum() for table in (sure, unsure)]
    assert wide[0] < wide[1]


def test_the_number_that_is_far_off_costs_most_and_one_that_is_right_costs_nothing():
    open_face = cl.costliest(plain_shots(face=8.0, sds=(0.1, 0.1, 3.0, 0.05)), club="iron-7")
    assert open_face.ranking[0] == "face_open_deg"
    assert open_face.clear
    assert "Face costs most under each assumption" in open_face.text()
    straight = cl.costliest(plain_shots(), club="iron-7")
    # the means are exactly on the line: nothing can be gained sideways
    assert straight.table.query("along == 'side'")["gain_m"].max() < 1e-6
    assert not straight.clear
    assert "cannot be told" in straight.text()


def test_a_driver_is_asked_under_three_assumptions_and_no_gain_stands_without_one():
    table = plain_shots(attack=-2.0, speed=44.0, loft=13.0).assign(club="driver")
    costs = cl.costliest(table)
    assert set(costs.table["loft"]) == {"refitted", "held", "rises"}
    assert len(costs.table) == 3 * len(ALONG)
    for sentence in costs.sentences():
        if " costs in carry at " in sentence or " costs sideways at " in sentence:
            assert sentence.startswith("With the ")
    assert "stop if it hurts" in costs.sentences()[-1]
    assert costs.text().count("costs in carry at") == 6


def test_only_plain_shots_of_the_student_count_and_a_typical_loft_is_said():
    table = plain_shots().drop(columns="delivered_loft_deg")
    cued = table.assign(phase="cue", attack_up_deg=5.0)
    other = table.iloc[:30].assign(student="Q2")
    costs = cl.costliest(pd.concat([table, cued, other], ignore_index=True), club="iron-7")
    assert (costs.student, costs.shots, costs.sessions) == ("Q1", 120, 6)
    assert costs.delivery.attack_up_deg == pytest.approx(-6.0)
    assert "The delivered loft was not measured" in costs.text()


def test_too_few_shots_and_missing_columns_are_named():
    table = plain_shots()
    with pytest.raises(cl.DataError, match=f"at least {LEAST_SHOTS} such shots"):
        cl.costliest(table.iloc[:9], club="iron-7")
    with pytest.raises(cl.DataError, match="no column path_out_deg"):
        cl.costliest(table.drop(columns="path_out_deg"), club="iron-7")
    with pytest.raises(cl.DataError, match="no club 'rake'"):
        cl.costliest(table, club="rake")


def test_a_name_or_an_unknown_id_is_answered_by_pseudonyms_that_exist_and_never_said_again():
    many = pd.concat([plain_shots().assign(student=f"s-0000000{k}") for k in range(7)], ignore_index=True)
    for unknown in ("Anna Berg", "s-ffffffff"):
        with pytest.raises(cl.DataError, match="names became pseudonyms") as caught:
            cl.costliest(many, unknown, "iron-7")
        assert unknown not in str(caught.value)
        assert str(caught.value).count("s-0000000") == 5


def test_the_picture_draws_every_range_in_the_order_of_the_ranking():
    costs = cl.costliest(plain_shots(path=4.0), club="iron-7")
    ax = plot_costs(costs, Figure().subplots())
    labels = [label.get_text().split("\n")[0] for label in ax.get_yticklabels()]
    assert labels == [WORDS[name] for name in costs.ranking]
    ends = sorted(
        (round(float(a[0]), 6), round(float(b[0]), 6)) for lines in ax.collections for a, b in lines.get_segments()
    )
    yards = costs.table[["low_m", "high_m"]].to_numpy() / 0.9144
    assert ends == sorted((round(float(low), 6), round(float(high), 6)) for low, high in yards)
    said = describe_costs(costs)
    assert costs.text() in said and "7-iron" in said


WORDS = {"attack_up_deg": "attack", "path_out_deg": "path", "face_open_deg": "face", "club_speed_mps": "club speed"}
