"""The simulated academy: its structure counted out, its spread measured back, its truth found by brute force."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from coachlab.academy import (
    CUES,
    LOG_COLUMNS,
    Assumptions,
    BallSensor,
    CueTruth,
    HeadNumbers,
    Spread,
    simulate_academy,
)
from coachlab.academy.assumptions import HEADS
from coachlab.academy.ball import LAUNCHED, struck, usual_carry
from coachlab.academy.swings import Blocks, swing
from coachlab.cues.grade import evidence_grade
from coachlab.cues.table import model_table
from coachlab.errors import DataError
from coachlab.intake.clean import clean_shots
from coachlab.intake.log import join_log
from coachlab.orders import draw_pairs
from coachlab.physics.air import Air
from coachlab.physics.arc import arc_azimuth
from coachlab.physics.consistency import CONSISTENCY
from coachlab.physics.flight import fly
from coachlab.physics.impact import Delivery, strike
from coachlab.physics.launch import Launch
from coachlab.schema import LATERAL, MEASURES, OUTCOMES, check

NOTHING = Spread(0.0, 0.0, 0.0, 0.0)
CALM = replace(
    Assumptions(), skill=0.0, mishit=(0.0, 0.0, 0.0), gross=0.0, flipped=0.0, unread=0.0, warmup_speed=0.0,
    warmup_attack=0.0, practice=0.0, tired_speed=0.0, tired_spread=0.0, missing_blocks=0.0,
)  # fmt: skip
"""Nothing goes wrong, and nobody tires: what is left are the SDs of the plain model."""
STILL = replace(
    CALM, session=NOTHING, block=NOTHING, sensor=NOTHING,
    heads={
        name: replace(head, attack_within=1e-9, azimuth_within=1e-9, face_within=1e-9, speed_within=1e-9)
        for name, head in Assumptions().heads.items()
    },
)  # fmt: skip
"""No noise at all: a student's shift can be read off."""


@pytest.fixture(scope="module")
def academy():
    return simulate_academy(seed=7)


def lesson_differences(academy, outcomes=("attack_up_deg",)):
    """Cue mean minus plain mean of each lesson, by block means of the shots that are analysed."""
    table = academy.shots.analysed
    table = table[table["phase"].isin(["plain", "cue"])]
    table = table.assign(face_to_path_deg=table["face_open_deg"] - table["path_out_deg"])
    blocks = table.groupby(["student", "session", "phase", "block"], observed=True)[list(outcomes)].mean()
    means = blocks.groupby(["student", "session", "phase"], observed=True).mean().unstack("phase")
    found = pd.DataFrame({name: means[name]["cue"] - means[name]["plain"] for name in outcomes}).dropna().reset_index()
    cued = academy.log[academy.log["phase"] == "cue"].drop_duplicates("session").set_index("session")["cue"]
    return found.assign(cue=found["session"].astype("str").map(cued))


# structure


def test_the_shots_hold_every_column_promised(academy):
    table = academy.shots.table
    promised = """student coach session block shot struck_at club read_ok excluded excluded_reason source source_row
        session_day block_index period phase cue cue_version offered followed_0_10 order_plan order_seed pain_0_10
        feedback_shown hand family moves direction shots_logged shots_missing club_speed_mps attack_up_deg path_out_deg
        face_open_deg delivered_loft_deg ball_speed_mps launch_up_deg launch_out_deg spin_rpm spin_tilt_deg carry_m
        side_out_m peak_m land_angle_deg flight_s"""
    assert set(promised.split()) <= set(table.columns)
    assert tuple(academy.log.columns[: len(LOG_COLUMNS)]) == LOG_COLUMNS
    check("shots", table, required=["student", "coach", "session", "block"])
    check("blocks", academy.log, required=["block", "session", "phase", "cue"])
    check("students", academy.students, required=["student", "hand"])
    check("cues", academy.cues, required=["cue", "family"])


def test_a_lesson_is_one_visit_about_one_cue_with_two_pairs(academy):
    lessons = academy.log[academy.log["order_plan"].notna()].groupby("session")
    assert len(lessons) == 38 * 5
    for _, blocks in lessons:
        plan = blocks["order_plan"].iloc[0].split(" ")
        assert len(plan) == 4
        assert blocks["order_plan"].nunique() == blocks["student"].nunique() == blocks["coach"].nunique() == 1
        held = blocks[blocks["phase"].isin(["plain", "cue"])]
        assert [plan[int(period) - 1] for period in held["period"]] == held["cue"].tolist()
        assert sorted(plan[:2]) == sorted(plan[2:])
        assert blocks["phase"].iloc[0] == "warmup"


