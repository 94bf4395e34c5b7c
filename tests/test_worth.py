"""What a shift is worth: the published table, shares that add up, and nothing said without its assumption."""

import re

import numpy as np
import pytest

import coachlab as cl
from coachlab.errors import DataError, FlightError
from coachlab.physics.aero import ENSEMBLE
from coachlab.physics.air import Air
from coachlab.physics.arc import path_from_arc
from coachlab.physics.flight import fly
from coachlab.physics.impact import Delivery, strike
from coachlab.settings import Settings
from coachlab.worth import (
    COLUMNS,
    SPREAD_COLUMNS,
    flown_settings,
    say_useful,
    shift_worth,
    split_path,
    target_window,
    useful_shifts,
)
from coachlab.worth.gain import share
from coachlab.worth.model import NAMES, land, scatter, usual_spread
from coachlab.worth.useful import useful_limits
from coachlab.worth.value import SENTENCES, TOGETHER
from coachlab.worth.window import WINDOW_COLUMNS

YARD_M, MPH_MPS = 0.9144, 0.44704
MINE = Delivery(40.0, -3.0, -2.0, 1.0, 12.0)
SHIFT = {"attack_up_deg": 4.0, "path_out_deg": 3.0, "club_speed_mps": 0.5}
SE = {"attack_up_deg": 0.6, "path_out_deg": 0.8, "club_speed_mps": 0.2}


@pytest.fixture(scope="module")
def worth():
    return shift_worth(MINE, SHIFT, SE)


@pytest.fixture(scope="module")
def exact():
    return shift_worth(MINE, SHIFT)


# The table of attack -3 to +4 with a driver, yards: value and spread for each assumption (physics, section 4) ----------

PRINTED = {
    75: {"refitted": (13, 12, 14), "held": (-3, -7, 0), "rises": (31, 27, 34)},
    90: {"refitted": (14, 11, 16), "held": (-6, -12, 1), "rises": (24, 17, 29)},
    105: {"refitted": (14, 11, 19), "held": (-2, -13, 13), "rises": (13, 5, 22)},
    115: {"refitted": (15, 10, 21), "held": (4, -12, 24), "rises": (7, -1, 15)},
}


@pytest.mark.parametrize("mph", PRINTED)
def test_seven_degrees_more_up_are_worth_what_the_table_says(mph):
    found = shift_worth(Delivery(mph * MPH_MPS, -3.0, 0.0, 0.0, 12.0), {"attack_up_deg": 7.0}).table
    rows = found[found["part"] == TOGETHER].set_index("loft")
    assert set(rows.index) == set(PRINTED[mph])
    for loft, printed in PRINTED[mph].items():
        values = rows.loc[loft, ["gain_m", "low_m", "high_m"]].to_numpy(float) / YARD_M
        assert printed[1] - 0.5 <= values[0] <= printed[2] + 0.5  # inside the printed spread, itself rounded
        # the table prints whole yards: half of one, and as much again for the loft found on another grid
        assert values == pytest.approx(printed, abs=1.0), (mph, loft)


# Right ----------------------------------------------------------------------------------------------------------------


def test_the_parts_add_up_to_the_joint_gain(worth):
    for _, rows in worth.table.groupby("loft"):
        rows = rows.set_index("part")
        for column in ("gain_m", "side_m"):
            assert rows[column].drop(TOGETHER).sum() == pytest.approx(rows.loc[TOGETHER, column], abs=1e-9)  # rounding
        assert list(rows.index) == [TOGETHER, "attack", "path", "speed"]


def test_together_and_alone_are_the_differences_of_flights(exact):
    rows = exact.table[exact.table["loft"] == "held"].set_index("part")
    base = fly(strike(MINE))
    end = fly(strike(Delivery(40.5, 1.0, 1.0, 1.0, 12.0)))
    only_speed = fly(strike(Delivery(40.5, -3.0, -2.0, 1.0, 12.0)))
    assert rows.loc[TOGETHER, "gain_m"] == pytest.approx(end.carry_m - base.carry_m, abs=1e-9)
    assert rows.loc[TOGETHER, "side_m"] == pytest.approx(end.side_m - base.side_m, abs=1e-9)
    assert rows.loc["speed", "alone_m"] == pytest.approx(only_speed.carry_m - base.carry_m, abs=1e-9)
    rises = exact.table[exact.table["loft"] == "rises"].set_index("part")
    risen = fly(strike(Delivery(40.5, 1.0, 1.0, 1.0, 16.0)))
    assert rises.loc[TOGETHER, "gain_m"] == pytest.approx(risen.carry_m - base.carry_m, abs=1e-9)


