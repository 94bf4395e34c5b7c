"""A table that was handed over as it is: whatever its columns are made of, it is brought into form or refused."""

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.plain import plain_table

TABLE = pd.DataFrame({"attack_up_deg": [-3.0, 2.0, 1.0], "session": ["v1", "v1", "v2"], "read_ok": [True, False, True]})


def refused(table, *parts):
    with pytest.raises(cl.DataError) as caught:
        plain_table(table)
    assert caught.value.do and all(part in str(caught.value) for part in parts), str(caught.value)


@pytest.mark.parametrize(
    "values",
    [
        pd.Series([-3, None, 2], dtype="Int64"),
        pd.Series([-3, None, 2], dtype="Float64"),
        pd.Series([-3, None, 2], dtype="float16"),
        pd.Series([-3, None, 2], dtype="float[pyarrow]"),
        pd.Series([-3, None, 2], dtype="category"),
        pd.Series([-3, None, 2], dtype="Sparse[float]"),
        pd.Series(["-3", None, "2"], dtype="object"),
        pd.Series(["-3", " ", "2"], dtype="str"),
        pd.Series([np.float32(-3), pd.NA, 2], dtype="object"),
        pd.Series([-3, pd.NaT, 2], dtype="object"),
    ],
)
def test_numbers_of_any_make_are_floats(values):
    found = plain_table(TABLE.assign(attack_up_deg=values))["attack_up_deg"]
    assert found.dtype == float and found.tolist()[::2] == [-3, 2] and np.isnan(found[1])


@pytest.mark.parametrize(
    "value", [3 + 2j, b"3", "far", (1,), pd.Timestamp("2026-11-03"), pd.Timedelta(3, "s"), "\ud800"]
)
def test_what_is_no_number_is_refused_with_its_row(value):
    refused(TABLE.assign(attack_up_deg=pd.Series([1, value, 2], dtype="object")), "Row 1", "is no number")


def test_a_whole_number_beyond_every_float_is_endless():
    values = pd.Series([1, 10**400, 2], dtype="object")
    assert plain_table(TABLE.assign(attack_up_deg=values))["attack_up_deg"][1] == np.inf


def test_a_column_that_stands_twice_is_refused():
    refused(pd.concat([TABLE, TABLE[["session"]]], axis=1), "Twice: session")
    refused(TABLE.set_axis(pd.MultiIndex.from_product([TABLE.columns, ["a"]]), axis=1), "several levels")


@pytest.mark.parametrize("index", [[7, 7, 7], pd.Index(["a", "b", "a"], name="session"), [pd.NaT, 1, "x"]])
def test_rows_are_counted_whatever_they_were_called(index):
    table = TABLE.set_axis(pd.Index(index), axis=0)
    assert plain_table(table).index.tolist() == [0, 1, 2]
    assert table.index.tolist() != [0, 1, 2]


def test_flags_of_any_make_say_yes_or_no():
    for values in (["yes", None, "no"], [1, pd.NA, 0], [True, np.nan, False]):
        found = plain_table(TABLE.assign(read_ok=pd.Series(values, dtype="object"), excluded=values[1]))
        assert found["read_ok"].tolist() == [True, True, False] and not found["excluded"].any()
        assert found["read_ok"].dtype == bool and found["excluded"].dtype == bool
    refused(TABLE.assign(read_ok="perhaps"), "neither yes nor no")


@pytest.mark.parametrize(
    "values",
    [
        pd.to_datetime(["2026-11-03 10:00"] * 3).tz_localize("Asia/Tokyo"),
        ["2026-11-03 10:00"] * 3,
        pd.Series([pd.Timestamp("2026-11-03 10:00", tz="UTC"), "2026-11-03 10:00", "03.11.2026 10:00"], dtype="object"),
    ],
)
def test_times_are_those_of_the_devices_own_clock(values):
    found = plain_table(TABLE.assign(struck_at=values))["struck_at"]
    assert found.dtype == "M8[us]" and (found == pd.Timestamp("2026-11-03 10:00")).all()


def test_labels_of_any_make_are_texts_that_can_be_written():
    odd = pd.Series(["v\ud800", 1, None], dtype="object")
    found = plain_table(TABLE.assign(session=odd))["session"]
    assert found.tolist()[:2] == ["v?", "1"] and found.isna()[2]
    mixed = plain_table(TABLE.assign(session=pd.Categorical(["a", 1, None])))["session"]
    assert mixed.tolist()[:2] == ["a", "1"]
    kept = plain_table(TABLE.assign(session=TABLE["session"].astype("category")))["session"]
    assert kept.dtype == "category"


def test_a_row_of_a_file_is_a_whole_number():
    assert plain_table(TABLE.assign(source_row=["2", "3.0", "4"]))["source_row"].tolist() == [2, 3, 4]
    for row in (None, 2.5, 1e300, np.inf):
        refused(TABLE.assign(source_row=pd.Series([1, row, 3], dtype="object")), "Row 1", "is no row of a file")


def test_a_table_without_rows_stays_one_without_rows():
    assert plain_table(TABLE.astype("object").iloc[:0]).shape == (0, 3)


def test_what_the_ball_tells_is_asked_of_a_table_of_any_make():
    told = {
        "ball_speed_mps": ["52", "52", 1e308], "launch_up_deg": 17, "launch_out_deg": 1, "spin_rpm": 6500,
        "spin_tilt_deg": [2, None, 2], "club": "iron-7", "delivered_loft_deg": [1e308, 25, 25],
    }  # fmt: skip
    table = pd.DataFrame(told, index=[7, 7, 7], dtype="object")
    found = cl.infer_delivery(table)
    assert np.isfinite(found.table["inferred_loft_deg"]).tolist() == [True, False, False] and not found.compared
    with pytest.raises(cl.DataError, match="is no number"):
        cl.infer_delivery(table.assign(spin_rpm="fast"))