def test_each_cue_reaches_about_27_students_once_each(academy):
    given = academy.log[academy.log["phase"] == "cue"].drop_duplicates("session")
    assert given.groupby("cue")["student"].size().equals(given.groupby("cue")["student"].nunique())
    # 38 students times 5 of 7 cues: 27.1; full sets of seven students are exactly even, three students are left over
    assert given["cue"].value_counts().between(25, 29).all()
    assert given["student"].value_counts().max() <= 5


def test_the_screening_is_a_visit_of_its_own(academy):
    screens = academy.log[academy.log["phase"] == "screen"]
    assert screens["student"].nunique() == 38
    assert not screens["session"].isin(academy.log.loc[academy.log["phase"] == "plain", "session"]).any()
    first = academy.log.groupby("student")["session_day"].min()
    assert (screens.groupby("student")["session_day"].first() == first).all()
    gaps = academy.log.groupby(["student", "session"])["session_day"].first().groupby("student").diff().dropna().dt.days
    assert gaps.between(6, 8).all()


def test_five_blocks_in_a_hundred_are_lost_and_the_plan_still_shows_them():
    academy = simulate_academy(students=600, seed=2, rogue=False)
    log = academy.log
    lost = 1 - log["phase"].isin(["plain", "cue"]).sum() / (600 * 5 * 4)
    assert lost == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 12000))  # four standard errors
    assert log["block"].is_unique
    assert (log.loc[log["phase"] == "cue", "order_plan"].str.split(" ").str.len() == 4).all()


def test_orders_in_the_log_are_those_that_their_seed_draws(academy):
    lessons = academy.log[academy.log["order_plan"].notna()].drop_duplicates("session")
    cue_of = lessons["order_plan"].str.split(" ").map(lambda plan: next(name for name in plan if name != "plain"))
    for cue, part in lessons.groupby(cue_of):
        assert part["order_seed"].nunique() == 1
        drawn = draw_pairs(cue, len(part), seed=int(part["order_seed"].iloc[0]))
        assert drawn.table["order_plan"].tolist() == part["order_plan"].tolist()
    starts = lessons["order_plan"].str.startswith("plain").mean()
    assert starts == pytest.approx(0.5, abs=0.05)  # dealt in sets of four: only the leftovers can be uneven


def test_every_shot_number_is_a_shot_a_reject_or_missing(academy):
    log, shots = academy.log.set_index("block"), academy.shots
    per_block = shots.table.groupby("block").agg(shots=("shot", "size"), missing=("shots_missing", "first"))
    per_block = per_block.join(log)
    rejects = shots.rejects.merge(
        log.reset_index()[["session", "block", "first_shot", "last_shot"]], on="session"
    ).query("first_shot <= shot <= last_shot")
    per_block["rejects"] = rejects.groupby("block").size().reindex(per_block.index, fill_value=0)
    span = per_block["last_shot"] - per_block["first_shot"] + 1
    assert (span == per_block["shots"] + per_block["rejects"] + per_block["missing"]).all()
    assert (shots.table.groupby("block")["shots_logged"].first() == span).all()
    follows = academy.log.groupby("session").apply(lambda part: (part["first_shot"].to_numpy()[1:] == part["last_shot"].to_numpy()[:-1] + 1).all())  # fmt: skip
    assert follows.all()
    assert set(shots.rejects["rule"]) == {"no reading"}


def test_joining_the_log_again_changes_nothing(academy):
    again = join_log(academy.shots, academy.log).table
    pd.testing.assert_frame_equal(again[academy.shots.table.columns], academy.shots.table)


def test_only_the_rogue_leaves_a_fifth_of_the_cue_shots_out_and_those_are_the_worst():
    assumed = replace(Assumptions(), unread=0.0)
    honest, rogue = (
        simulate_academy(students=120, seed=3, rogue=rogue, assumptions=assumed) for rogue in (False, True)
    )
    assert honest.shots.table["shots_missing"].sum() == 0
    name = rogue.coaches.loc[rogue.coaches["rogue"], "coach"].item()
    blocks = rogue.shots.table.drop_duplicates("block")
    gaps = blocks[blocks["shots_missing"] > 0]
    assert set(gaps["coach"]) == {name}
    assert set(gaps["phase"]) == {"cue"}
    assert len(gaps) == ((blocks["coach"] == name) & (blocks["phase"] == "cue")).sum()
    assert gaps["shots_missing"].isin([2]).all()  # a fifth of 8, 9 or 10 shots
    one = gaps[(gaps["moves"] == "attack_up_deg") & (gaps["direction"] == 1)]["block"].iloc[0]
    every, kept = (one_academy.shots.table for one_academy in (honest, rogue))
    every, kept = every[every["block"] == one], kept[kept["block"] == one]
    worst = every.nsmallest(2, "attack_up_deg")["shot"]
    assert set(every["shot"]) - set(kept["shot"]) == set(worst)


