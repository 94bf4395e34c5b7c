from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.faults import settle
from coachlab.intake.ledger import open_ledger
from coachlab.intake.notes import blocks_by_time, compare_clocks, read_notes

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
    notes = pd.DataFrame(times, columns=["starts_at", "ends_at"])
    notes["session"], notes["phase"] = "v1", PHASES
    notes["cue"] = ["plain", "plain", "S1", "plain", "S1", "plain"]
    shots = cl.clean_shots(table)
    return open_ledger(shots), shots, notes


@pytest.mark.parametrize("slow_s", [3600, -3600, 420, -1500, 7260])
def test_a_clock_that_is_off_is_found_and_nothing_is_moved_until_asked(rng, slow_s):
    found = []
    for _ in range(4):
        ledger, shots, notes = lesson(rng, slow_s)
        offset = compare_clocks(ledger, shots, notes)
        found.append(offset.offset_s)
        uncorrected, _ = blocks_by_time(ledger, notes)
        corrected, lost = blocks_by_time(ledger, notes, offset.offset_s)
        assert lost == ()
        assert [block.phase for block in corrected.blocks] == list(PHASES)
        assert settle(corrected).ready
        assert not settle(uncorrected, clock=offset.text() if offset.found else "").ready
        row = settle(uncorrected, clock=offset.text() if offset.found else "").table.set_index("kind").loc["clock"]
        assert ("behind" if slow_s > 0 else "ahead of") in row["what"]
    # the notes leave up to 20 s before and after a block, so the offset is known no better than that
    assert np.abs(np.array(found) - slow_s).max() <= 20


def test_clocks_that_agree_are_left_alone(rng):
    for slow_s in (0.0, 15.0, -20.0):
        for _ in range(4):
            ledger, shots, notes = lesson(rng, slow_s)
            offset = compare_clocks(ledger, shots, notes)
            assert not offset.found
            assert "clock" not in set(settle(ledger, clock=offset.text() if offset.found else "").table["kind"])
            # shots are at least 20 s apart, so 20 s cost each of the six blocks one shot at most
            assert offset.inside >= 55 - 6


def test_an_hour_is_said_as_an_hour(rng):
    ledger, shots, notes = lesson(rng, 3600)
    offset = compare_clocks(ledger, shots, notes)
    assert 3580 <= offset.offset_s <= 3620
    text = replace(offset, offset_s=3600.0).text()
    assert text.startswith("The notes' clock seems 1 h behind the device's: corrected, 55 of 55 shots")
    assert "1 h 2 min 5 s ahead of" in replace(offset, offset_s=-3725.0).text()


def test_notes_may_leave_out_the_day_and_the_end(rng, tmp_path):
    ledger, shots, notes = lesson(rng)
    table = notes.assign(starts_at=notes["starts_at"].dt.strftime("%H:%M:%S"), session_day="2026-01-05")
    table["followed_0_10"] = ["", "", "7,5", "", "8", ""]
    table["offered"] = ["", "", "drawn", "", "drawn", ""]
    table["stopped"] = ["no"] * 5 + ["yes"]
    path = tmp_path / "notes.csv"
    table.drop(columns="ends_at").to_csv(path, index=False)
    blocks, lost = blocks_by_time(ledger, read_notes(path, ledger))
    assert lost == ()
    assert [block.last_shot - block.first_shot + 1 for block in blocks.blocks] == list(SIZES)
    assert [block.followed_0_10 for block in blocks.blocks if block.holds_cue] == [7.5, 8.0]
    assert [block.stopped for block in blocks.blocks] == [False] * 5 + [True]


def test_a_note_in_whose_time_nobody_hit_is_told(rng):
    ledger, shots, notes = lesson(rng)
    late = notes.iloc[[0]].assign(starts_at=START + pd.Timedelta(hours=5), ends_at=START + pd.Timedelta(hours=6))
    blocks, lost = blocks_by_time(ledger, pd.concat([notes, late], ignore_index=True))
    assert len(blocks.blocks) == len(SIZES)
    assert lost == ("Note 7 (warmup): no shot was struck in its time.",)


@pytest.mark.parametrize(
    "text, found",
    [
        ("session,first_shot,last_shot,phase,cue\nv1,1,9,plain,plain\n", "starts_at"),
        ("session,starts_at,phase,cue\nv9,2026-01-05 15:00,plain,plain\n", "'v9'"),
        ("session,starts_at,phase,cue\nv1,soon,plain,plain\nv1,2026-01-05 15:20,plain,plain\n", "'soon'"),
    ],
)
def test_notes_that_cannot_be_read_are_refused_in_words(rng, tmp_path, text, found):
    path = tmp_path / "notes.csv"
    path.write_text(text)
    with pytest.raises(cl.DataError) as caught:
        read_notes(path, lesson(rng)[0])
    assert found in caught.value.found and caught.value.do


def test_shots_without_times_cannot_be_found_by_the_clock(rng):
    ledger, shots, notes = lesson(rng)
    bare = replace(ledger, shots=ledger.shots.drop(columns="struck_at"))
    with pytest.raises(cl.DataError) as caught:
        compare_clocks(bare, shots, notes)
    assert "struck_at" in caught.value.do
