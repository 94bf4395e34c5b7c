"""Faults planted in simulated files are found, and clean files pass. The shots are simulated; so are the faults."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.audit import audit_logging
from coachlab.intake.clock import audit_clock, find_offset
from coachlab.intake.findings import FINDING_COLUMNS, together
from coachlab.intake.scales import audit_units
from coachlab.intake.signs import audit_hands, audit_signs, find_turned
from coachlab.intake.swaps import audit_clubs, nominal_loft_deg

SIDEWAYS = ["path_out_deg", "face_open_deg", "launch_out_deg", "spin_tilt_deg", "side_out_m"]
BALL = ["ball_speed_mps", "launch_up_deg", "launch_out_deg", "spin_rpm", "spin_tilt_deg", "side_out_m", "carry_m"]
YARDS, FEET, KMH_AS_MPH, MPS_AS_MPH = 1 / 0.9144, 1 / 0.3048, 1.609344, 0.44704
FILE = "bay 2"
"""Where a fault of a file is planted."""
AHEAD_S = (3600, -3600, 420, -600, 86_400, 7440)

_ACADEMIES: dict = {}


def academy(seed):
    """An academy whose four bays are files of their own, and its lesson log by time."""
    if seed not in _ACADEMIES:
        _ACADEMIES.clear()
        made = cl.simulate_academy(students=24, seed=seed, rogue=False)
        bay = made.log.drop_duplicates("session").set_index("session")["bay"]
        shots = with_table(made.shots, source=made.shots.table["session"].map(bay).astype("str"))
        rng = np.random.default_rng(seed)
        ends = shots.table.groupby("block")["struck_at"].agg(["min", "max"])
        log = made.log[["session", "student", "coach", "session_day", "block", "phase", "cue"]]
        log = log[log["block"].isin(ends.index)].reset_index(drop=True)
        slack = (rng.uniform(5, 40, (2, len(log))) * 1e6).astype("m8[us]")
        log["starts_at"] = ends["min"].reindex(log["block"]).to_numpy() - slack[0]
        log["ends_at"] = ends["max"].reindex(log["block"]).to_numpy() + slack[1]
        _ACADEMIES[seed] = shots, log
    return _ACADEMIES[seed]


def with_table(shots, **columns):
    return replace(shots, table=shots.table.assign(**columns))


def spoilt(shots, rows, **factors):
    table = shots.table.copy()
    for name, factor in factors.items():
        table[name] = table[name].where(~rows, table[name] * factor)
    return replace(shots, table=table)


def in_file(shots):
    return (shots.table["source"] == FILE).to_numpy()


def places(findings):
    return set(zip(findings.table["where"], findings.table["column"], strict=True))


def turned(*columns):
    def plant(shots, seed):
        return spoilt(shots, in_file(shots), **dict.fromkeys(columns, -1)), {(FILE, name) for name in columns}

    return plant


def club_data_alone(*columns):
    def plant(shots, seed):
        bare = replace(shots, table=shots.table.drop(columns=[*BALL, "delivered_loft_deg"]))
        return spoilt(bare, in_file(bare), **dict.fromkeys(columns, -1)), {(FILE, name) for name in columns}

    return plant


def unmirrored(shots, seed):
    left = (shots.table["hand"] == "L").to_numpy()
    students = {(student, "hand") for student in shots.table["student"][left]}
    return with_table(spoilt(shots, left, **dict.fromkeys(SIDEWAYS, -1)), hand="R"), students


def other_unit(flagged, **factors):
    def plant(shots, seed):
        return cl.clean_shots(spoilt(shots, in_file(shots), **factors)), {(FILE, name) for name in flagged}

    return plant


def exchanged(shots, rows):
    names = {"iron-7": "wedge-pw", "wedge-pw": "iron-7"}
    return with_table(shots, club=shots.table["club"].where(~rows, shots.table["club"].map(names)))


def one_session_exchanged(shots, seed):
    clubs = shots.table.groupby("session")["club"].nunique()
    session = np.random.default_rng(seed).choice(clubs.index[clubs == 2])
    return exchanged(shots, (shots.table["session"] == session).to_numpy()), {(session, "club")}


def a_file_exchanged(shots, seed):
    return exchanged(shots, in_file(shots)), {(FILE, "club")}


FAULTS = {
    **{f"{name} turned": (audit_signs, turned(name)) for name in (*SIDEWAYS, "attack_up_deg")},
    "all sideways columns turned": (audit_signs, turned(*SIDEWAYS)),
    "path turned, club data alone": (audit_signs, club_data_alone("path_out_deg")),
    "face turned, club data alone": (audit_signs, club_data_alone("face_open_deg")),
    "left-handers not mirrored": (audit_hands, unmirrored),
    "clubs exchanged in one session": (audit_clubs, one_session_exchanged),
    "clubs exchanged in one file": (audit_clubs, a_file_exchanged),
    "carry in yards read as metres": (audit_units, other_unit(["carry_m"], carry_m=YARDS)),
    "carry and peak in yards": (audit_units, other_unit(["carry_m", "peak_m"], carry_m=YARDS, peak_m=YARDS)),
    "peak in feet": (audit_units, other_unit(["peak_m"], peak_m=FEET)),
    "speeds in km/h read as mph": (
        audit_units,
        other_unit(["ball_speed_mps"], ball_speed_mps=KMH_AS_MPH, club_speed_mps=KMH_AS_MPH),
    ),
    "speeds in m/s read as mph": (
        audit_units,
        other_unit(["ball_speed_mps"], ball_speed_mps=MPS_AS_MPH, club_speed_mps=MPS_AS_MPH),
    ),
}
AUDITS = (audit_signs, audit_hands, audit_clubs, audit_units)
QUICK, MANY = range(1), range(40)


def found_in(fault, seeds):
    """In which share of the seeds exactly the planted fault was found."""
    audit, plant = FAULTS[fault]
    hits = [places(audit(spoilt_)) == wanted for spoilt_, wanted in (plant(academy(s)[0], s) for s in seeds)]
    return np.mean(hits)


def flagged_clean(seeds):
    """In which share of the seeds each audit found something where nothing is."""
    said = {audit: [bool(len(audit(academy(seed)[0]))) for seed in seeds] for audit in AUDITS}
    said[audit_clock] = [bool(len(audit_clock(*academy(seed)))) for seed in seeds]
    return {audit.__name__: np.mean(hits) for audit, hits in said.items()}


def clocks_found(seeds, ends):
    hits = []
    for seed in seeds:
        shots, log = academy(seed)
        log = log if ends else log.drop(columns="ends_at")
        for ahead in AHEAD_S:
            late = with_table(shots, struck_at=shots.table["struck_at"] + pd.Timedelta(seconds=ahead))
            hits.append(len(audit_clock(late, log)) == 1 and abs(find_offset(late, log) - ahead) <= 40)
    return np.mean(hits)


def best_shots_found(seeds):
    """In which share of academies exactly the coach who logs only the best cue shots is warned, and who is not there."""
    right = []
    for seed in seeds:
        made = cl.simulate_academy(students=24, seed=seed, rogue=True)
        rogue = set(made.coaches.loc[made.coaches["rogue"], "coach"])
        warned = audit_logging(made.shots).table.query("warned")["coach"]
        right.append(set(warned) == rogue and not audit_logging(academy(seed)[0]).table["warned"].any())
    return np.mean(right)


@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_is_found_and_nothing_else(fault):
    assert found_in(fault, QUICK) == 1


def test_the_coach_who_logs_the_best_shots_is_found_and_no_other():
    assert best_shots_found(QUICK) == 1


def test_clean_files_pass_every_audit():
    assert set(flagged_clean(QUICK).values()) == {0}


@pytest.mark.parametrize("ends", [True, False])
def test_a_clock_that_is_off_is_found_with_how_far(ends):
    # 40 s: blocks were noted up to 40 s before their first shot and after their last
    assert clocks_found(QUICK, ends) == 1


@pytest.mark.slow
def test_planted_faults_are_found_in_95_of_100_academies_and_clean_ones_pass_in_95():
    found = {fault: found_in(fault, MANY) for fault in FAULTS}
    found |= {f"clock, ends {ends}": clocks_found(MANY, ends) for ends in (True, False)}
    found["best shots only"] = best_shots_found(MANY)
    clean = flagged_clean(MANY)
    print("\n".join(f"{name}: {share:.3f}" for name, share in {**found, **clean}.items()))
    assert min(found.values()) >= 0.95, found
    assert max(clean.values()) <= 0.05, clean


def test_findings_are_one_table_and_sentences_whatever_names_say():
    shots, _ = academy(0)
    evil = "<script>alert(1)</script>"
    turned_path = spoilt(shots, in_file(shots), path_out_deg=-1)
    named = with_table(turned_path, source=turned_path.table["source"].replace(FILE, evil))
    findings = together([audit_signs(named), audit_hands(named)])
    assert tuple(findings.table.columns) == FINDING_COLUMNS
    assert (findings.table["strength"] >= 1).all() and len(findings) == 1
    assert evil in findings.text() and "<script>" not in findings._repr_html_()
    assert "Turn positive of path_out_deg round" in findings.text()


def test_audits_say_what_they_could_not_look_at(put):
    shots = cl.clean_shots(cl.read_shots(put("a.csv", "attack_up_deg\n-3\n-4\n")))
    for audit in AUDITS:
        assert len(audit(shots)) == 0 and audit(shots).text().startswith("Nothing was found. ")
    assert "needs student, attack and path" in audit_hands(shots).text()
    empty = replace(shots, table=shots.table.assign(excluded=True))
    assert all(len(audit(empty)) == 0 for audit in AUDITS)


def test_the_whole_mirror_image_is_told_by_attack_alone():
    rng = np.random.default_rng(0)
    attack = rng.normal(-4, 2, 400)
    path = -0.6 * attack + rng.normal(0, 2, 400)
    group = np.repeat(np.arange(8), 50)
    assert find_turned({"attack_up_deg": attack, "path_out_deg": path}, group).columns == {}
    assert set(find_turned({"attack_up_deg": attack, "path_out_deg": -path}, group).columns) == {"path_out_deg"}
    assert set(find_turned({"attack_up_deg": -attack, "path_out_deg": path}, group).columns) == {"attack_up_deg"}


def test_more_number_means_more_loft():
    for clubs in (["driver", "wood-3", "wood-7"], ["hybrid-2", "hybrid-7"], [f"iron-{n}" for n in range(1, 10)]):
        lofts = [nominal_loft_deg(club) for club in clubs]
        assert lofts == sorted(lofts)
    from coachlab.schema import CLUBS

    assert all(8 < nominal_loft_deg(club) < 70 for club in CLUBS)


# a log by time


def test_a_log_by_time_is_joined_as_one_by_number():
    shots, log = academy(1)
    joined = cl.join_log(shots, log)
    assert joined.table["block"].tolist() == shots.table["block"].tolist()
    late = with_table(shots, struck_at=shots.table["struck_at"] + pd.Timedelta(hours=1))
    offset = find_offset(late, log)
    again = cl.join_log(late, log, clock_offset_s=offset)
    assert again.table["block"].tolist() == shots.table["block"].tolist()
    with pytest.raises(cl.DataError, match="audit_clock"):
        cl.join_log(late, log)


SHOTS = "session,struck_at,attack_up_deg\n" + "".join(
    f"v1,2026-11-03 14:{minute:02}:00,-{minute / 10}\n" for minute in range(5, 25)
)


def test_a_log_by_clock_times_takes_the_day_of_the_session(put):
    log = "session,session_day,starts_at,ends_at,phase,cue\nv1,2026-11-03,14:04,14:10,plain,plain\nv1,2026-11-03,14:12,,cue,S1\n"
    joined = cl.join_log(cl.read_shots(put("a.csv", SHOTS)), put("log.csv", log)).table
    assert joined["phase"].isna().sum() == 1  # the shot of 14:11 stands between
    assert joined["phase"].tolist()[:6] == ["plain"] * 6
    assert (joined["phase"] == "cue").sum() == 13
    assert "first_shot" not in joined


@pytest.mark.parametrize(
    ("rows", "part"),
    [
        ("v1,2026-11-03,later,14:10,plain,plain", "is no time"),
        ("v1,,14:04,14:10,plain,plain", "session_day does not say the day"),
        ("v1,2026-11-03,14:10,14:04,plain,plain", "lies before starts_at"),
        ("v1,2026-11-03,,14:04,plain,plain", "is blank"),
        ("v1,2026-11-03,14:04,14:10,plain,plain\nv1,2026-11-03,14:08,14:20,plain,plain", "before that of row"),
        ("v1,2026-11-03,15:04,15:10,plain,plain", "no shot was struck from 15:04:00"),
    ],
)
def test_a_log_by_time_that_does_not_fit_is_refused(put, rows, part):
    log = f"session,session_day,starts_at,ends_at,phase,cue\n{rows}\n"
    with pytest.raises(cl.DataError, match=part):
        cl.join_log(cl.read_shots(put("a.csv", SHOTS)), put("log.csv", log))


def test_a_log_by_number_shows_a_device_that_lives_on_another_day(put):
    log = put("log.csv", "session,session_day,first_shot,last_shot,phase,cue\nv1,2026-11-04,1,20,plain,plain\n")
    findings = audit_clock(cl.read_shots(put("a.csv", SHOTS)), log)
    assert "another day" in findings.text() and "by -1 days" in findings.text()
