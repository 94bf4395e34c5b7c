"""Logs of the best shots are found by their scatter where no counter shows a gap; clean ones pass. All is simulated."""

from dataclasses import replace

import numpy as np
import pytest

import coachlab as cl
from coachlab.intake.narrow import audit_scatter

QUICK, MANY = range(1), range(40)
KEPT = 0.6

_ACADEMIES: dict = {}


def academy(seed, **size):
    """The shots of an academy where everybody keeps every ball, from a device that does not count."""
    key = (seed, *size.values())
    if key not in _ACADEMIES:
        _ACADEMIES.clear()
        _ACADEMIES[key] = cl.simulate_academy(seed=seed, rogue=False, **size).shots
    return uncounted(_ACADEMIES[key])


def uncounted(shots, table=None):
    table = (shots.table if table is None else table).drop(
        columns=["shot", "shots_logged", "shots_missing"], errors="ignore"
    )
    table = table.reset_index(drop=True)
    return replace(shots, table=table, raw=table, rejects=shots.rejects.iloc[:0], flags=shots.flags.iloc[:0])


def best_of(shots, coach, share=KEPT, by="distance", phases=None):
    """A coach keeps a share of the shots of each block: the nearest the target, the straightest, or the longest."""
    table = shots.table
    usual = table["carry_m"].groupby([table["student"], table["club"]]).transform("median")
    short = usual - table["carry_m"]
    badness = {"distance": np.hypot(short, table["side_out_m"]), "side": table["side_out_m"].abs(), "short": short}[by]
    rank = badness.groupby(table["block"].astype(str) + table["session"].astype(str)).rank(pct=True)
    chosen = (table["coach"] == coach) & (table["phase"].isin(phases) if phases else True)
    return uncounted(shots, table[~chosen | (rank <= share)])


def unjoined(shots):
    """The same shots without a log: visits and clubs are known, blocks are not."""
    return uncounted(shots, shots.table.drop(columns=["block", "phase", "cue"]))


FAULTS = {
    "nearest the target": {},
    "nearest the target, no log": {"log": False},
    "the straightest": {"by": "side"},
    "the longest": {"by": "short"},
    "cue blocks only": {"phases": ["cue"]},
}


def named(findings):
    return [where.removeprefix("coach ") for where in findings.table["where"]]


def found_in(seeds, log=True, coaches=4, **how):
    """In which share of academies exactly the coach who keeps the best shots is named."""
    right = []
    for seed in seeds:
        coach = f"c{seed % coaches + 1}"
        shots = best_of(academy(seed, coaches=coaches), coach, **how)
        right.append(named(audit_scatter(shots if log else unjoined(shots))) == [coach])
    return np.mean(right)


def flagged_clean(seeds, coaches=4):
    """In which share of academies anybody is named, with and without a log, where every ball was kept."""
    return [
        np.mean([len(audit_scatter(look(academy(seed, coaches=coaches)))) > 0 for seed in seeds])
        for look in (lambda shots: shots, unjoined)
    ]


@pytest.mark.parametrize("fault", FAULTS)
def test_a_coach_who_keeps_the_best_shots_is_named_and_no_other(fault):
    assert found_in(QUICK, **FAULTS[fault]) == 1


def test_coaches_who_keep_every_ball_are_not_named():
    assert flagged_clean(QUICK) == [0, 0]


@pytest.mark.slow
@pytest.mark.parametrize("coaches", [3, 4])
def test_the_best_shots_are_found_in_95_of_100_academies_and_clean_ones_pass_in_95(coaches):
    found = {fault: found_in(MANY, coaches=coaches, **how) for fault, how in FAULTS.items()}
    clean = flagged_clean(MANY, coaches)
    print(found, clean)
    assert min(found.values()) >= 0.95, found
    assert max(clean) <= 0.05, clean