def test_the_same_seed_gives_the_same_academy_and_another_does_not():
    first, again, other = (simulate_academy(students=12, seed=seed) for seed in (4, 4, 5))
    pd.testing.assert_frame_equal(first.shots.table, again.shots.table)
    pd.testing.assert_frame_equal(first.log, again.log)
    pd.testing.assert_frame_equal(first.truth, again.truth)
    assert not np.array_equal(first.usual["attack_up_deg"], other.usual["attack_up_deg"])
    drawn = simulate_academy(students=8, seed=None)
    pd.testing.assert_frame_equal(drawn.log, simulate_academy(students=8, seed=drawn.seed).log)


def test_a_prefix_keeps_the_ids_of_two_academies_apart():
    north, south = (simulate_academy(students=8, seed=1, prefix=prefix) for prefix in ("north-", "south-"))
    for name in ("student", "coach", "session", "block"):
        assert not set(north.shots.table[name]) & set(south.shots.table[name])
    assert np.array_equal(north.shots.table["attack_up_deg"], south.shots.table["attack_up_deg"])


def test_left_handers_stand_in_the_world_in_raw_and_mirrored_in_the_table():
    academy = simulate_academy(students=60, seed=1, rogue=False)
    assert set(academy.students["hand"]) == {"R", "L"}
    both = academy.shots.table.merge(academy.shots.raw, on=["session", "shot"], suffixes=("", "_raw"))
    assert len(both) == len(academy.shots)
    sign = np.where(both["hand"] == "L", -1.0, 1.0)
    for name in set(MEASURES) & set(academy.shots.table.columns):
        factor = sign if name in LATERAL else 1.0
        # raw rows are kept in single precision: seven digits
        np.testing.assert_allclose(both[f"{name}_raw"], factor * both[name], rtol=2e-7, atol=1e-6)


def test_left_handers_are_eight_in_a_hundred_and_swing_no_other_way():
    academy = simulate_academy(students=4000, seed=9, lessons=1)
    left = academy.students.set_index("student")["hand"].eq("L")
    assert left.mean() == pytest.approx(0.08, abs=4 * np.sqrt(0.08 * 0.92 / 4000))
    usual = academy.usual.set_index("student")["arc_azimuth_deg"]
    gap = usual[left].mean() - usual[~left].mean()
    assert abs(gap) < 4 * 3.5 / np.sqrt(320)  # 320 left-handers, SD 3.5


def test_a_number_is_refused_in_words():
    for arguments, found in [
        ({"students": 0}, "students is 0"),
        ({"students": 2.5}, "students is 2.5"),
        ({"lessons": 0}, "lessons is 0"),
        ({"pairs": 9}, "pairs is 9"),
        ({"coaches": 50}, "50 coaches"),
        ({"design": "random"}, "design is 'random'"),
        ({"clubs": ("rake",)}, "'rake' is no club"),
        ({"clubs": ()}, r"clubs is \(\)"),
        ({"clubs": ("iron-7", "iron-7")}, "clubs is"),
        ({"block_shots": (9, 4)}, r"block_shots is \(9, 4\)"),
        ({"cues": ["I9"]}, "'I9' is none of S1, S2"),
        ({"cues": ["I2", "I2"]}, "'I2' is asked for twice"),
        ({"cues": CUES[CUES["family"] == "none"]}, "no cue but the plain swing"),
        ({"truths": {"S9": {}}}, "'S9' is none of"),
        ({"truths": {"S1": {"attack": 1}}}, "Cue S1: 'attack' is unknown"),
        ({"assumptions": replace(Assumptions(), block=Spread(2.0, 0.7, 0.5, 0.0))}, "block SD: path 0.7 is less"),
    ]:
        with pytest.raises(DataError, match=found):
            simulate_academy(**{"students": 8, "seed": 0, **arguments})
    with pytest.raises(DataError, match="left is 8"):
        Assumptions(left=8)
    with pytest.raises(DataError, match="is none of c1, c2, c3, c4"):
        simulate_academy(students=8, seed=0).truth_among(["c9"])


