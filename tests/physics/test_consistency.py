"""Honest shots break no rule, and each rule is broken by the reading that it is there for."""

import numpy as np
import pytest

from coachlab.errors import FlightError
from coachlab.physics.air import Air
from coachlab.physics.arc import ARCS, path_from_arc
from coachlab.physics.consistency import CONSISTENCY, LEAST_FOR_SCATTER, SCATTERING, consistency, scatter_of
from coachlab.physics.flight import fly
from coachlab.physics.impact import HEADS, Delivery, strike

AIR = Air(temperature_c=12.0, altitude_m=300.0, tail_mps=-2.0)
USUAL = {"driver": (45.0, 0.0, 13.0), "iron": (34.0, -4.0, 23.0), "wedge": (30.0, -5.0, 40.0)}


def honest(head, rng, n=120):
    """Readings of centred strikes, flown in `AIR`, by a player with one arc."""
    V, attack, loft = USUAL[head]
    attack = attack + rng.uniform(-2, 2, n)
    delivery = {
        "club_speed_mps": rng.normal(V, 2, n),
        "attack_up_deg": attack,
        "path_out_deg": path_from_arc(2.0, attack, ARCS[head].incline_deg) + rng.normal(0, 1, n),
        "face_open_deg": rng.normal(0, 2, n),
        "delivered_loft_deg": loft + rng.uniform(-2, 2, n),
    }
    ball = strike(Delivery(**delivery), head)
    flight = fly(ball, AIR)
    launch = {
        name: np.array(getattr(ball, name))
        for name in ("ball_speed_mps", "launch_up_deg", "launch_out_deg", "spin_rpm", "spin_tilt_deg")
    }
    return (
        {**delivery, "arc_azimuth_deg": np.full(n, 2.0)},
        launch,
        {name: np.array(getattr(flight, name)) for name in ("carry_m", "peak_m", "flight_s")},
    )


@pytest.mark.parametrize("head", HEADS)
def test_honest_shots_break_no_rule(head, rng):
    broken = consistency(*honest(head, rng), head, AIR)
    assert set(broken) == set(CONSISTENCY)
    assert all(where.shape == (120,) and where.dtype == bool for where in broken.values())
    assert {rule: int(where.sum()) for rule, where in broken.items() if where.any()} == {}


@pytest.mark.parametrize(
    ("head", "column", "change", "rule"),
    [
        ("driver", "ball_speed_mps", lambda v: v * 1.08, "ball too fast"),
        ("driver", "ball_speed_mps", lambda v: v * 0.85, "ball too slow"),
        ("driver", "launch_out_deg", lambda v: v + 14, "start outside path and face"),
        ("iron", "launch_up_deg", lambda v: v + 12, "launch outside attack and loft"),
        ("iron", "launch_up_deg", lambda v: v - 30, "launch outside attack and loft"),
        ("iron", "spin_tilt_deg", lambda v: -v, "tilt against face to path"),
        ("iron", "spin_tilt_deg", lambda v: v + 9, "tilt far from face to path"),
        ("wedge", "spin_rpm", lambda v: v * 1.5, "spin too high"),
        ("driver", "flight_s", lambda v: v * 1.4, "time against peak"),
        ("driver", "flight_s", lambda v: v * 0.6, "time against peak"),
        ("iron", "carry_m", lambda v: v * 1.08, "carry off the model"),
        ("iron", "path_out_deg", lambda v: v + 11, "path off the arc"),
    ],
)
def test_each_rule_finds_the_reading_that_it_is_there_for(head, column, change, rule, rng):
    parts = honest(head, rng)
    some = np.arange(120) % 3 == 0
    for part in parts:
        if column in part:
            part[column] = np.where(some, change(part[column]), part[column])
    broken = consistency(*parts, head, AIR)[rule]
    if rule == "tilt against face to path":
        some = some & (np.abs(parts[0]["face_open_deg"] - parts[0]["path_out_deg"]) > 2)
    assert some.sum() > 10
    assert broken[some].all()
    assert not broken[~some].any()