def test_the_range_goes_over_four_models_and_three_springs_of_the_face(exact):
    gains = []
    for aero in ENSEMBLE:
        for e_t in (-0.15, -0.3, 0.1):
            both = strike(Delivery([40.0, 40.5], [-3.0, 1.0], [-2.0, 1.0], 1.0, 12.0), e_t=e_t)
            gains.append(np.diff(fly(both, aero=aero).carry_m)[0])
    row = exact.table[(exact.table["loft"] == "held") & (exact.table["part"] == TOGETHER)].iloc[0]
    assert row["low_m"] == pytest.approx(min(gains), abs=1e-9)
    assert row["high_m"] == pytest.approx(max(gains), abs=1e-9)


def test_shares_are_shapleys():
    # none, a, b, ab: a alone 1, b alone 2, together 5: the 2 that only both give are halved
    assert share(np.array([0.0, 1.0, 2.0, 5.0])).tolist() == [2.0, 3.0]
    values = np.random.default_rng(0).normal(size=(3, 16))
    assert np.allclose(share(values).sum(axis=1), values[:, -1] - values[:, 0], atol=1e-12)
    # an input that changes nothing gets nothing
    idle = np.repeat(np.random.default_rng(1).normal(size=4), 2)
    assert abs(share(idle)[0]) < 1e-12


def test_the_shifts_own_uncertainty_widens_the_range_as_random_shifts_do(worth, exact, rng):
    ours = worth.table[(worth.table["loft"] == "held") & (worth.table["part"] == TOGETHER)].iloc[0]
    without = exact.table[(exact.table["loft"] == "held") & (exact.table["part"] == TOGETHER)].iloc[0]
    assert ours["gain_m"] == pytest.approx(without["gain_m"], abs=1e-9)
    n = 3000
    drawn = strike(
        Delivery(40.5 + rng.normal(0, 0.2, n), 1.0 + rng.normal(0, 0.6, n), 1.0 + rng.normal(0, 0.8, n), 1.0, 12.0)
    )
    out = 1.96 * fly(drawn).carry_m.std()
    # 3,000 draws tell an SD to 1.3 %, four of these
    assert without["low_m"] - ours["low_m"] == pytest.approx(out, rel=0.05)
    assert ours["high_m"] - without["high_m"] == pytest.approx(out, rel=0.05)


def test_a_refitted_loft_carries_further_than_any_near_it(rng):
    n = 12
    mine = np.array(
        [rng.uniform(28, 52, n), rng.uniform(-5, 5, n), rng.normal(0, 2, n), rng.normal(0, 2, n), np.full(n, 12.0),
         np.zeros(n), np.zeros(n)]
    )  # fmt: skip
    for aero, yards in (("mean", 0.05), ("patent", 0.25)):  # the patent's fit has corners where it is held
        ((carry, _, loft),) = land([(mine, "refitted", -0.15)], "driver", Air(), aero)
        for step in np.arange(-4.0, 4.1, 0.25):
            near = mine.copy()
            near[4] = np.maximum(loft + step, mine[1] + 1)
            ((other, _, _),) = land([(near, "held", -0.15)], "driver", Air(), aero)
            assert np.all(other < carry + yards * YARD_M)


def test_measured_loft_is_not_assumed(exact):
    found = shift_worth(MINE, {"attack_up_deg": 4.0, "delivered_loft_deg": 4.0})
    assert found.lofts == ["measured"]
    rises = shift_worth(MINE, {"attack_up_deg": 4.0}).table
    rises = rises[(rises["loft"] == "rises") & (rises["part"] == TOGETHER)].iloc[0]
    together = found.table.set_index("part").loc[TOGETHER]
    assert together["gain_m"] == pytest.approx(rises["gain_m"], abs=1e-9)
    assert "loft" in set(found.table["part"])


def test_nobody_refits_an_iron_for_distance():
    assert shift_worth(Delivery(34.0, -4.0, -2.0, 1.0, 24.0), {"attack_up_deg": 2.0}, club="iron-7").lofts == [
        "held", "rises",
    ]  # fmt: skip


