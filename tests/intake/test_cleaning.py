"""The cleaning report, and what a person decides about single shots."""

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.clean import USED, exclude
from coachlab.intake.decide import DECISION_COLUMNS, decisions_of, read_decisions, restore, write_decisions
from coachlab.report.cleaning import cleaning_page, cleaning_pages

OWN = "student,session,shot,club,attack_up_deg,path_out_deg\n" + "".join(
    f"s-0000000{n % 2},v{n % 2},{n // 2 + 1},iron-7,{31 if n in (3, 8) else -n / 7:.2f},{n / 5:.2f}\n"
    for n in range(24)
    if n != 10
)
LOG = "session,first_shot,last_shot,phase,cue\nv0,1,6,plain,plain\nv0,7,12,cue,S1\nv1,1,6,plain,plain\nv1,7,12,cue,S1\n"


@pytest.fixture
def shots(put):
    return cl.clean_shots(cl.read_shots(put("a.csv", OWN)))


def test_the_report_accounts_for_every_line_of_every_file(demo):
    study = cl.read_study(demo)
    report = cl.cleaning_report(study.shots)
    files = report.table
    assert files[["raw", "rejects", "shots", "analysed", "set_aside"]].sum().tolist() == study.shots.counts.tolist()
    tables = report.tables
    assert tables["set_aside"]["shots"].sum() == study.shots.counts["set_aside"]
    assert tables["rejects"]["rows"].sum() == study.shots.counts["rejects"]
    phases = tables["phases"]
    assert ((phases["low"] < phases["share"]) & (phases["share"] < phases["high"])).all()
    lost = (study.shots.rejects["rule"] == "no reading").sum()
    assert phases["struck"].sum() == study.shots.counts["shots"] + phases["not_read"].sum()
    assert 0.97 * lost <= phases["not_read"].sum() <= lost  # a ball after the last block belongs to no phase
    assert set(report.findings.table["audit"]) == {"logging"}
    assert tables["gaps"]["missing"].sum() > 0
    assert "looks like best shots only" in report.text()


def test_a_log_given_to_the_report_is_joined(put, shots):
    report = cl.cleaning_report(shots, put("log.csv", LOG))
    assert report.tables["phases"]["struck"].tolist() == [11, 12]
    assert report.tables["phases"]["misread"].sum() == 2
    assert report.tables["gaps"][["session", "missing", "which"]].to_numpy().tolist() == [["v0", 1, "6"]]


def test_a_cue_that_the_device_sees_worse_is_said(put):
    lines = [f"v1,{n},{'' if n > 20 and n % 4 == 0 else -n / 9}" for n in range(1, 41)]
    export = put("a.csv", "session,shot,attack_up_deg\n" + "\n".join(lines))
    log = put("log.csv", "session,first_shot,last_shot,phase,cue\nv1,1,20,plain,plain\nv1,21,40,cue,S1\n")
    report = cl.cleaning_report(cl.clean_shots(cl.read_shots(export)), log)
    assert any("25.0 % of the shots in cue blocks" in line and "0.0 % in plain" in line for line in report.warnings())


def test_the_page_stands_alone_and_holds_no_markup_of_a_file(put, shots):
    evil = "<img src=x onerror=alert(1)>"
    named = cl.clean_shots(cl.read_shots(put("b.csv", OWN.replace("v1", evil))))
    set_aside = exclude(named, np.arange(len(named)) == 0, f"a reason {evil}")
    report = cl.cleaning_report(set_aside)
    for html in (cleaning_page(report), report._repr_html_()):
        assert "<img" not in html and "&lt;img" in html
    page = cleaning_page(report)
    assert page.startswith("<!DOCTYPE html>") and "http" not in page.replace("http-equiv", "")
    assert [p.title for p in cleaning_pages(report)][:2] == ["Cleaning report", "What came, file by file"]


def misread(shots):
    return ~shots.table["read_ok"].to_numpy(dtype=bool)


def test_a_rule_is_undone_for_a_shot_and_the_reason_kept(shots):
    where = misread(shots)
    assert where.sum() == 2
    first = where & (np.cumsum(where) == 1)
    used = restore(shots, first, "seen with my own eyes")
    assert used.counts["set_aside"] == 1 and shots.counts["set_aside"] == 2
    again = cl.clean_shots(cl.clean_shots(used))
    assert again.counts["set_aside"] == 1
    kept = again.flags[again.flags["rule"] == USED]
    assert kept["value"].tolist() == ["seen with my own eyes"]
    assert "out of range" in again.flags["rule"].tolist()
    assert cl.cleaning_report(again).tables["decisions"]["reason"].tolist() == ["seen with my own eyes"]