def test_scatter_is_that_of_the_device_and_leaves_exact_readings_their_limits(rng):
    delivery, launch, _ = honest("iron", rng, n=4000)
    exact = scatter_of(delivery, launch, "iron")
    assert set(exact) == set(SCATTERING)
    # a fixed share of face and path stands for the strike: a quarter of a degree, under the limit of 1 at 3.5 times it
    assert exact["start outside path and face"] < 0.25 and exact["launch outside attack and loft"] < 0.25
    assert exact["tilt far from face to path"] < 0.1  # the head's own turn moves the axis by hundredths
    noisy = launch | {"spin_tilt_deg": launch["spin_tilt_deg"] + rng.normal(0, 2.5, 4000)}
    broken = rng.random(4000) < 0.2
    noisy["spin_tilt_deg"] = np.where(broken, -noisy["spin_tilt_deg"] + 20, noisy["spin_tilt_deg"])
    found = scatter_of(delivery, noisy, "iron")["tilt far from face to path"]
    assert found == pytest.approx(2.5, rel=0.4)  # a fifth of broken readings widens a median of sizes by a third
    few = {name: values[: LEAST_FOR_SCATTER - 1] for name, values in noisy.items()}
    assert scatter_of({name: values[: LEAST_FOR_SCATTER - 1] for name, values in delivery.items()}, few, "iron") == {}


def test_limits_widen_with_the_scatter_and_never_beyond_three_times(rng):
    delivery, launch, flight = honest("iron", rng)
    off = {"spin_tilt_deg": launch["spin_tilt_deg"] + np.linspace(0, 20, 120)}
    rule = "tilt far from face to path"
    counts = {
        scatter: int(consistency(delivery, launch | off, flight, "iron", scatter={rule: scatter})[rule].sum())
        for scatter in (0.0, 1.0, 2.0, 4.0, 50.0)
    }
    # of 120 shots that are off by 0 to 20 degrees, those beyond limits of 5, 5, 7, 14 and 15 degrees, give or take one
    for scatter, limit in ((0.0, 5), (1.0, 5), (2.0, 7), (4.0, 14), (50.0, 15)):
        assert counts[scatter] == pytest.approx(120 * (1 - limit / 20), abs=1.5)
    assert consistency(delivery, launch | off, flight, "iron")[rule].sum() == counts[0.0]


def test_what_is_missing_breaks_nothing(rng):
    assert not any(where.any() for where in consistency({}, {}, {"carry_m": [150.0, 150.0]}, "iron", AIR).values())
    delivery, launch, flight = honest("iron", rng)
    gaps = {name: np.where(np.arange(120) % 2, np.nan, values) for name, values in launch.items()}
    assert not any(where.any() for where in consistency(delivery, gaps, flight, "iron", AIR).values())


def test_without_measured_air_carry_is_not_held_against_the_model(rng):
    delivery, launch, flight = honest("iron", rng)
    flight["carry_m"] = flight["carry_m"] * 2
    assert not consistency(delivery, launch, flight, "iron")["carry off the model"].any()
    assert consistency(delivery, launch, flight, "iron", AIR)["carry off the model"].all()


def test_each_shot_has_its_own_air_and_its_own_incline(rng):
    delivery, launch, flight = honest("driver", rng)
    tail = np.where(np.arange(120) < 60, -2.0, -15.0)
    broken = consistency(delivery, launch, flight, "driver", Air(temperature_c=12.0, altitude_m=300.0, tail_mps=tail))
    assert not broken["carry off the model"][:60].any() and broken["carry off the model"][60:].mean() > 0.9
    delivery["attack_up_deg"] = delivery["attack_up_deg"] + 3
    steep = consistency({**delivery, "arc_incline_deg": np.full(120, 12.0)}, launch, flight, "driver")
    assert steep["path off the arc"].any()


def test_an_honest_chip_breaks_no_rule_of_time():
    flight = fly(strike(Delivery(10.0, -4.0, 0.0, 0.0, 45.0), "wedge"))
    ball = flight.launch
    broken = consistency(
        {"club_speed_mps": 10.0},
        {"ball_speed_mps": ball.ball_speed_mps},
        {"peak_m": flight.peak_m, "flight_s": flight.flight_s},
        "wedge",
    )
    assert not broken["time against peak"].any()


def test_different_lengths_and_unknown_heads_are_refused():
    with pytest.raises(FlightError, match="has 1 values"):
        consistency({"club_speed_mps": [40.0, 41.0]}, {"ball_speed_mps": [55.0]}, {}, "iron")
    with pytest.raises(FlightError, match="no head"):
        consistency({}, {}, {}, "mallet")