def test_the_mirrored_shift_is_worth_the_same_and_lands_mirrored():
    here = shift_worth(Delivery(40.0, -3.0, -2.0, 1.0, 12.0, 5.0), {"path_out_deg": 3.0, "face_open_deg": -1.0}).table
    there = shift_worth(Delivery(40.0, -3.0, 2.0, -1.0, 12.0, -5.0), {"path_out_deg": -3.0, "face_open_deg": 1.0}).table
    assert np.allclose(here["gain_m"], there["gain_m"], atol=1e-8)
    assert np.allclose(here["side_m"], -there["side_m"], atol=1e-8)


# Dispersion -----------------------------------------------------------------------------------------------------------


def test_shots_scatter_with_the_spreads_and_the_arc_that_were_given():
    sd = usual_spread("iron")
    off = scatter("iron", sd)
    for at, name in enumerate(NAMES):
        assert off[at].std() == pytest.approx(sd[name], rel=0.05)
    # path goes in as attack goes up, as on the arc: -0.49 for an iron (methods, 8.1)
    assert np.corrcoef(off[1], off[2])[0, 1] == pytest.approx(-0.49, abs=0.08)
    assert np.corrcoef(off[2], off[3])[0, 1] == pytest.approx(0.4, abs=0.08)
    assert np.array_equal(off, scatter("iron", sd))


def test_dispersion_agrees_with_random_shots(exact, rng):
    ends = exact.dispersion[exact.dispersion["loft"] == "held"].set_index("end")
    sd, n = usual_spread("driver"), 4000
    slope = -1 / np.tan(np.radians(47.0))
    attack = rng.normal(0, sd["attack_up_deg"], n)
    path = slope * attack + rng.normal(0, 2.1, n)
    z = 0.4 * path / path.std() + np.sqrt(1 - 0.4**2) * rng.standard_normal(n)
    shots = strike(
        Delivery(
            40.0 + rng.normal(0, sd["club_speed_mps"], n), -3.0 + attack, -2.0 + path, 1.0 + sd["face_open_deg"] * z,
            12.0, rng.normal(0, 9.0, n), rng.normal(0, 6.3, n),
        )
    )  # fmt: skip
    flight = fly(shots)
    # 128 evenly spread shots stand for thousands: a tenth
    assert ends.loc["before", "side_sd_m"] == pytest.approx(flight.side_m.std(), rel=0.1)
    assert ends.loc["before", "carry_sd_m"] == pytest.approx(flight.carry_m.std(), rel=0.1)
    assert ends.loc["before", "side_m"] == pytest.approx(flight.side_m.mean(), abs=0.8)


def test_a_steadier_student_lands_closer_together():
    usual = usual_spread("driver")
    steady = {name: value / 2 for name, value in usual.items()}
    found = shift_worth(MINE, {"attack_up_deg": 1.0}, shot_sd_after=steady).dispersion
    for _, rows in found.groupby("loft"):
        ends = rows.set_index("end")
        assert ends.loc["after", "side_sd_m"] == pytest.approx(ends.loc["before", "side_sd_m"] / 2, rel=0.15)
    assert tuple(found.columns) == SPREAD_COLUMNS
    assert found["flew_ratio"].min() > 0.9


# Free and earned ------------------------------------------------------------------------------------------------------


def test_seven_degrees_up_swing_the_path_in_by_six_and_a_half_free():
    split = split_path(-3.0, 4.0, 0.0, 47.0)
    assert split.free_deg == pytest.approx(-6.5, abs=0.05)
    assert split.earned_deg == pytest.approx(6.5, abs=0.05)
    ends = [path_from_arc(0, 4.0, incline) - path_from_arc(0, -3.0, incline) for incline in (44.0, 50.0)]
    assert [split.free_low_deg, split.free_high_deg] == pytest.approx(sorted(ends))
    assert split.free_low_deg < split.free_deg < split.free_high_deg
    for free, earned in zip(
        (split.free_deg, split.free_low_deg, split.free_high_deg),
        (split.earned_deg, split.earned_high_deg, split.earned_low_deg),
        strict=True,
    ):
        assert free + earned == pytest.approx(split.shift_deg, abs=1e-12)
    assert split.table["part"].tolist() == ["free", "earned"]
    assert "an incline of 47 ± 3°" in split.text() and split.text() in split._repr_html_()