def test_cues_of_ones_own_need_a_truth():
    own = CUES.set_index("cue", drop=False).loc[["S1", "plain"]].replace({"cue": {"S1": "broom"}})
    with pytest.raises(DataError, match="Nothing says what cue broom does"):
        simulate_academy(students=8, seed=0, cues=own)
    academy = simulate_academy(students=8, seed=0, cues=own, truths={"broom": CueTruth(attack_up_deg=2.0)}, lessons=1)
    assert set(academy.truth["cue"]) == {"broom"}
    assert set(academy.log["cue"]) == {"broom", "plain"}


# designs


def test_the_three_designs_earn_the_grades_that_they_are_made_for():
    for design, grade in (("drawn", "A"), ("chosen", "C"), ("log-only", "D")):
        academy = simulate_academy(students=60, seed=5, design=design, rogue=False)
        assert evidence_grade(model_table(academy.shots, cues=["I2"])).grade == grade


def test_a_coach_who_chooses_gives_lifting_cues_to_steep_players_by_the_printed_logit():
    academy = simulate_academy(students=3000, seed=6, design="chosen", lessons=1, pairs=1, assumptions=STILL)
    given = academy.log[academy.log["phase"] == "cue"].set_index("student")
    assert (academy.log.query("phase == 'cue'")["period"] == 2).all()
    lifted = given["cue"].isin(["I2", "S1"])
    above = academy.usual.set_index("student")["attack_up_deg"].reindex(lifted.index) + 3.5
    expected = 1 / (1 + np.exp(0.4 * above))
    for low, high in ((-9, -2), (-2, 2), (2, 9)):
        here = above.between(low, high)
        error = np.sqrt((expected[here] * (1 - expected[here])).sum()) / here.sum()
        assert lifted[here].mean() == pytest.approx(expected[here].mean(), abs=4 * error)


def test_several_clubs_are_screened_and_taught_in_turn():
    academy = simulate_academy(students=20, seed=8, clubs=("driver", "iron-7"), lessons=4)
    taught = academy.shots.table[academy.shots.table["phase"].isin(["plain", "cue"])]
    assert taught.groupby("session")["club"].nunique().max() == 1
    assert taught.drop_duplicates("session").groupby("student")["club"].value_counts().eq(2).all()
    screened = academy.shots.table[academy.shots.table["phase"] == "screen"]
    assert screened.groupby("student")["club"].nunique().eq(2).all()
    assert set(academy.truth["club"]) == {"driver", "iron-7"}


def test_labels_are_text_and_above_a_million_shots_categories(monkeypatch):
    monkeypatch.setattr("coachlab.academy.table.MANY_SHOTS", 1000)
    many = simulate_academy(students=12, seed=4).shots.table
    few_academy = simulate_academy(students=2, coaches=1, lessons=1, seed=4)
    assert isinstance(many["student"].dtype, pd.CategoricalDtype)
    assert few_academy.shots.table["student"].dtype == "str"
    monkeypatch.undo()
    plain = simulate_academy(students=12, seed=4).shots.table
    pd.testing.assert_frame_equal(many.astype(plain.dtypes), plain)


def test_chunks_do_not_break_blocks_apart(monkeypatch):
    monkeypatch.setattr("coachlab.academy.table.CHUNK_SHOTS", 700)
    academy = simulate_academy(students=12, seed=4, rogue=False)
    per_block = academy.shots.raw.groupby("session")["shot"].agg(["size", "max"])
    assert (per_block["size"] == per_block["max"]).all()
    assert academy.shots.raw.groupby("session")["shot"].apply(lambda shot: shot.is_monotonic_increasing).all()


# the swing


def test_path_is_made_by_arc_and_attack_before_any_sensor():
    size = 400
    incline = np.linspace(50, 66, size)
    blocks = Blocks(
        shots=np.full(size, 10), head=np.ones(size, int), attack=np.linspace(-9, 2, size), azimuth=np.full(size, -3.0),
        face=np.zeros(size), speed=np.full(size, 34.0), incline=incline, loft=np.zeros(size),
        usual_attack=np.full(size, -3.5), spread=np.ones(size), skill=np.ones(size), mishit=np.full(size, 0.1),
        first=np.ones(size, int), start_s=np.zeros(size),
    )  # fmt: skip
    assumed = replace(Assumptions(), gross=0.0, flipped=0.0)
    struck = swing(blocks, assumed, np.random.default_rng(1))
    back = arc_azimuth(struck["true_path"], struck["true_attack"], incline[struck["block"]])
    np.testing.assert_allclose(back, struck["true_azimuth"], atol=1e-9)
    noise = struck["path_out_deg"] - struck["true_path"]
    assert noise.std() == pytest.approx(0.6, rel=4 / np.sqrt(2 * 4000))
    assert abs(np.corrcoef(noise, struck["true_path"])[0, 1]) < 4 / np.sqrt(4000)


