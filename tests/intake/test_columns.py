import pytest

import coachlab as cl
from coachlab.intake.columns import MAPPABLE, READINGS, sign_of, words_for
from coachlab.schema import LATERAL
from coachlab.units import units_for

GOOD = '[column.carry_m]\nheading = "Carry"\nunit = "yd"\n'


@pytest.fixture
def refuse(put):
    def refuse(text):
        with pytest.raises(cl.MapError) as caught:
            cl.ColumnMap.from_toml(put("bay-3.toml", text))
        error = caught.value
        assert "bay-3.toml" in error.asked
        assert error.found and error.do
        return error

    return refuse


def test_a_map_holds_what_its_file_says(put):
    columns = cl.ColumnMap.from_toml(
        put(
            "m.toml",
            'name = "bay 3"\ndecimal = ","\nsheet = "Shots"\nhand = "L"\nsession_day = 2026-11-03\n'
            '[club_names]\n"7 I" = "iron-7"\n'
            '[column.path_out_deg]\nheading = ["Path", "Club path"]\nunit = "°"\npositive = "right"\n',
        )
    )
    assert (columns.name, columns.decimal, columns.sheet) == ("bay 3", ",", "Shots")
    assert dict(columns.given) == {"hand": "L", "session_day": "2026-11-03"}
    assert dict(columns.club_names) == {"7 I": "iron-7"}
    path = columns.columns["path_out_deg"]
    assert (path.headings, path.unit, path.positive) == (("Path", "Club path"), "deg", "right")


@pytest.mark.parametrize("key", ["student", "coach", "session", "session_day", "block", "club", "phase", "cue", "hand"])
def test_a_map_may_say_for_the_whole_file(put, key):
    value = {"session_day": "2026-11-03", "club": "iron-7", "phase": "plain", "hand": "left"}.get(key, "x1")
    columns = cl.ColumnMap.from_toml(put("m.toml", f'{key} = "{value}"\n' + GOOD))
    assert columns.given[key] == {"hand": "L"}.get(key, value)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('decimals = "."\n' + GOOD, "'decimal' is close"),
        ('[column.cary_m]\nheading = "Carry"\n', "'carry_m' is close"),
        ('[column.read_ok]\nheading = "OK"\n', "'read_ok' is not known"),
        (GOOD + 'units = "m"\n', "'unit' is close"),
        ('[column.carry_m]\nheading = "Carry"\nunit = "yads"\n', "'yads' of column carry_m is not known"),
        ('[column.carry_m]\nheading = "Carry"\nunit = "mph"\n', "wrong kind"),
        ('[column.student]\nheading = "Name"\nunit = "m"\n' + GOOD, "student has no unit"),
        ('[column.path_out_deg]\nheading = "Path"\nunit = "deg"\n', "which way is plus"),
        (GOOD + 'positive = "right"\n', "carry_m has no direction"),
        ('[column.path_out_deg]\nheading = "Path"\npositive = "up"\n', "does not fit"),
        ('[column.path_out_deg]\nheading = "Path"\npositive = "open"\n', "does not fit"),
        ('[column.attack_up_deg]\nheading = "A"\npositive = "right"\n', "does not fit"),
        ('[column.strike_toe_mm]\nheading = "A"\npositive = 1\n', "does not fit"),
        ('decimal = ";"\n' + GOOD, "decimal is ';'"),
        ('hand = "both"\n' + GOOD, "hand is 'both'"),
        ('phase = "plian"\n' + GOOD, "'plain' is close"),
        ('club = "iron 77"\n' + GOOD, "iron 77"),
        ('session_day = "yesterday"\n' + GOOD, "session_day"),
        ('[club_names]\n"7 I" = "iron7"\n' + GOOD, "'iron-7' is close"),
        ("[column.carry_m]\nunit = 'm'\n", "heading of column carry_m is None"),
        ("[column.carry_m]\nheading = []\n", "heading of column carry_m"),
        ('name = "x"\n', "No measure"),
        ('[column.student]\nheading = "Name"\n', "No measure"),
        (GOOD + '[column.peak_m]\nheading = "carry "\n', "mapped twice"),
        ("name = \n", "not valid TOML"),
        ("column = 3\n", "column is 3"),
        ("[column]\ncarry_m = 'Carry'\n", "column.carry_m is 'Carry'"),
        ('carry_m = "Carry"\n' + GOOD, "[column.carry_m]"),
    ],
)
def test_a_wrong_map_is_refused_and_says_where(refuse, text, found):
    assert found in str(refuse(text))


def test_a_map_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(cl.MapError, match="cannot be opened"):
        cl.ColumnMap.from_toml(tmp_path / "none.toml")


def test_a_map_that_is_no_text_is_refused(put):
    with pytest.raises(cl.MapError, match="UTF-8"):
        cl.ColumnMap.from_toml(put("m.toml", b"\xff\xfe\x00"))


def test_further_faults_are_counted(refuse):
    assert "(1 more" in refuse('decimals = "."\nphase = "x"\n' + GOOD).found


def test_every_lateral_column_needs_a_direction_and_takes_both_frames(refuse, put):
    for column in LATERAL:
        assert "which way is plus" in refuse(f'[column.{column}]\nheading = "X"\n').found
        for word in words_for(column):
            text = f'[column.{column}]\nheading = "X"\npositive = "{word}"\n'
            assert cl.ColumnMap.from_toml(put("m.toml", text)).columns[column].positive == word


def test_a_column_without_direction_takes_none(refuse):
    for column in set(MAPPABLE) - {name for name in READINGS if words_for(name)}:
        assert "has no direction" in str(refuse(f'[column.{column}]\nheading = "X"\npositive = "up"\n'))


def test_every_usual_spelling_of_a_unit_is_taken(put):
    for column, spelling, unit in [
        ("club_speed_mps", "km/h", "kmh"),
        ("club_speed_mps", "m/s", "mps"),
        ("path_out_deg", "°", "deg"),
        ("carry_m", "Yards", "yd"),
        ("strike_toe_mm", "cm", "cm"),
        ("spin_rpm", "1/min", "rpm"),
    ]:
        positive = 'positive = "right"\n' if column in LATERAL else ""
        text = f'[column.{column}]\nheading = "X"\nunit = "{spelling}"\n{positive}'
        assert cl.ColumnMap.from_toml(put("m.toml", text)).columns[column].unit == unit
        assert unit in units_for(column)


@pytest.mark.parametrize(
    ("column", "plus", "minus"),
    [
        ("attack_up_deg", "up", "down"),
        ("land_angle_deg", "down", "up"),
        ("strike_toe_mm", "toe", "heel"),
        ("strike_high_mm", "high", "low"),
        ("arc_bottom_fwd_mm", "ahead", "behind"),
        ("path_out_deg", "out", "in"),
        ("face_open_deg", "open", "closed"),
        ("side_out_m", "right", "left"),
    ],
)
def test_two_words_for_a_direction_are_opposite(column, plus, minus):
    assert sign_of(column, plus)[0] == 1
    assert sign_of(column, minus)[0] == -1