def test_a_path_shift_without_an_attack_change_is_all_earned(worth):
    assert split_path(-3.0, -3.0, 2.0, 58.0).earned_deg == 2.0
    assert shift_worth(MINE, {"path_out_deg": 2.0}).path is None
    assert worth.path.shift_deg == 3.0
    own = shift_worth(MINE, {"attack_up_deg": 4.0}, incline_deg=52.0)
    assert own.path.incline_deg == 52.0
    assert "that is not in the shift" in own.text()
    with pytest.raises(FlightError, match="band of 3"):
        split_path(-3.0, 4.0, 0.0, 2.0)


# What is said ---------------------------------------------------------------------------------------------------------


def test_no_gain_is_said_without_its_assumption_and_its_range(worth):
    unit_after_number = re.compile(r"[+−]?\d+\.\d yd")
    for sentence in worth.sentences():
        if "puts the change" in sentence:
            assert "loft" in sentence.split(",")[0]
            assert len(unit_after_number.findall(sentence)) >= 2 and " to " in sentence
    assert sum("puts the change" in sentence for sentence in worth.sentences()) == 3


def test_every_sentence_is_of_the_closed_list(worth):
    patterns = [".+?".join(map(re.escape, re.split(r"\{\w+\}", template))) for template in SENTENCES.values()]
    others = [
        shift_worth(MINE, {"attack_up_deg": 4.0}),
        shift_worth(MINE, {"path_out_deg": 4.0, "strike_toe_mm": -3.0}, settings=Settings(units="metres")),
        shift_worth(MINE, {"delivered_loft_deg": 1.0, "club_speed_mps": -1.0}),
    ]
    for value in [worth, *others]:
        for sentence in value.sentences():
            assert any(re.fullmatch(pattern, sentence) for pattern in patterns), sentence
        assert value.text() == " ".join(value.sentences())


def test_nothing_promises():
    said = " ".join(SENTENCES.values()).lower()
    for word in ("will", "guarantee", "promise", "gain", "improve", "fix", "works", "proven", "sure", "always"):
        template_free = re.sub(r"\{\w+\}", "", said)
        assert not re.search(rf"\b{word}", template_free), word


def test_where_the_assumptions_disagree_that_is_said():
    driver = shift_worth(Delivery(40.0, -3.0, 0.0, 0.0, 12.0), {"attack_up_deg": 4.0})
    assert "hangs on what loft does" in driver.text()
    assert "hangs on what loft does" not in shift_worth(MINE, {"club_speed_mps": 1.0}).text()


def test_a_worth_is_a_value_with_a_fixed_table_and_both_units(worth):
    assert tuple(worth.table.columns) == COLUMNS
    assert worth.table.notna().all(axis=None) and worth.dispersion.notna().all(axis=None)
    assert np.all(worth.table["low_m"] <= worth.table["gain_m"]) and np.all(
        worth.table["gain_m"] <= worth.table["high_m"]
    )
    metres = shift_worth(MINE, SHIFT, settings=Settings(units="metres"))
    assert " yd" in worth.text() and " yd" not in metres.text() and " m " in metres.text()
    assert "change in carry (yd)" in worth._repr_html_()
    assert (
        repr(worth)
        == "<Worth of attack_up_deg +4, path_out_deg +3, club_speed_mps +0.5 with driver: refitted, held, rises>"
    )
    assert cl.shift_worth is shift_worth
    with pytest.raises(AttributeError):
        worth.club = "iron-7"


def test_what_was_given_stays_as_it_was():
    shift, se, sd = dict(SHIFT), dict(SE), {"attack_up_deg": 1.0}
    shift_worth(MINE, shift, se, shot_sd=sd)
    assert (shift, se, sd) == (SHIFT, SE, {"attack_up_deg": 1.0})


# Smallest useful shift and window -------------------------------------------------------------------------------------