@pytest.fixture(scope="module")
def calm():
    return simulate_academy(
        students=900, seed=3, clubs=("driver", "iron-7", "wedge-pw"), cues=["I4"], lessons=3, rogue=False,
        assumptions=replace(CALM, women=0.0),
    )  # fmt: skip


# path and its correlation with attack are not set anywhere: the arc makes them. The assumptions print what must come out
@pytest.mark.parametrize(
    ("club", "attack", "path", "face", "r", "carry", "side"),
    [
        ("driver", 1.7, 2.6, 3.0, -0.60, 13, 18),
        ("iron-7", 1.8, 2.3, 3.2, -0.49, 8, 11),
        ("wedge-pw", 1.9, 2.2, 3.2, -0.45, 7, 7),
    ],
)
def test_shots_of_a_block_spread_as_assumed(calm, club, attack, path, face, r, carry, side):
    shots = calm.shots.table.query("club == @club and phase in ['plain', 'cue']")
    names = ["attack_up_deg", "path_out_deg", "face_open_deg", "carry_m", "side_out_m"]
    within = shots.groupby("block")[names].var().mean()
    # a lag-1 correlation of .1 takes 2 % off the variance within a block of nine; the sensor adds its own
    assert np.sqrt(within["attack_up_deg"] - 0.5**2) == pytest.approx(attack, rel=0.03)
    assert np.sqrt(within["path_out_deg"] - 0.6**2) == pytest.approx(path, rel=0.03)
    assert np.sqrt(within["face_open_deg"] - 0.8**2) == pytest.approx(face, rel=0.03)
    # carry and side are set nowhere: strike and flight make them. the assumptions hold these SDs; a third either way
    assert np.sqrt(within["carry_m"]) == pytest.approx(carry, rel=0.33)
    assert np.sqrt(within["side_out_m"]) == pytest.approx(side, rel=0.33)
    rest = shots[names] - shots.groupby("block")[names].transform("mean")
    seen = r * attack * path / np.sqrt((attack**2 + 0.5**2) * (path**2 + 0.6**2))
    assert rest["attack_up_deg"].corr(rest["path_out_deg"]) == pytest.approx(seen, abs=0.02)


def test_students_sessions_and_blocks_spread_as_assumed(calm):
    shots = calm.shots.table.query("club == 'iron-7' and phase == 'plain'")
    names, sigma = ["attack_up_deg", "path_out_deg", "face_open_deg"], np.array([1.87, 2.4, 3.3])
    blocks = shots.groupby(["session", "block"])[names].agg("mean")
    each = shots.groupby("block").size().mean()
    block = blocks.groupby("session").var(ddof=1).mean() - sigma**2 / each
    # 900 lessons of two blocks: a variance is known to 5 %, and most of it is the shots'; three standard errors
    total = blocks.groupby("session").var(ddof=1).mean()
    assert (abs(block - np.array([0.6, 0.7, 0.5]) ** 2) < 3 * total * np.sqrt(2 / 900) + 0.03).all()
    usual = calm.usual.query("club == 'iron-7'")
    for name, spread in (
        ("attack_up_deg", 2.5),
        ("arc_azimuth_deg", 3.5),
        ("face_open_deg", 2.3),
        ("arc_incline_deg", 2.5),
    ):
        assert usual[name].std() == pytest.approx(spread, rel=4 / np.sqrt(2 * 900))
    level = shots.groupby("student")["attack_up_deg"].mean() - usual.set_index("student")["attack_up_deg"]
    session = level.var() - block["attack_up_deg"] / 2 - sigma[0] ** 2 / (2 * each)
    assert session == pytest.approx(0.8**2, abs=4 * level.var() * np.sqrt(2 / 900))


def test_shots_of_a_block_are_correlated_as_assumed():
    sharp = replace(CALM, sensor=NOTHING, block=NOTHING)
    shots = simulate_academy(students=700, seed=5, cues=["I4"], lessons=2, rogue=False, assumptions=sharp).shots.table
    shots = shots[shots["phase"].isin(["plain", "cue"])]
    head: HeadNumbers = sharp.heads["iron"]
    level = shots.groupby("session")["attack_up_deg"].transform("mean")
    rest = (shots["attack_up_deg"] - level) / head.attack_within
    after = rest.groupby(shots["block"]).shift(-1)
    # the session's mean of 36 shots takes 1/36 of the variance, with its lag 1.2/36
    assert (rest * after).mean() == pytest.approx(0.10 - 1.2 / 36, abs=4 / np.sqrt(len(shots)))


