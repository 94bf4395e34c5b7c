from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.ledger import open_ledger
from coachlab.intake.notes import LEAST_S, blocks_by_time, find_offset, read_notes
from coachlab.intake.faults import settle

START = pd.Timestamp("2026-01-05 15:00")
SIZES = (8, 10, 9, 10, 10, 8)
PHASES = ("warmup", "plain", "cue", "plain", "cue", "reset")


def lesson(rng, slow_s=0.0):
    """Shots of a lesson with pauses, and notes by a clock that is slow by so many seconds."""
    seconds, blocks, now = [], [], 0.0
    for size in SIZES:
        struck = now + np.cumsum(rng.uniform(20, 40, size))
        blocks.append((struck[0] - rng.uniform(5, 20), struck[-1] + rng.uniform(5, 20)))
        seconds.extend(struck)
        now = struck[-1] + rng.uniform(120, 260)
    table = pd.DataFrame(
        {
            "session": "v1",
            "shot": np.arange(1, len(seconds) + 1),
            "struck_at": (START + pd.to_timedelta(seconds, unit="s")).round("s"),
            "attack_up_deg": rng.normal(-3, 1, len(seconds)),
        }
    )
    times = [[START + pd.Timedelta(seconds=end - slow_s) for end in block] for block in blocks]
    notes = pd.DataFrame(times, columns=["began", "ended"])
    notes["phase"] = PHASES
    notes["cue"] = ["plain", "plain", "S1", "plain", "S1", "plain"]
    return open_ledger(cl.clean_shots(table)), notes


@pytest.mark.parametrize("slow_s", [3600, -3600, 420, -1500, 7260])
def test_a_clock_that_is_off_is_found_and_nothing_is_moved_until_asked(rng, slow_s):
    found = []
    for _ in range(12):
        ledger, notes = lesson(rng, slow_s)
        offset = find_offset(ledger, notes)
        found.append(offset.offset_s)
        uncorrected, _ = blocks_by_time(ledger, notes)
        corrected, lost = blocks_by_time(ledger, notes, offset.offset_s)
        assert lost == ()
        assert [block.phase for block in corrected.blocks] == list(PHASES)
        assert settle(corrected).ready
        assert not settle(uncorrected, offset=offset).ready
        row = settle(uncorrected, offset=offset).table.set_index("kind").loc["clock"]
        assert ("behind" if slow_s > 0 else "ahead of") in row["what"]
    # a minute is the finest that is said
    assert np.abs(np.array(found) - slow_s).max() <= LEAST_S


def test_clocks_that_agree_are_left_alone(rng):
    for slow_s in (0.0, 15.0, -20.0):
        for _ in range(10):
            ledger, notes = lesson(rng, slow_s)
            offset = find_offset(ledger, notes)
            assert not offset.found
            assert "clock" not in set(settle(ledger, offset=offset).table["kind"])
            # shots are at least 20 s apart, so 20 s cost each of the six blocks one shot at most
            assert offset.inside >= 55 - 6


def test_an_hour_is_said_as_an_hour(rng):
    ledger, notes = lesson(rng, 3600)
    text = find_offset(ledger, notes).text()
    assert text.startswith("The notes' clock seems 1 h behind the device's: corrected, 55 of 55 shots")


def test_notes_may_leave_out_the_day(rng, tmp_path):
    ledger, notes = lesson(rng)
    table = notes.assign(began=notes["began"].dt.strftime("%H:%M:%S"), ended=notes["ended"].dt.strftime("%H:%M:%S"))
    table["followed_0_10"] = ["", "", "7,5", "", "8", ""]
    table["offered"] = ["", "", "drawn", "", "drawn", ""]
    table["stopped"] = ["no"] * 5 + ["yes"]
    path = tmp_path / "notes.csv"
    table.to_csv(path, index=False)
    blocks, lost = blocks_by_time(ledger, read_notes(path))
    assert lost == ()
    assert [block.last_shot - block.first_shot + 1 for block in blocks.blocks] == list(SIZES)
    assert [block.followed_0_10 for block in blocks.blocks if block.holds_cue] == [7.5, 8.0]
    assert [block.stopped for block in blocks.blocks] == [False] * 5 + [True]


def test_a_note_in_whose_time_nobody_hit_is_told(rng):
    ledger, notes = lesson(rng)
    late = notes.iloc[[0]].assign(began=START + pd.Timedelta(hours=5), ended=START + pd.Timedelta(hours=6))
    blocks, lost = blocks_by_time(ledger, pd.concat([notes, late], ignore_index=True))
    assert len(blocks.blocks) == len(SIZES)
    assert lost == ("Note 7 (warmup): no shot was struck in its time.",)


@pytest.mark.parametrize(
    "text, column",
    [("began,phase\n15:00,plain\n", "ended"), ("began,ended,phase\nsoon,15:10,plain\n15:20,15:30,plain\n", "began")],
)
def test_notes_that_cannot_be_read_are_refused_in_words(tmp_path, text, column):
    path = tmp_path / "notes.csv"
    path.write_text(text)
    with pytest.raises(cl.DataError) as caught:
        read_notes(path)
    assert caught.value.facts["column"] == column and caught.value.do


def test_shots_without_times_cannot_be_found_by_the_clock(rng):
    ledger, notes = lesson(rng)
    bare = replace(ledger, shots=ledger.shots.drop(columns="struck_at"))
    with pytest.raises(cl.DataError) as caught:
        find_offset(bare, notes)
    assert "struck_at" in caught.value.do
