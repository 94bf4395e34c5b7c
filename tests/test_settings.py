import pytest

import coachlab as cl
from coachlab.settings import DEFAULT_USEFUL


def write(folder, name, text):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_the_defaults_are_those_of_the_methods_brief():
    settings = cl.read_settings()
    found = {name: settings.smallest_useful_shift(name, "iron-7") for name in DEFAULT_USEFUL}
    assert found == {
        "attack_up_deg": 1.0,
        "path_out_deg": 1.5,
        "face_open_deg": 1.0,
        "face_to_path_deg": 1.0,
        "club_speed_mps": 0.5,
        "carry_m": 3.0,
    }
    assert settings.smallest_useful_shift("carry_m", "driver") == 4.0


def test_an_academy_changes_one_value_and_keeps_the_others(tmp_path):
    path = write(
        tmp_path,
        "academy.toml",
        'units = "metres"\n[smallest_useful]\nattack_up_deg = 0.8\n[smallest_useful.driver]\nattack_up_deg = 1.4\n',
    )
    settings = cl.read_settings(path)
    assert settings.units == "metres"
    assert settings.smallest_useful_shift("attack_up_deg", "iron-7") == 0.8
    assert settings.smallest_useful_shift("attack_up_deg", "driver") == 1.4
    assert settings.smallest_useful_shift("carry_m", "driver") == 4.0
    assert settings.smallest_useful_shift("path_out_deg") == 1.5


def test_an_academy_writes_its_own_windows(tmp_path):
    path = write(tmp_path, "academy.toml", "[window.iron-7]\nattack_up_deg = [-5, -2.5]\n")
    assert cl.read_settings(path).windows_by_club == {"iron-7": {"attack_up_deg": (-5.0, -2.5)}}


def test_what_the_academy_has_set_goes_before_the_flight_model_and_that_before_the_defaults():
    settings = cl.Settings(
        smallest_useful={"carry_m": 5.0},
        smallest_useful_by_club={"iron-7": {"attack_up_deg": 0.8}},
        flown_useful={"iron-7": {"attack_up_deg": 1.3, "path_out_deg": 1.9, "carry_m": 9.0}},
    )
    found = [
        (settings.smallest_useful_shift(name, club), settings.useful_source(name, club))
        for name, club in (
            ("attack_up_deg", "iron-7"), ("path_out_deg", "iron-7"), ("carry_m", "iron-7"), ("carry_m", "driver"),
            ("path_out_deg", "driver"),
        )
    ]  # fmt: skip
    assert found == [(0.8, "own"), (1.9, "flight model"), (5.0, "own"), (5.0, "own"), (1.5, "default")]
    with pytest.raises(cl.DataError, match="There is one for"):
        settings.smallest_useful_shift("spin_rpm")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("unitz = 'yards'", "'units' is close"),
        ("units = 'miles'", "known are yards and metres"),
        ("verdict_students = '8'", "a whole number is due"),
        ("[smallest_useful]\nattack = 1.0", "'attack' is not known there"),
        ("[smallest_useful]\nattack_up_deg = -1.0", "a positive number is due"),
        ("[smallest_useful.iron7]\nattack_up_deg = 1.0", "'iron-7' is close"),
        ("units = ", "not valid TOML"),
        ("[window]\nattack_up_deg = [-5.0, -2.0]", "window holds no club"),
        ("[window.iron-7]\nattack_up_deg = [-2.0, -5.0]", "window of attack_up_deg with iron-7 is"),
        ("[window.iron-7]\nattack_up_deg = 3", "low and its high end"),
        ("[window.iron7]\nattack_up_deg = [-5, -2]", "'iron-7' is close"),
        ("[smallest_useful]\nattack_up_deg = inf", "a positive number is due"),
    ],
)
def test_a_wrong_setting_is_named_with_what_to_do(tmp_path, text, message):
    with pytest.raises(cl.DataError, match=message) as caught:
        cl.read_settings(write(tmp_path, "academy.toml", text))
    assert caught.value.do


def test_a_file_that_is_not_there_is_said():
    with pytest.raises(cl.DataError, match=r"nowhere.toml was asked for"):
        cl.read_settings("nowhere.toml")


def test_cue_cards_become_one_row_each_and_plain_is_added(tmp_path):
    path = write(
        tmp_path,
        "cues.toml",
        '[S1]\nname = "ball-forward"\nfamily = "setup"\ncard_text = "Nearer your lead foot."\nmoves = ["attack_up_deg"]\ndirection = 1\n',
    )
    cues = cl.read_cues(path)
    assert list(cues["cue"]) == ["S1", "plain"]
    assert cues.loc[0, ["family", "moves", "direction", "version"]].tolist() == ["setup", "attack_up_deg", 1, "1"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[S1]\nfamily = "set-up"', "family is 'set-up'"),
        ('[S1]\nfamily = "setup"\ndirection = 2', "direction is 2"),
        ('[S1]\nfamily = "setup"\nmoves = ["attack"]', "'attack' is not known"),
        ('[S1]\nfamily = "setup"\nwords = "x"', "'words' is not known"),
        ("S1 = 3", "not a section"),
    ],
)
def test_a_wrong_cue_card_names_the_cue_or_the_key(tmp_path, text, message):
    with pytest.raises(cl.DataError, match=message):
        cl.read_cues(write(tmp_path, "cues.toml", text))
