"""The teaching check: no answer depends on what the models of ball, face and arc dispute.

Each answer is computed anew with more grips of the face than the generator tried, in fine steps, and some of them by
hand with nothing but the public strike and flight.
"""

import numpy as np
import pytest

import coachlab as cl
from coachlab.drills import EXERCISES
from coachlab.drills.worlds import PLAIN, Worlds, crossing, flown, usual
from coachlab.physics.aero import ENSEMBLE
from coachlab.physics.arc import ARCS, path_from_arc
from coachlab.physics.impact import HEADS
from coachlab.schema import CLUBS
from coachlab.worth.arc import INCLINE_BAND_DEG

E_TS = np.linspace(-0.3, 0.1, 5)
FEW, MANY = range(100, 105), range(200, 240)
COARSE_M = 0.05 * 0.9144  # what coarse flights may differ by


@pytest.mark.parametrize("name", EXERCISES)
def test_each_answer_holds_under_all_models_and_more_grips(name):
    check(name, FEW, Worlds(grips=6))


@pytest.mark.slow
@pytest.mark.parametrize("name", EXERCISES)
def test_each_answer_holds_under_all_models_and_more_grips_in_fine_steps_over_many_seeds(name):
    check(name, MANY, Worlds(grips=8, coarse=False))


def check(name, seeds, worlds):
    for seed in seeds:
        question = cl.drill(name, seed=seed)
        found = EXERCISES[name].solve(question.case, worlds)
        if question.options:
            # options stand in another order where they have none of their own
            right = np.all(found == 1, axis=1)
            wrong = np.all(found == -1, axis=1)
            assert right.sum() == 1 and wrong.sum() == len(found) - 1, (seed, found)
        else:
            assert (found > question.low).all() and (found < question.high).all(), (seed, found)
            for slip in question.slips:
                assert not question.low <= slip.value <= question.high


def test_the_models_are_those_of_the_ensemble_and_the_grips_span_all_that_cannot_be_excluded():
    worlds = Worlds()
    assert worlds.aeros == ENSEMBLE and len(ENSEMBLE) == 4
    for head, made in HEADS.items():
        grips = worlds.grips_of(head)
        assert grips[0] == made.e_t
        assert grips.min() <= min(-0.3, made.e_t_span[0]) and grips.max() >= max(0.1, made.e_t_span[1])
        assert np.ptp(worlds.inclines_of(head)) == 2 * INCLINE_BAND_DEG
    assert worlds.incline_band_deg == INCLINE_BAND_DEG


# By hand: strike and fly one ball at a time -------------------------------------------------------------------------


def ball(controls, e_t=None, aero="mean"):
    names = ("club_speed_mps", "attack_up_deg", "path_out_deg", "face_open_deg", "delivered_loft_deg")
    strikes = ("strike_toe_mm", "strike_high_mm")
    delivery = cl.Delivery(**{name: controls[name] for name in (*names, *strikes)})
    launch = cl.strike(delivery, CLUBS[controls["club"]], e_t)
    air = cl.Air(**{name: controls[name] for name in ("temperature_c", "altitude_m", "tail_mps", "cross_mps")})
    return launch, cl.fly(launch, air, aero)


def curve(launch, flight):
    downrange = np.sqrt(flight.carry_m**2 - flight.side_m**2)
    return flight.side_m - downrange * np.tan(np.radians(launch.launch_out_deg))


@pytest.mark.parametrize("seed", range(300, 304))
def test_the_start_line_by_hand(seed):
    question = cl.drill("start-1", seed=seed)
    for e_t in E_TS:
        assert question.low < ball(question.after, e_t)[0].launch_out_deg < question.high
    assert ball(question.after)[0].launch_out_deg == pytest.approx(question.answer, abs=1e-9)


@pytest.mark.parametrize("seed", range(300, 304))
def test_the_face_behind_a_start_by_hand(seed):
    question = cl.drill("start-3", seed=seed)
    start = question.case["start_deg"]
    for e_t in E_TS:
        starts = [
            ball(question.after | {"face_open_deg": face}, e_t)[0].launch_out_deg
            for face in (question.low, question.high)
        ]
        # the face that gives this start lies inside the band under each grip
        assert starts[0] < start < starts[1]


@pytest.mark.parametrize("seed", range(300, 303))
def test_the_side_of_a_curve_by_hand(seed):
    question = cl.drill("curve-1", seed=seed)
    said = question.options[question.right].text
    for aero in ENSEMBLE:
        for e_t in (-0.3, 0.1):
            bends = curve(*ball(question.after, e_t, aero))
            assert {"To the right": bends > 1.5, "To the left": bends < -1.5}.get(said, abs(bends) < 1.5)


@pytest.mark.parametrize("seed", range(300, 303))
def test_the_face_that_takes_the_curve_out_by_hand(seed):
    question = cl.drill("curve-4", seed=seed)
    for aero in ENSEMBLE:
        for e_t in (-0.3, 0.1):
            ends = [
                curve(*ball(question.after | {"face_open_deg": face}, e_t, aero))
                for face in (question.low, question.high)
            ]
            assert ends[0] < 0 < ends[1]


