import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab import schema, units


def test_every_numeric_column_ends_in_its_unit_or_counts_something():
    bare = {"direction", "humidity", "dose_value"}
    for column in schema.COLUMNS.values():
        if column.kind == "number" and column.name not in bare:
            assert units.suffix_of(column.name) in units.SUFFIXES, column.name


def test_a_name_means_the_same_in_every_table():
    for name in schema.COLUMNS:
        kinds = {table[name].kind for table in schema.TABLES.values() if name in table}
        assert len(kinds) == 1, name


def test_exactly_the_sideways_columns_are_mirrored():
    assert set(schema.LATERAL) == {
        "path_out_deg",
        "face_open_deg",
        "face_to_path_deg",
        "launch_out_deg",
        "side_out_m",
        "spin_tilt_deg",
        "arc_azimuth_deg",
    }


def test_a_missing_column_is_named_with_the_nearest_heading():
    with pytest.raises(cl.DataError, match=r"No column 'session' \('sesion' is close\)"):
        schema.check("blocks", pd.DataFrame({"sesion": [1]}), required=["session"], where="log.csv")


def test_text_where_numbers_are_due_names_column_and_row():
    frame = pd.DataFrame({"attack_up_deg": ["-3.1", "steep"]}, index=[12, 13])
    with pytest.raises(cl.DataError, match=r"Row 13, column attack_up_deg: 'steep' is no number") as caught:
        schema.check("shots", frame)
    assert caught.value.facts == {"column": "attack_up_deg", "row": 13}


def test_a_number_outside_its_range_is_refused_in_the_log_and_left_to_the_reader_in_shots():
    with pytest.raises(cl.DataError, match="lies outside 0 to 10"):
        schema.check("blocks", pd.DataFrame({"pain_0_10": [3, 11]}))
    schema.check("shots", pd.DataFrame({"attack_up_deg": [-40.0]}))


def test_an_unknown_phase_is_refused_with_the_list():
    with pytest.raises(cl.DataError, match="'practise' is none of warmup, screen, plain"):
        schema.check("blocks", pd.DataFrame({"phase": ["plain", "practise"]}))


def test_a_check_changes_nothing():
    frame = pd.DataFrame({"attack_up_deg": [-3.0, np.nan]})
    before = frame.copy()
    schema.check("shots", frame)
    pd.testing.assert_frame_equal(frame, before)


def test_every_club_has_a_head_that_physics_knows():
    assert set(schema.CLUBS.values()) == {"driver", "iron", "wedge"}
    assert all(schema.show_club(club) for club in schema.CLUBS)


def test_the_dictionary_names_every_column():
    text = schema.dictionary()
    assert all(f"| {name} |" in text for name in schema.COLUMNS)


def test_what_a_column_should_hold_is_said_as_a_sentence():
    frame = pd.DataFrame({"block": ["b1"], "phase": ["pause"]})
    with pytest.raises(cl.DataError) as caught:
        schema.check("blocks", frame)
    assert caught.value.do == "Correct the column; what it should hold: what the block was for."