def test_misreads_and_rows_without_reading_come_as_often_as_assumed():
    academy = simulate_academy(students=300, seed=4, rogue=False)
    n = len(academy.shots.raw)
    # 2 %, and four times that on about one mishit in twelve: 2.5 %
    assert len(academy.shots.rejects) / n == pytest.approx(0.025, abs=4 * np.sqrt(0.025 / n) + 0.001)
    wild = (academy.shots.table["attack_up_deg"].abs() > 40).mean()
    assert wild == pytest.approx(0.005 / 4, abs=4 * np.sqrt(0.00125 / n))


def test_mishits_cost_length_and_ignored_cues_are_rated_low(academy):
    carry = academy.shots.table.query("phase == 'plain'").groupby("block")["carry_m"]
    assert carry.min().mean() < 0.85 * carry.median().mean()
    rated = academy.log["followed_0_10"]
    assert rated.notna().equals(academy.log["phase"] == "cue")
    assert rated.between(0, 10)[rated.notna()].all()


# the ball


def test_the_ball_is_the_packages_own_strike_and_flight_before_any_sensor(rng):
    head = np.repeat([0, 1, 2], 800)
    blow = {
        "club_speed_mps": rng.normal(np.array([41, 34, 31])[head], 4), "attack_up_deg": rng.normal(-3, 3, len(head)),
        "path_out_deg": rng.normal(0, 4, len(head)), "face_open_deg": rng.normal(0, 4, len(head)),
        "delivered_loft_deg": np.array([14, 23.5, 38])[head] + rng.normal(0, 2, len(head)),
        "strike_toe_mm": rng.uniform(-20, 20, len(head)), "strike_high_mm": rng.uniform(-10, 10, len(head)),
    }  # fmt: skip
    found = struck(head, blow, np.ones(len(head)))
    for place, name in enumerate(HEADS):
        mine = head == place
        ball = strike(Delivery(**{key: values[mine] for key, values in blow.items()}), name)
        flight = fly(ball)
        for key in LAUNCHED:
            np.testing.assert_allclose(found[key][mine], getattr(ball, key), atol=1e-9)
        # 0.3 yd is what is asked; long steps and single precision are within a sixth of it
        assert np.abs(found["carry_m"][mine] - flight.carry_m).max() < 0.05 * 0.9144
        assert np.abs(found["side_m"][mine] - flight.side_m).max() < 0.05 * 0.9144
        assert np.abs(found["flight_s"][mine] - flight.flight_s).max() < 0.005


def test_a_blow_that_cannot_be_struck_is_brought_to_one_that_can():
    blow = {
        "club_speed_mps": np.array([41.0, 34.0, 0.0]), "attack_up_deg": np.array([25.0, -28.0, 0.0]),
        "path_out_deg": np.array([70.0, 0.0, 0.0]), "face_open_deg": np.array([-40.0, 90.0, 0.0]),
        "delivered_loft_deg": np.array([14.0, 95.0, -20.0]), "strike_toe_mm": np.array([90.0, 0.0, 0.0]),
        "strike_high_mm": np.array([60.0, -60.0, 0.0]),
    }  # fmt: skip
    found = struck(np.array([0, 1, 2]), blow, np.ones(3))
    assert all(np.isfinite(values).all() for values in found.values())


def test_the_sensor_of_the_ball_changes_no_delivery_and_without_errors_it_reads_what_flew():
    blind = replace(Assumptions(), ball_sensor=BallSensor(*(10 * value for value in vars(BallSensor()).values())))
    sharp = replace(Assumptions(), ball_sensor=BallSensor(*(0.0 for _ in vars(BallSensor()))))
    one, other = (simulate_academy(students=8, seed=4, assumptions=a).shots.raw for a in (blind, sharp))
    for name in ("club_speed_mps", "attack_up_deg", "path_out_deg", "face_open_deg"):
        np.testing.assert_array_equal(one[name], other[name])
    seen = other.query("hand == 'R'").dropna(subset="carry_m")
    ball = Launch(*(seen[name].to_numpy(float) for name in LAUNCHED))
    np.testing.assert_allclose(fly(ball).carry_m, seen["carry_m"], atol=0.05)


