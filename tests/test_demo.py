"""The demo files: simulated and saying so, small, the same each time, and read back to what was simulated."""

import json
import zipfile

import numpy as np
import pytest

import coachlab as cl
from coachlab.academy import Assumptions, demo_readme, simulate_academy, write_academy, write_demo
from coachlab.academy.demo import DEMO_SEED
from coachlab.errors import DataError
from coachlab.schema import dictionary

EXPORTS = {"bays-1-2": "csv", "bay-3": "csv", "bay-4": "xlsx"}


@pytest.fixture(scope="module")
def academy():
    return simulate_academy(seed=DEMO_SEED)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    write_demo(folder)
    return folder


def parts_of(path):
    """The content of a file; of a spreadsheet its parts, whatever the machine's way of packing."""
    if path.suffix != ".xlsx":
        return path.read_bytes()
    with zipfile.ZipFile(path) as book:
        return {name: book.read(name) for name in book.namelist()}


def test_the_demo_folder_is_what_its_seed_writes(demo, written):
    assert sorted(path.name for path in demo.iterdir()) == sorted(path.name for path in written.iterdir())
    for path in written.iterdir():
        assert parts_of(demo / path.name) == parts_of(path), path.name


def test_the_same_bytes_come_each_time(written, tmp_path):
    for path in write_demo(tmp_path):
        assert path.read_bytes() == (written / path.name).read_bytes()


def test_every_file_says_that_it_is_simulated(written):
    for path in written.iterdir():
        content = parts_of(path)
        text = json.dumps({name: str(part) for name, part in content.items()}) if isinstance(content, dict) else content.decode()  # fmt: skip
        assert "simulated" in text.casefold(), path.name


def test_the_demo_is_small(written):
    assert sum(path.stat().st_size for path in written.iterdir()) < 2_000_000


@pytest.mark.parametrize("stem", EXPORTS)
def test_an_export_read_with_its_map_is_what_was_simulated(written, academy, stem):
    shots = cl.read_shots(written / f"{stem}.{EXPORTS[stem]}", cl.ColumnMap.from_toml(written / f"{stem}.toml"))
    seen = shots.table.set_index(["session", "shot"])
    true = academy.shots.table.set_index(["session", "shot"]).loc[seen.index]
    assert (seen["hand"] == "L").any()
    assert (seen["hand"] == true["hand"]).all()
    assert (seen["club"] == true["club"]).all()
    # exports round to one decimal of their own unit: half of it, in degrees, yards or mph
    for name in ("attack_up_deg", "path_out_deg", "face_open_deg", "launch_out_deg", "spin_tilt_deg"):
        np.testing.assert_allclose(seen[name], true[name], atol=0.0501)
    np.testing.assert_allclose(seen["side_out_m"], true["side_out_m"], atol=0.0501)
    np.testing.assert_allclose(seen["club_speed_mps"], true["club_speed_mps"], atol=0.0501)
    np.testing.assert_allclose(seen["spin_rpm"], true["spin_rpm"], atol=0.501)
    assert (abs((seen["struck_at"] - true["struck_at"]).dt.total_seconds()) < 1.01).all()  # whole seconds


def test_the_exports_together_hold_every_shot_once(written, academy):
    parts = [cl.read_shots(written / f"{stem}.{suffix}", written / f"{stem}.toml") for stem, suffix in EXPORTS.items()]
    together = cl.combine_shots(parts)
    keys = ["session", "shot"]
    assert len(together) == len(academy.shots)
    assert not together.table.duplicated(keys).any()
    rules = together.rejects["rule"].value_counts()
    assert rules["no reading"] == len(academy.shots.rejects)
    assert rules["total"] == 3
    assert rules["units row"] == 1
    assert rules["repeated heading"] >= 2


def test_the_logs_say_of_each_exported_shot_what_was_simulated(written, academy):
    parts = [cl.read_shots(written / f"{stem}.{suffix}", written / f"{stem}.toml") for stem, suffix in EXPORTS.items()]
    logs = sorted(written.glob("log-*.csv"))
    assert len(logs) == len(academy.coaches)
    joined = cl.join_log(cl.combine_shots(parts), logs, cues=written / "cues.toml").table
    both = joined.merge(academy.shots.table, on=["session", "shot"], suffixes=("", "_true"))
    assert len(both) == len(academy.shots)
    for name in ("block", "phase", "cue", "period", "order_plan", "order_seed", "offered", "family", "shots_missing"):
        said, true = both[name].astype("object"), both[f"{name}_true"].astype("object")
        assert (said.eq(true) | (said.isna() & true.isna())).all(), name
    assert joined["student"].nunique() == len(academy.students)


def test_cards_and_settings_read_back(written, academy):
    assert cl.read_cues(written / "cues.toml").equals(academy.cues)
    settings = cl.read_settings(written / "academy.toml")
    assert settings.name == "Quillbeck Academy"
    assert settings.smallest_useful_shift("carry_m", "driver") == 4.0


def test_no_export_holds_a_name(written):
    members = {line.split(",")[0] for line in (written / "bays-1-2.csv").read_text().splitlines()[3:]}
    members -= {"", "Member", "Average"}
    assert len(members) > 30
    assert all(member[0] == "Q" and member[1:].isdigit() for member in members)


def test_the_data_readme_holds_dictionary_and_assumptions_word_for_word(demo):
    text = (demo.parent / "README.md").read_text(encoding="utf-8")
    assert dictionary() in text
    for row in Assumptions().table().itertuples():
        assert f"| {row.quantity} | {row.value} | {row.mark} |" in text
    assert text == demo_readme()


def test_a_folder_that_cannot_be_written_is_named(academy, tmp_path):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(DataError, match="taken"):
        write_academy(academy, tmp_path / "taken")