def test_useful_shifts_move_the_ball_by_the_distance_and_fit_the_settings():
    found = useful_shifts(Delivery(34.0, -4.0, -2.0, 1.0, 24.0), "iron-7", loft="held")
    rows = found.table.set_index("outcome")
    base = fly(strike(Delivery(34.0, -4.0, -2.0, 1.0, 24.0), "iron"))
    speed = fly(strike(Delivery(34.0 + rows.loc["club_speed_mps", "useful"], -4.0, -2.0, 1.0, 24.0), "iron"))
    face = fly(strike(Delivery(34.0, -4.0, -2.0, 1.0 + rows.loc["face_open_deg", "useful"], 24.0), "iron"))
    # a slope stands for the curve over such a small shift: a tenth
    assert speed.carry_m - base.carry_m == pytest.approx(found.distance_m, rel=0.1)
    assert face.side_m - base.side_m == pytest.approx(found.distance_m, rel=0.1)
    assert rows.loc["face_to_path_deg", "useful"] == rows.loc["path_out_deg", "useful"]
    assert found.distance_m == 3.0
    settings = Settings(smallest_useful_by_club={"iron-7": found.values})
    assert settings.smallest_useful_shift("face_open_deg", "iron-7") == rows.loc["face_open_deg", "useful"]
    assert np.all(rows["low"] <= rows["useful"]) and np.all(rows["useful"] <= rows["high"])
    assert found.text().startswith("With 7-iron and the delivered loft held, 3.3 yd along or sideways takes: attack ")


def test_a_driver_gains_two_yards_a_degree_so_two_degrees_are_useful():
    found = useful_shifts(Delivery(90 * MPH_MPS, -1.0, 0.0, 0.0, 12.0))
    attack = found.table.set_index("outcome").loc["attack_up_deg"]
    assert attack["slope_m"] / YARD_M == pytest.approx(2.0, abs=0.3)  # "about 2 yards a degree" (physics, section 4)
    assert attack["useful"] == pytest.approx(4.0 / attack["slope_m"])


def test_what_cannot_make_the_distance_within_reach_has_no_useful_shift():
    found = useful_shifts(Delivery(34.0, -4.0, 0.0, 0.0, 24.0), "iron-7", distance_m=40.0)
    assert found.table.set_index("outcome").loc["attack_up_deg", "useful":].isna().all()
    assert "attack_up_deg" not in found.values and found.values["carry_m"] == 40.0


@pytest.mark.parametrize("outcome", ["attack_up_deg", "path_out_deg", "face_open_deg", "club_speed_mps"])
def test_a_window_holds_what_lands_near_the_best(outcome):
    mine = Delivery(34.0, -4.0, -2.0, 1.0, 24.0)
    window = target_window(mine, outcome, "iron-7", shot_sd=0.0, loft="held")
    values = np.linspace(window.own - 5, window.own + 5, 201)
    values = values[(values >= window.low) & (values <= window.high)]
    changed = {name: getattr(mine, name) for name in NAMES} | {outcome: values}
    flight = fly(strike(Delivery(**changed), "iron"))
    best = fly(strike(Delivery(**(changed | {outcome: window.best})), "iron"))
    if outcome in ("attack_up_deg", "club_speed_mps"):
        lost = best.carry_m - flight.carry_m
    else:
        lost = np.abs(flight.side_m) - abs(best.side_m)
    assert len(values) > 3
    # the edges are read off a straight line between 41 values
    assert lost.max() < window.distance_m * 1.03
    assert window.low <= window.best <= window.high
    assert window.text().endswith("is inside." if window.inside else "is outside.")


def test_a_window_is_never_narrower_than_a_test_block_can_tell():
    mine = Delivery(40.0, -3.0, -2.0, 1.0, 12.0)
    window = target_window(mine, "face_open_deg", shot_sd=5.0, settings=Settings(block_shots=5))
    assert window.widened and "as wide as a test block can tell" in window.text()
    assert window.high - window.low == pytest.approx(2 * 5.0 / np.sqrt(5))
    assert not target_window(mine, "face_open_deg", shot_sd=0.1).widened
    assert tuple(window.table.columns) == WINDOW_COLUMNS and window.source == "flight model"


