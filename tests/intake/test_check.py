from coachlab.intake.audit import check_file

MAP = """
[column.shot]
heading = "No"
[column.club]
heading = "Club"
[column.attack_up_deg]
heading = "Attack"
unit = "deg"
[column.carry_m]
heading = "Carry"
"""


def severities(found):
    return found.table["severity"].value_counts().to_dict()


def test_a_check_tells_every_fault_of_map_and_file_at_once(put):
    text = (
        'nam = "x"\n[column.path_out_deg]\nheading = "Pth"\n[column.spin_rpm]\nheading = "Note"\nunit = "rpm"\n' + MAP
    )
    found = check_file(
        put("bay.csv", "No,Club,Attack,Carry,Path,Note\n1,iron-7,-3,120,4,soft\n2,iron-7,-3,120,4,hard\n"),
        put("m.toml", text),
    )
    errors = found.table[found.table["severity"] == "error"]
    assert found.shots is None
    whole = " ".join(errors["what"])
    for part in [
        "'name' is close",
        "which way is plus",
        "'Path' is close",
        "'soft', which is no number",
        "No unit stands anywhere",
    ]:
        assert part in whole
    assert len(errors) == 5
    assert (errors["do"] != "").all()
    assert "cannot be read" in found.text()


def test_a_check_lists_rejects_flags_and_what_is_set_aside_by_line(put):
    lines = "No,Club,Attack,Carry,Wind\n,,deg,yd,\n1,iron-7,-3,120,0\n2,spoon,-3.1,121,0\n3,iron-7,soft,122,0\n4,iron-7,31,123,0\n5,iron-7,,,\nAverage,,-3,120,\n"
    found = check_file(put("bay.csv", lines), put("m.toml", MAP))
    rows = found.table[found.table["row"].notna()]
    assert rows[["row", "severity", "rule"]].to_numpy().tolist() == [
        [4, "fault", "unknown club"],
        [2, "reject", "units row"],
        [5, "flag", "no number"],
        [6, "set aside", "out of range"],
        [7, "reject", "no reading"],
        [8, "reject", "total"],
    ]
    assert found.shots is not None and len(found.shots) == 4
    assert "31: the value cannot be" in rows["what"].iloc[3] and "-15 to 12" in rows["what"].iloc[3]
    notes = " ".join(found.table.loc[found.table["severity"] == "note", "what"])
    assert "right-handed" in notes and "'Wind'" in notes
    assert "1 x out of range" in found.text()
    assert "<table" in found._repr_html_()


def test_a_file_without_fault_has_only_notes(put):
    found = check_file(put("own.csv", "attack_up_deg,hand,club\n-3,R,iron-7\n-4,R,iron-7\n"))
    assert severities(found) == {}
    assert found.shots is not None


def test_a_file_that_cannot_be_opened_is_one_error(tmp_path):
    found = check_file(tmp_path / "none.csv")
    assert severities(found) == {"error": 1}
    assert "none.csv" in found.text()