def test_what_a_person_set_aside_comes_back_with_a_reason_too(shots):
    aside = exclude(shots, np.arange(len(shots)) < 3, "wrong ball")
    back = restore(aside, np.arange(len(shots)) < 1, "the right ball after all")
    assert back.counts["set_aside"] == aside.counts["set_aside"] - 1
    table = decisions_of(back)
    assert table["decision"].tolist() == ["set aside", "set aside", "use"]


def test_decisions_come_back_from_their_file(shots, tmp_path):
    decided = restore(exclude(shots, np.arange(len(shots)) == 5, "=a slip"), misread(shots), "looked at")
    path = write_decisions(decisions_of(decided), tmp_path)
    assert "'=a slip" in path.read_text()
    again = cl.apply_decisions(shots, path)
    for name in ("read_ok", "excluded", "excluded_reason"):
        assert again.table[name].tolist() == decided.table[name].tolist(), name


def test_a_study_applies_the_decisions_in_its_folder(tmp_path):
    (tmp_path / "a.csv").write_text(OWN)
    before = cl.read_study(tmp_path)
    row = before.shots.table.loc[misread(before.shots), "source_row"].iloc[0]
    (tmp_path / "decisions.csv").write_text(
        f"source,source_row,decision,reason\na.csv,{row},use,looked at\na.csv,2,set aside,practice swing\n"
    )
    after = cl.read_study(tmp_path)
    assert after.files["file"].tolist() == ["a.csv"]
    assert after.shots.counts["analysed"] == before.shots.counts["analysed"]
    assert not after.shots.table.loc[after.shots.table["source_row"] == 2, "excluded"].eq(False).any()
    assert any(step.startswith("decisions.csv:") for step in after.steps)
    assert after.fingerprint != before.fingerprint


@pytest.mark.parametrize(
    ("line", "part"),
    [
        ("a.csv,2,maybe,x", "neither 'use' nor 'set aside'"),
        ("a.csv,2,use,", "is blank"),
        ("a.csv,two,use,x", "no row of a file"),
        ("a.csv,9999,use,x", "no shot in a.csv, row 9999"),
        ("b.csv,2,use,x", "'a.csv' is close"),
    ],
)
def test_a_decision_that_fits_no_shot_is_refused(shots, put, line, part):
    with pytest.raises(cl.DataError, match=part):
        cl.apply_decisions(shots, put("decisions.csv", f"{','.join(DECISION_COLUMNS)}\n{line}\n"))


def test_decisions_without_a_column_or_a_reason_are_refused(shots, put):
    with pytest.raises(cl.DataError, match="No column reason"):
        read_decisions(put("decisions.csv", "source,source_row,decision\na.csv,2,use\n"))
    with pytest.raises(cl.DataError, match="No reason"):
        restore(shots, misread(shots), " ")


# bringing in


def test_what_is_saved_is_read_again_without_a_map(put, tmp_path):
    export, log = put("a.csv", OWN), put("log-a.csv", LOG)
    told = []
    shots = cl.bring_shots([export], log=log, tell=told.append)
    assert len(told) >= 2 and shots.table["phase"].notna().all()
    for kind in ("parquet", "csv"):
        paths = cl.save_shots(shots, tmp_path / kind, kind)
        assert [path.name for path in paths] == [f"shots.{kind}", "rejects.csv", "remarks.csv"]
        again = cl.clean_shots(cl.read_shots(paths[0]))
        same = ["student", "session", "shot", "block", "phase", "cue", "attack_up_deg", "path_out_deg", "read_ok"]
        pd.testing.assert_frame_equal(again.table[same], shots.table[same], check_dtype=False)
    with pytest.raises(cl.DataError, match="kind"):
        cl.save_shots(shots, tmp_path, "xlsx")


def test_a_clock_that_is_off_is_taken_out_where_that_is_asked(put):
    lines = [f"v1,{n},2026-11-03 15:{n:02}:00,-{n / 9:.2f}" for n in range(1, 41)]
    export = put("a.csv", "session,shot,struck_at,attack_up_deg\n" + "\n".join(lines))
    log = put(
        "log.csv",
        "session,starts_at,ends_at,phase,cue\nv1,2026-11-03 14:00:30,2026-11-03 14:20:30,plain,plain\nv1,2026-11-03 14:20:40,2026-11-03 14:40:30,cue,S1\n",
    )
    with pytest.raises(cl.DataError, match="two clocks"):
        cl.bring_shots([export], log=log)
    shots = cl.bring_shots([export], log=log, set_clock=True)
    assert shots.table["phase"].value_counts().to_dict() == {"plain": 20, "cue": 20}
    report = cl.cleaning_report(cl.clean_shots(cl.read_shots(export)), log)
    assert "clock" in set(report.findings.table["audit"])