def test_readings_of_a_clean_academy_mostly_go_together():
    academy = simulate_academy(students=60, seed=3, clubs=("driver", "iron-7"), rogue=False)
    shots = clean_shots(academy.shots, air=Air())
    share = shots.flags[shots.flags["rule"].isin(CONSISTENCY)]["rule"].value_counts() / len(shots)
    # the tilt is told by face and path, whose sensor errors of 1 degree an iron doubles: its rule breaks most often
    assert share.drop("tilt far from face to path").max() < 0.05
    assert share["tilt far from face to path"] < 0.10
    assert share.get("carry off the model", 0) < 0.05


def test_the_true_carry_of_many_players_is_that_of_their_flown_blows(rng):
    n = 6000
    attack = rng.normal(-3.5, 2.5, n)
    blows = np.stack(
        [rng.normal(33, 3.6, n), attack, rng.normal(-1, 4, n), rng.normal(0, 2.3, n), 23.5 + 1.5 * rng.normal(size=n)]
    )
    flown = np.concatenate([usual_carry(1, Assumptions(), blows[:, at : at + 1500]) for at in range(0, n, 1500)])
    smooth = usual_carry(1, Assumptions(), blows)
    # single blows to a metre, as far out as the sample reaches; the mean to a few centimetres
    assert np.std(smooth - flown) < 0.5
    assert abs(np.mean(smooth - flown)) < 0.03


# the truth


def test_the_null_cue_shifts_nothing_for_nobody(academy):
    null = academy.student_truth.query("cue == 'I4'")
    assert (null["value"] == 0).all()
    assert (academy.truth.query("cue == 'I4'")["value"] == 0).all()
    assert (academy.effective.query("cue == 'I4'")["slope_sd"] == 0).all()


def test_truth_is_the_printed_shift_times_compliance_when_coaches_are_alike():
    alike = simulate_academy(students=8, seed=0, assumptions=replace(Assumptions(), coach=NOTHING))
    truth = alike.truth.set_index(["cue", "outcome"])["value"]
    setup, intent = 1 - 0.05 * 0.7, 1 - 0.20 * 0.7
    for cue, outcome, value in [
        ("S1", "attack_up_deg", 1.4 * setup),
        ("S1", "face_open_deg", -0.4 * setup),
        ("S3", "club_speed_mps", -0.3 * setup),
        ("I1", "attack_up_deg", -1.3 * intent),
        ("I2", "attack_up_deg", 1.6 * intent),
        ("I2", "face_open_deg", 0.8 * intent),
    ]:
        assert truth[cue, outcome] == pytest.approx(value, abs=1e-9)  # draws are centred: no sampling error here
    turn = 1 / np.tan(np.radians(58))
    for cue, attack, azimuth, done in [("S1", 1.4, 0, setup), ("S2", 0, 1.6, setup), ("I2", 1.6, 0.7, intent), ("I3", 0.4, 2.4, intent)]:  # fmt: skip
        # the printed rule takes one incline for all; players' differ by 2.5 degrees, and the arc is curved
        assert truth[cue, "path_out_deg"] == pytest.approx(done * (azimuth - attack * turn), abs=0.02)
        assert truth[cue, "face_to_path_deg"] == pytest.approx(truth[cue, "face_open_deg"] - truth[cue, "path_out_deg"])


def test_truth_goes_by_the_academys_own_coaches_and_their_shares(academy):
    shares = academy.coaches["share"].to_numpy()
    z = academy.hidden.coach_z[:, list(academy.truths).index("S1"), 0]
    truth = academy.truth.query("cue == 'S1' and outcome == 'attack_up_deg'")["value"].item()
    assert truth == pytest.approx((1.4 + 0.3 * shares @ z) * 0.965, abs=1e-5)  # shares rounded to 1 in 100,000
    honest = academy.coaches["coach"][:2].tolist()
    among = academy.truth_among(honest).query("cue == 'S1' and outcome == 'attack_up_deg'")["value"].item()
    own = shares[:2] / shares[:2].sum()
    assert among == pytest.approx((1.4 + 0.3 * own @ z[:2]) * 0.965, abs=1e-5)


def test_without_noise_each_students_shift_is_their_own_truth():
    obedient = replace(STILL, setup_ignored=0.0, intent_ignored=0.0)
    academy = simulate_academy(students=40, seed=2, rogue=False, assumptions=obedient)
    outcomes = ["attack_up_deg", "path_out_deg", "face_open_deg", "club_speed_mps"]
    found = lesson_differences(academy, outcomes).melt(["student", "cue"], outcomes, "outcome", "seen")
    both = found.merge(academy.student_truth, on=["student", "cue", "outcome"])
    assert len(both) == 40 * 5 * 4
    np.testing.assert_allclose(both["seen"], both["value"], atol=1e-6)


