"""The same shots in several files are known by their content, said, and counted once."""

import shutil

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.combine import COPY, COPY_RULE

MAP = """
[column.student]
heading = "Name"
[column.club_speed_mps]
heading = "Head"
[column.attack_up_deg]
heading = "Attack"
[column.path_out_deg]
heading = "Path"
positive = "right"
[column.carry_m]
heading = "Carry"
"""
WHEN = '[column.struck_at]\nheading = "When"\n'


@pytest.fixture
def shots():
    rng = np.random.default_rng(3)
    n = 60
    return pd.DataFrame(
        {
            "Name": "Robin", "When": pd.date_range("2026-11-03 14:05", periods=n, freq="37s").astype("str"),
            "Head": rng.normal(35, 1.5, n), "Attack": rng.normal(-4, 2, n), "Path": rng.normal(0, 3, n),
            "Carry": rng.normal(130, 8, n),
        }
    )  # fmt: skip


@pytest.fixture
def file(put):
    def file(name, frame, units=("m/s", "m"), digits=1, times=True):
        size = {"m/s": 1, "mph": 0.44704, "km/h": 1 / 3.6, "m": 1, "yd": 0.9144}
        frame = frame.assign(Head=frame["Head"] / size[units[0]], Carry=frame["Carry"] / size[units[1]]).round(digits)
        frame = frame.rename(
            columns={
                "Head": f"Head [{units[0]}]",
                "Carry": f"Carry [{units[1]}]",
                "Attack": "Attack [deg]",
                "Path": "Path [deg]",
            }
        )
        frame = frame if times else frame.drop(columns="When")
        columns = put("m.toml", MAP + (WHEN if times else ""))
        return cl.clean_shots(cl.read_shots(put(name, frame.to_csv(index=False)), columns))

    return file


def copies(together):
    counts = together.counts
    assert counts["raw"] == counts["shots"] + counts["rejects"]
    assert counts["shots"] == counts["analysed"] + counts["set_aside"]
    reasons = together.table["excluded_reason"].astype("str")
    flagged = together.flags[together.flags["rule"] == COPY_RULE]
    assert reasons.str.startswith(COPY).sum() == len(flagged) == counts["set_aside"]
    return counts["analysed"], counts["set_aside"]


@pytest.mark.parametrize("times", [True, False])
def test_the_same_file_again_is_said_and_counted_once(file, shots, times):
    together = cl.combine_shots([file("a.csv", shots, times=times), file("a copy.csv", shots, times=times)])
    assert copies(together) == (60, 60)
    assert any("a copy.csv: all 60 shots stand in a.csv too" in note for note in together.notes)
    assert set(together.table["excluded_reason"]) == {"", "copy of a shot in a.csv"}
    assert together.flags["value"].iloc[0] == "a.csv, row 2"


@pytest.mark.parametrize("times", [True, False])
def test_other_units_rounding_and_order_do_not_hide_the_same_shots(file, shots, times):
    other = shots.sample(frac=1, random_state=1) if times else shots
    one, two = file("a.csv", shots, times=times), file("b.csv", other, ("mph", "yd"), times=times)
    assert copies(cl.combine_shots([one, two])) == (60, 60)


@pytest.mark.parametrize("times", [True, False])
def test_an_export_that_overlaps_adds_only_what_is_new(file, shots, times):
    one, two = file("a.csv", shots[:40], times=times), file("b.csv", shots[25:], ("km/h", "yd"), times=times)
    together = cl.combine_shots([one, two])
    assert copies(together) == (60, 15)
    assert any("b.csv: 15 of 35 shots stand in a.csv too" in note for note in together.notes)
    assert together.table.loc[together.usable, "attack_up_deg"].tolist() == pytest.approx(
        shots["Attack"].tolist(), abs=0.051
    )


def test_three_copies_are_counted_once(file, shots):
    together = cl.combine_shots([file(f"{name}.csv", shots) for name in "abc"])
    assert copies(together) == (60, 120)
    assert set(together.table["excluded_reason"]) == {"", "copy of a shot in a.csv"}


def test_a_device_whose_clock_was_set_does_not_hide_a_run_of_the_same_shots(file, shots):
    later = shots.assign(When=(pd.to_datetime(shots["When"]) + pd.Timedelta(hours=1)).astype("str"))
    assert copies(cl.combine_shots([file("a.csv", shots), file("b.csv", later)])) == (60, 60)


