"""The ball-flight page without a browser: what it offers, what it refuses, and the file that it becomes."""

import base64
import hashlib
import json
import re

import numpy as np
import pytest

import coachlab as cl
from coachlab.cli import main
from coachlab.errors import DataError, FlightError
from coachlab.physics.aero import AERO, ENSEMBLE, FITS, PARTS, coefficients
from coachlab.physics.flight import fly
from coachlab.physics.impact import HEADS, Delivery, check_delivery, strike
from coachlab.physics.ops import PLAIN
from coachlab.physics.shot import shot_of
from coachlab.physics.tables import physics_tables
from coachlab.settings import Settings
from coachlab.widgets.controls import LIMITS, control_list, page_numbers, shot_at, start
from coachlab.widgets.single import flight_html


def test_a_shot_is_the_strike_and_flight_of_its_parts_and_its_range_is_that_of_all_models():
    delivery = Delivery(41.0, -1.5, 2.0, -1.0, 14.0, 5.0, -4.0)
    air = cl.Air(tail_mps=-3.0, cross_mps=2.0, profile="log")
    shot = shot_of(delivery, "driver", air)
    assert shot.flight.carry_m == fly(strike(delivery, "driver"), air).carry_m
    made = HEADS["driver"]
    carries = [
        fly(strike(delivery, "driver", e_t), air, aero).carry_m
        for aero in ENSEMBLE
        for e_t in (made.e_t, *made.e_t_span)
    ]
    assert shot.ranges["carry_m"] == pytest.approx((min(carries), max(carries)), abs=1e-9)
    assert shot.face_to_path_deg == -3.0


def test_a_shot_of_many_deliveries_is_refused():
    with pytest.raises(FlightError, match="one delivery at a time"):
        shot_of(Delivery(np.array([40.0, 41.0]), 0.0, 0.0, 0.0, 14.0))


def test_the_tables_hold_the_coefficients_that_the_physics_uses():
    assert set(PARTS) <= set(AERO) and set(ENSEMBLE) <= set(PARTS)
    for name, fit in FITS.items():
        for S in (0.05, 0.15, 0.21):
            drag, lift = coefficients(name)(S, 1.2e5, PLAIN)
            faded = 1 - np.exp(-S / physics_tables()["aero"]["no_spin_no_lift"])
            assert drag == pytest.approx(np.polyval(fit.drag[::-1], S) + fit.drag_re * 1.2, abs=1e-12)
            assert lift == pytest.approx((np.polyval(fit.lift[::-1], S) + fit.lift_re / 1.44) * faded, abs=1e-12)


def test_everything_that_the_page_computes_with_can_be_written_as_json_without_loss():
    numbers = page_numbers()
    again = json.loads(json.dumps(numbers, allow_nan=False))
    assert again["heads"]["driver"]["e_t_span"] == list(HEADS["driver"].e_t_span)
    assert again["heads"]["iron"]["bulge_mm"] is None
    assert again["start"] == start()


def test_every_control_starts_inside_its_ends_in_both_systems():
    given = start() | {"arc_bottom_fwd_mm": shot_at(start()).arc_bottom_fwd_mm}
    for control in control_list():
        value = given[control["name"]]
        if "options" in control:
            assert value in [key for key, _ in control["options"]]
            continue
        for shown in control["shown"].values():
            assert shown["low"] <= value * shown["factor"] <= shown["high"], control["name"]


@pytest.mark.parametrize(
    "name, reason",
    [
        ("club_speed_mps", "above 80"),
        ("attack_up_deg", "outside -45 to 45"),
        ("path_out_deg", "outside -60 to 60"),
        ("face_open_deg", "outside -60 to 60"),
        ("delivered_loft_deg", "above 85"),
        ("strike_toe_mm", "off the face"),
        ("strike_high_mm", "off the face"),
    ],
)
def test_the_limits_of_the_page_are_those_of_a_delivery(name, reason):
    usual = {key: value for key, value in start().items() if key in Delivery.__dataclass_fields__}
    usual |= {"delivered_loft_deg": 50.0}  # above the steepest attack
    if name == "path_out_deg":
        usual["face_open_deg"] = 59.0  # or face and path would be too far apart
    if name == "face_open_deg":
        usual["path_out_deg"] = 59.0
    assert check_delivery(**usual | {name: float(LIMITS[name])}) == ""
    assert reason in check_delivery(**usual | {name: LIMITS[name] + 0.01})


@pytest.mark.parametrize("name", LIMITS["air"])
def test_the_limits_of_the_page_are_those_of_the_air(name):
    for end, out in zip(LIMITS["air"][name], (-0.01, 0.01), strict=True):
        assert cl.Air(**{name: float(end)}).density_kgpm3 > 0
        with pytest.raises(FlightError, match=name):
            cl.Air(**{name: end + out})