@pytest.mark.parametrize("seed", range(300, 303))
def test_what_speed_and_an_off_centre_strike_do_to_carry_by_hand(seed):
    for name, way in (("distance-2", 1), ("strike-2", -1)):
        question = cl.drill(name, seed=seed)
        for aero in ENSEMBLE:
            for e_t in (-0.3, 0.1):
                before, after = (ball(each, e_t, aero)[1].carry_m for each in (question.before, question.after))
                assert question.low < way * (after - before) < question.high


@pytest.mark.parametrize("seed", range(300, 303))
def test_the_aim_in_a_crosswind_by_hand(seed):
    question = cl.drill("air-3", seed=seed)
    for aero in ENSEMBLE:
        for e_t in (-0.3, 0.1):
            low, high = (
                ball(question.after | {"path_out_deg": aim, "face_open_deg": aim}, e_t, aero)[1].side_m
                for aim in (question.low, question.high)
            )
            assert low < 0 < high


@pytest.mark.parametrize("seed", range(300, 303))
def test_the_loft_that_lifts_a_start_by_hand(seed):
    question = cl.drill("distance-4", seed=seed)
    loft = question.before["delivered_loft_deg"]
    for e_t in E_TS:
        low, now, high = (
            ball(question.before | {"delivered_loft_deg": loft + by}, e_t)[0].launch_up_deg
            for by in (question.low, 0.0, question.high)
        )
        assert low - now < question.case["more_deg"] < high - now


@pytest.mark.parametrize("seed", range(300, 303))
def test_the_path_that_attack_takes_along_by_hand(seed):
    question = cl.drill("arc-1", seed=seed)
    incline = ARCS[CLUBS[question.case["club"]]].incline_deg
    for by in (-3.0, 0.0, 3.0):
        ends = [path_from_arc(0.0, question.case[name], incline + by) for name in ("to_deg", "from_deg")]
        assert question.low < ends[0] - ends[1] < question.high


@pytest.mark.parametrize("seed", range(300, 302))
@pytest.mark.parametrize("name", ["curve-3", "air-2", "air-4", "strike-4"])
def test_the_options_of_a_choice_by_hand(name, seed):
    question = cl.drill(name, seed=seed)
    for aero in ENSEMBLE:
        for e_t in (-0.3, 0.1):
            shots = [ball(option.controls, e_t, aero) for option in question.options]
            if name == "curve-3":
                value = [np.sign(curve(*shot)) for shot in shots]
                odd = [at for at, side in enumerate(value) if value.count(side) == 1]
            elif name == "air-2":
                value = [np.sign(flight.carry_m - ball(question.before, e_t, aero)[1].carry_m) for _, flight in shots]
                odd = [at for at, side in enumerate(value) if value.count(side) == 1]
            elif name == "air-4":
                odd = [int(np.argmax([abs(flight.side_m) for _, flight in shots]))]
            else:
                off = [abs(launch.launch_out_deg) + abs(curve(launch, flight)) for launch, flight in shots]
                odd = [int(np.argmin(off))]
            assert odd == [question.right]


# The parts that the answers are made of -----------------------------------------------------------------------------


def test_many_deliveries_fly_as_each_alone():
    shots = [
        usual("driver", face_open_deg=2.0),
        usual("iron-7", cross_mps=4.0, temperature_c=5.0),
        usual("driver", tail_mps=-5.0, altitude_m=1500.0),
    ]
    found = flown(shots, PLAIN)
    for at, controls in enumerate(shots):
        launch, flight = ball(controls)
        assert found["launch_out_deg"][at, 0] == pytest.approx(launch.launch_out_deg, abs=1e-9)
        assert found["carry_m"][at, 0] == pytest.approx(flight.carry_m, abs=COARSE_M)
        assert found["curve_m"][at, 0] == pytest.approx(curve(launch, flight), abs=COARSE_M)


def test_a_ball_that_was_flown_before_has_the_numbers_that_it_had(monkeypatch):
    shots = [usual("driver", face_open_deg=1.25), usual("wedge-pw", face_open_deg=1.25)]
    first = flown(shots, PLAIN)
    monkeypatch.setattr("coachlab.drills.worlds.fly", None)  # nothing is flown again
    first["carry_m"][:] = 0.0
    again = flown(shots[::-1], PLAIN)
    assert again["carry_m"][1, 0] == pytest.approx(ball(shots[0])[1].carry_m, abs=COARSE_M)
    assert again["carry_m"][0, 0] == pytest.approx(ball(shots[1])[1].carry_m, abs=COARSE_M)


@pytest.mark.parametrize("name", ["start-1", "start-3", "curve-4", "air-3"])
def test_a_mirrored_question_has_the_mirrored_answer(name):
    case = cl.drill(name, seed=7).case
    lateral = ("path_out_deg", "face_open_deg", "start_deg", "cross_mps")
    mirrored = case | {key: -case[key] for key in lateral if key in case}
    answers = [EXERCISES[name].solve(each, Worlds()) for each in (case, mirrored)]
    # a thousandth of a degree: flights in long steps are in single precision
    assert answers[1] == pytest.approx(-answers[0], abs=1e-3)


def test_a_crossing_is_found_where_there_is_one_and_missing_where_there_is_none():
    at = np.linspace(-2.0, 2.0, 5)
    values = np.column_stack([at**3, -2 * at, at + 10])
    roots = crossing(at, values, np.array([1.0, 1.0, 0.0]))
    assert roots[:2] == pytest.approx([1.0, -0.5], abs=1e-9)
    assert np.isnan(roots[2])