def test_other_shots_are_never_taken_for_copies(file, shots):
    rng = np.random.default_rng(4)
    many = [
        pd.DataFrame({"Name": "Robin", "When": "", "Head": rng.normal(35, 1.5, 3000), "Attack": rng.normal(-4, 2, 3000),
                      "Path": rng.normal(0, 3, 3000), "Carry": rng.normal(130, 8, 3000)})
        for _ in range(2)
    ]  # fmt: skip
    together = cl.combine_shots([file(f"{n}.csv", frame, times=False) for n, frame in enumerate(many)])
    assert copies(together) == (6000, 0)


def test_another_student_with_the_same_numbers_is_another(file, shots):
    together = cl.combine_shots([file("a.csv", shots), file("b.csv", shots.assign(Name="Kim"))])
    assert copies(together) == (120, 0)


def test_a_student_who_stands_in_one_file_only_hides_nothing(file, shots, put):
    nameless = cl.read_shots(
        put(
            "n.csv",
            shots.drop(columns="Name")
            .rename(
                columns={
                    "Head": "club_speed_mps",
                    "Attack": "attack_up_deg",
                    "Path": "path_out_deg",
                    "Carry": "carry_m",
                    "When": "struck_at",
                }
            )
            .to_csv(index=False),
        )
    )
    assert copies(cl.combine_shots([file("a.csv", shots, digits=3), nameless]))[0] == 60


def test_twice_in_one_file_is_a_flag_and_no_more(file, shots):
    twice = file("a.csv", pd.concat([shots, shots[:5]]))
    assert twice.counts["set_aside"] == 0
    assert (twice.flags["rule"] == "duplicate shot").sum() == 5


def test_a_folder_with_the_same_export_in_two_kinds_gives_the_same_study(demo, tmp_path):
    for name in ("bay-3.csv", "bay-3.toml", "bay-4.xlsx", "bay-4.toml"):
        shutil.copy(demo / name, tmp_path / name)
    once = cl.read_study(tmp_path)
    shutil.copy(demo / "bay-3.csv", tmp_path / "winter.csv")
    shutil.copy(demo / "bay-3.toml", tmp_path / "winter.toml")
    twice = cl.read_study(tmp_path)
    assert twice.shots.counts["analysed"] == once.shots.counts["analysed"]
    assert any("winter.csv: all" in step and "stand in bay-3.csv too" in step for step in twice.steps)
    again = cl.clean_shots(twice.shots)
    assert again.counts.tolist() == twice.shots.counts.tolist()


def test_a_copy_moves_no_shot_out_of_its_block(put):
    own = "session,attack_up_deg,path_out_deg,carry_m\n"
    rows = [f"v1,{-n / 10:.1f},{n / 7:.2f},{100 + n}\n" for n in range(30)]
    parts = [
        cl.read_shots(put(name, own + "".join(some))) for name, some in (("a.csv", rows[:20]), ("b.csv", rows[10:]))
    ]
    log = put("log.csv", "session,first_shot,last_shot,phase,cue\nv1,1,15,plain,plain\nv1,16,30,cue,S1\n")
    joined = cl.join_log(cl.combine_shots(parts), log)
    used = joined.table[joined.usable]
    assert used["shot"].tolist() == list(range(1, 31))
    assert used["phase"].value_counts().to_dict() == {"plain": 15, "cue": 15}
    assert not any("have no number" in note for note in joined.notes)


def test_labels_of_very_many_shots_are_categories_and_say_the_same(put, monkeypatch):
    from coachlab.intake import fill

    text = "student,session,hand,club,attack_up_deg\n" + "".join(
        f"Robin,v{n % 3},{'RL '[n % 3]},iron-7,{-n / 9:.2f}\n" for n in range(30)
    )
    few = cl.clean_shots(cl.read_shots(put("a.csv", text)))
    monkeypatch.setattr(fill, "MANY", 10)
    many = cl.clean_shots(cl.read_shots(put("a.csv", text)))
    assert isinstance(many.table["session"].dtype, pd.CategoricalDtype)
    labels = ["student", "session", "hand", "club", "source", "excluded_reason"]
    pd.testing.assert_frame_equal(
        many.table.astype(dict.fromkeys(labels, "str")), few.table.astype(dict.fromkeys(labels, "str"))
    )
    other = cl.clean_shots(cl.read_shots(put("b.csv", text.replace("v", "w").replace("-", "-1"))))
    both = cl.combine_shots([many, other])
    assert both.table["session"].dtype == "str" and both.table["source"].tolist() == ["a.csv"] * 30 + ["b.csv"] * 30
    log = put("log.csv", "session,first_shot,last_shot,phase,cue\nv0,1,10,plain,plain\n")
    assert (cl.join_log(many, log).table["phase"] == "plain").sum() == 10