def test_the_remaining_limits_of_the_page_are_those_of_a_delivery():
    usual = {key: value for key, value in start().items() if key in Delivery.__dataclass_fields__}
    most = LIMITS["apart_deg"]
    assert check_delivery(**usual | {"face_open_deg": most / 2, "path_out_deg": -most / 2}) == ""
    apart = check_delivery(**usual | {"face_open_deg": most / 2 + 0.01, "path_out_deg": -most / 2})
    assert f"more than {most} degrees apart" in apart
    for name in ("attack_up_deg", "strike_toe_mm", "strike_high_mm"):
        assert check_delivery(**usual | {name: -float(LIMITS[name])}) == ""
        assert name in check_delivery(**usual | {name: -LIMITS[name] - 0.01})


def test_what_is_set_from_python_moves_as_on_the_page_and_what_is_given_stands():
    page = cl.flight_page({"path_out_deg": 2.0})
    page.controls = {"attack_up_deg": 1.5}
    # 3 degrees of attack take the path along by about 1 / tan 47 each
    assert page.controls["path_out_deg"] == pytest.approx(-0.8, abs=0.1)
    held = page.controls["path_out_deg"]
    page.controls = {"attack_up_deg": -1.5, "path_out_deg": held}
    assert page.controls["path_out_deg"] == held
    page.controls = {"hold_path": True}
    page.controls = {"attack_up_deg": 4.0}
    assert page.controls["path_out_deg"] == held
    page.controls = {"club": "iron-7", "club_speed_mps": 30.0}
    assert (page.controls["club_speed_mps"], page.controls["path_out_deg"]) == (30.0, held)
    assert page.controls["delivered_loft_deg"] > start()["delivered_loft_deg"]
    page.controls = {"arc_bottom_fwd_mm": 50.0}
    assert page.shot.arc_bottom_fwd_mm == pytest.approx(50.0, abs=1e-9)
    assert "arc_bottom_fwd_mm" not in page.controls
    page.controls = {"arc_bottom_fwd_mm": 5_000.0}
    with pytest.raises(FlightError):
        _ = page.shot
    page.begin({"attack_up_deg": 3.0})
    assert page.controls["path_out_deg"] == 0.0


def test_the_widget_takes_some_controls_and_keeps_the_others():
    page = cl.flight_page({"club": "iron-7", "delivered_loft_deg": 24.0}, Settings(units="metres"))
    assert page.units == "metres"
    page.controls = {"face_open_deg": 2.0}
    assert page.controls["delivered_loft_deg"] == 24.0
    assert page.shot.flight.side_m > 0
    assert page.shot.head == "iron"


@pytest.mark.parametrize(
    "controls, found",
    [
        ({"loft": 3.0}, "There is no control 'loft'"),
        ({"club": "putter"}, "club is 'putter'"),
        ({"face_open_deg": "two"}, "face_open_deg is 'two'"),
        ({"hold_path": 1}, "hold_path is 1"),
    ],
)
def test_a_control_that_is_not_one_is_refused_in_three_parts(controls, found):
    with pytest.raises(DataError) as caught:
        cl.flight_page(controls)
    assert found in caught.value.found
    assert caught.value.asked and caught.value.do


def test_a_page_can_begin_anew():
    page = cl.flight_page({"club": "iron-7", "face_open_deg": 3.0})
    page.begin({"path_out_deg": -2.0})
    assert page.controls == start() | {"path_out_deg": -2.0, "hold_path": False}
    assert page.begun == 1
    with pytest.raises(DataError, match="There is no control 'loft'"):
        page.begin({"loft": 3.0})


def test_parts_and_offers_that_are_none_are_refused():
    page = cl.flight_page()
    with pytest.raises(DataError, match="There is no part 'grass'"):
        page.hidden = ["grass"]
    with pytest.raises(DataError, match="There is no control 'loft'"):
        page.offered = ["loft"]
    page.offered = ["face_open_deg", "arc_bottom_fwd_mm", "hold_path"]


def test_the_file_is_small_names_no_address_and_lets_only_its_own_script_and_style_in():
    page = flight_html()
    assert len(page.encode()) < 100_000
    assert re.findall(r"(?:https?:|www\.|@import|url\()", page) == []
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)[1]
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy and "*" not in policy
    for tag, what in (("script", '<script type="module">(.*?)</script>'), ("style", "<style>(.*?)</style>")):
        inside = re.findall(what, page, re.DOTALL)
        assert len(inside) == 1
        digest = base64.b64encode(hashlib.sha256(inside[0].encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy


def test_the_command_writes_the_page_and_says_how_to_open_it(tmp_path, capsys):
    with pytest.raises(SystemExit) as left:
        main(["flight-page", "--out", str(tmp_path)])
    assert left.value.code == 0
    assert (tmp_path / "ball-flight.html").read_text(encoding="utf-8") == flight_html()
    assert "open it in a browser" in capsys.readouterr().out


def test_a_place_where_nothing_can_be_written_is_told(tmp_path, capsys):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(SystemExit) as left:
        main(["flight-page", "--out", str(tmp_path / "taken" / "page.html")])
    assert left.value.code == 2
    assert "taken is a file, not a folder" in capsys.readouterr().err