# Bad input ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "error", "found"),
    [
        (lambda: shift_worth(MINE, {}), DataError, "The shift is empty"),
        (lambda: shift_worth(MINE, {"atack_up_deg": 1.0}), DataError, "shift names 'atack_up_deg'"),
        (lambda: shift_worth(MINE, {"attack_up_deg": "more"}), DataError, "is 'more'"),
        (lambda: shift_worth(MINE, {"attack_up_deg": float("nan")}), DataError, "is nan"),
        (lambda: shift_worth(MINE, SHIFT, {"attack_up_deg": -1.0}), DataError, "below 0"),
        (lambda: shift_worth(MINE, SHIFT, club="spoon"), DataError, "no club 'spoon'"),
        (lambda: shift_worth(MINE, SHIFT, level=95), DataError, "level is 95"),
        (lambda: shift_worth(Delivery([40.0, 41.0], -3, 0, 0, 12), SHIFT), FlightError, "that of 2 shots"),
        (
            lambda: shift_worth(MINE, {"attack_up_deg": 16.0}),
            FlightError,
            "After the shift, with the delivered loft held",
        ),
        (lambda: useful_shifts(MINE, loft="bent"), DataError, "loft is 'bent'"),
        (lambda: useful_shifts(MINE, distance_m=0.0), DataError, "distance_m is 0.0"),
        (lambda: target_window(MINE, "carry_m"), DataError, "no window for 'carry_m'"),
        (lambda: target_window(MINE, "attack_up_deg", reach=-1.0), DataError, "reach is -1.0"),
    ],
)
def test_bad_input_gets_one_message_of_three_lines(call, error, found):
    with pytest.raises(error, match=found) as caught:
        call()
    assert len(str(caught.value).splitlines()) == 3


# Smallest useful shifts of an academy's settings -----------------------------------------------------------------------


def test_the_flight_model_fills_what_the_academy_left_open_and_nothing_else():
    own = Settings(smallest_useful={"carry_m": 3.0}, smallest_useful_by_club={"iron-7": {"attack_up_deg": 0.7}})
    filled = flown_settings(own, "iron-7", 33.0, 23.5)
    found = useful_shifts(Delivery(33.0, -3.5, 0.0, 0.0, 23.5), "iron-7", 3.0, loft="held").table.set_index("outcome")
    assert filled.smallest_useful_shift("attack_up_deg", "iron-7") == 0.7
    assert filled.useful_source("attack_up_deg", "iron-7") == "own"
    for outcome in ("path_out_deg", "club_speed_mps"):
        assert filled.useful_source(outcome, "iron-7") == "flight model"
        # rounded to hundredths
        assert filled.smallest_useful_shift(outcome, "iron-7") == pytest.approx(found.loc[outcome, "useful"], abs=0.006)
    assert filled.useful_source("carry_m", "iron-7") == "own" and own.flown_useful == {}
    assert filled.useful_source("path_out_deg", "driver") == "default"
    assert flown_settings(filled, "iron-7", 20.0) is filled
    assert flown_settings(own, "spoon") is own


def test_a_faster_student_needs_less_and_a_distance_worth_more_asks_for_more():
    def path(speed, distance=3.0):
        settings = flown_settings(Settings(smallest_useful={"carry_m": distance}), "iron-7", speed)
        return settings.smallest_useful_shift("path_out_deg", "iron-7")

    assert path(28.0) > path(34.0) > path(40.0)
    assert path(34.0, 4.0) > path(34.0, 3.0)


@pytest.mark.parametrize("club", ["driver", "wood-3", "hybrid-4", "iron-4", "iron-7", "wedge-pw", "wedge-60"])
@pytest.mark.parametrize("speed", [np.nan, 15.0, 25.0, 35.0, 50.0])
def test_no_threshold_is_under_one_readings_error_or_over_half_the_reach(club, speed):
    filled = flown_settings(Settings(), club, speed)
    for outcome in ("attack_up_deg", "path_out_deg", "face_open_deg", "face_to_path_deg", "club_speed_mps"):
        least, most = useful_limits(outcome)
        assert least <= filled.smallest_useful_shift(outcome, club) <= most
        assert filled.useful_source(outcome, club) == "flight model"


def test_where_a_limit_holds_the_threshold_the_sentence_says_so():
    fast = flown_settings(Settings(), "driver", 50.0)
    assert fast.smallest_useful_shift("face_open_deg", "driver") == useful_limits("face_open_deg")[0]
    assert "one reading's own error" in say_useful(fast, "face_open_deg", "driver")["limit"]
    slow = flown_settings(Settings(), "wedge-pw", 22.0)
    assert "half of what a student can reach" in say_useful(slow, "path_out_deg", "wedge-pw")["limit"]
    middling = say_useful(flown_settings(Settings(), "iron-7", 34.0), "path_out_deg", "iron-7")
    assert (middling["kind"], middling["limit"], middling["speed"]) == ("useful flown", "", "76.1 mph")
    assert say_useful(Settings(), "path_out_deg", "iron-7")["kind"] == "useful default"