def test_without_noise_fresh_students_shift_by_the_truth_on_average():
    academy = simulate_academy(students=2800, seed=3, lessons=2, rogue=False, assumptions=STILL)
    outcomes = [name for name in OUTCOMES if name != "carry_m"]
    found = lesson_differences(academy, outcomes).groupby("cue")[outcomes]
    truth = academy.truth.pivot(index="cue", columns="outcome", values="value")[outcomes]
    error = (found.std() / np.sqrt(found.size().to_numpy()[:, None])).loc[truth.index]
    gap = (found.mean() - truth).abs()
    # 35 gaps, four standard errors each; the coaches who got a cue are a chance share: .3 x sqrt(4 x .25 x .75 / 800)
    assert (gap <= 4 * np.hypot(error, 0.01)).to_numpy().all()


def test_pattern_makes_a_rafter_worth_more_to_the_steep():
    obedient = replace(STILL, intent_ignored=0.0, intent_slope=NOTHING, coach=NOTHING)
    academy = simulate_academy(students=200, seed=3, cues=["I2"], lessons=1, rogue=False, assumptions=obedient)
    usual = academy.usual.set_index("student")["attack_up_deg"]
    found = lesson_differences(academy).set_index("student")["attack_up_deg"]
    np.testing.assert_allclose(found, 1.6 - 0.25 * (usual.reindex(found.index) + 3.5), atol=1e-6)


def test_truths_can_be_changed_for_error_rates():
    changed = {"I2": {"attack_up_deg": 1.4 / 0.86, "per_deg_steeper": 0.0, "slope_ratio": 0.5, "coach_ratio": 0.0}}
    academy = simulate_academy(students=24, seed=1, cues=["I2"], lessons=1, truths=changed, rogue=False)
    row = academy.truth.query("outcome == 'attack_up_deg'")
    assert row["value"].item() == pytest.approx(1.4, abs=1e-9)
    slope = academy.effective.query("outcome == 'attack_up_deg'")["slope_sd"].item()
    assert slope == pytest.approx(0.86 * 0.55, rel=4 / np.sqrt(2 * 100_000))


def test_the_closed_form_of_the_spread_is_met_by_simulated_lessons():
    academy = simulate_academy(
        students=2400, seed=12, cues=["S1", "I2", "I4"], lessons=2, rogue=False,
        assumptions=replace(Assumptions(), missing_blocks=0.0, gross=0.0, flipped=0.0, unread=0.0), block_shots=(9, 9),
    )  # fmt: skip
    outcomes = ["attack_up_deg", "path_out_deg", "club_speed_mps"]
    seen = lesson_differences(academy, outcomes).groupby("cue")[outcomes].var()
    for row in academy.effective.query("outcome in @outcomes").itertuples():
        expected = row.slope_sd**2 + 2 * row.block_sd**2 / 2 + 2 * row.shot_sd**2 / (2 * 9)
        # 1,600 lessons: a variance to 3.5 %, three times that; fatigue and the range rules move it by a few percent
        assert seen.loc[row.cue, row.outcome] == pytest.approx(expected, rel=0.15)


@pytest.mark.slow
def test_a_large_academy_with_all_its_noise_finds_the_truth():
    academy = simulate_academy(students=20_000, seed=1, rogue=False)
    outcomes = [name for name in OUTCOMES if name != "carry_m"]
    found = lesson_differences(academy, outcomes).groupby("cue")[outcomes]
    truth = academy.truth.pivot(index="cue", columns="outcome", values="value")[outcomes]
    error = (found.std() / np.sqrt(found.size().to_numpy()[:, None])).loc[truth.index]
    # range rules set the wildest mishits aside, which takes up to 2 % off a shift
    assert ((found.mean() - truth).abs() <= 4 * error + 0.02 * truth.abs()).to_numpy().all()


def test_the_academy_says_that_it_is_simulated(academy):
    assert "simulated" in academy.text()
    assert "No real person" in repr(academy)
    assert "simulated" in academy._repr_html_()
    assert any("Simulated" in note for note in academy.shots.notes)


def test_the_table_of_assumptions_marks_every_number():
    table = Assumptions().table()
    assert set(table["mark"]) == {"S", "A", "G"}
    assert not table.isna().to_numpy().any()
    shown = " ".join(table["value"])
    for value in ("-1.5 / -3.5 / -5", "0.6 / 0.7 / 0.5 / 0.006", "-0.021", "47 / 58 / 62"):
        assert value in shown
