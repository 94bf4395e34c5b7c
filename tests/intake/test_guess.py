"""A proposed map: how often it is right on the demo's exports and on random ones, and what it says of its doubts."""

import shutil

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.clubs import guess_club
from coachlab.intake.guess import propose_map
from coachlab.intake.headings import without_unit
from coachlab.intake.proposal import PROPOSAL_COLUMNS
from coachlab.schema import LATERAL
from coachlab.units import factor_to_column, units_for

EXPORTS = {"bays-1-2": "csv", "bay-3": "csv", "bay-4": "xlsx"}

SYNONYMS = {
    "student": ["Player", "Student name", "Golfer", "Client"],
    "session": ["Session", "Visit no.", "Lesson id"],
    "shot": ["Shot", "Shot number", "Stroke no.", "#No"],
    "struck_at": ["Time", "Date and time", "Timestamp", "Struck at"],
    "club": ["Club", "Club type", "Club used"],
    "hand": ["Handedness", "Hand", "Player hand"],
    "club_speed_mps": ["Club speed", "Head velocity", "Speed (club)", "clubSpeed"],
    "attack_up_deg": ["Attack angle", "Angle of attack", "attack_angle"],
    "path_out_deg": ["Club path", "Swing path", "Path"],
    "face_open_deg": ["Face angle", "Club face", "Face to target"],
    "delivered_loft_deg": ["Delivered loft", "Loft at impact", "Dynamic loft"],
    "ball_speed_mps": ["Ball speed", "Ball velocity", "ballSpeed"],
    "launch_up_deg": ["Launch angle", "Vertical launch", "Launch (vertical)"],
    "launch_out_deg": ["Launch direction", "Horizontal launch", "Start direction"],
    "spin_rpm": ["Spin rate", "Total spin", "Spin"],
    "spin_tilt_deg": ["Spin axis", "Axis tilt", "Tilt of axis"],
    "carry_m": ["Carry", "Carry distance", "Carry length"],
    "side_out_m": ["Side", "Lateral distance", "Off line"],
    "peak_m": ["Peak height", "Apex", "Max. height"],
    "land_angle_deg": ["Landing angle", "Land angle", "Angle of fall"],
    "flight_s": ["Flight time", "Time in air", "Hang time"],
}
EXTRA = {"Remark": "soft", "Battery": 81, "Version": "2.1.4"}
CLUB_WORDS = (
    {"iron-7": "7i", "wedge-pw": "PW"},
    {"iron-7": "Iron 7", "wedge-pw": "Pitching wedge"},
    {"iron-7": "7 Iron", "wedge-pw": "P"},
)


@pytest.fixture(scope="module")
def simulated():
    return cl.simulate_academy(students=4, seed=5, lessons=3).shots.table.head(600)


def variant(folder, shots, seed):
    """Write the shots under other headings, in other units, with other sides; return the path and what is true of it."""
    rng = np.random.default_rng(seed)
    comma = bool(rng.integers(2))
    where = rng.choice(["brackets", "row", "cells", "nowhere"], p=[0.4, 0.25, 0.15, 0.2])
    left = bool(rng.integers(4) == 0)
    sided = where != "cells" and bool(rng.integers(3) == 0)
    names = list(SYNONYMS)
    dropped = set(rng.choice(names[7:], rng.integers(0, 5), replace=False)) - {
        "ball_speed_mps",
        "launch_up_deg",
        "spin_rpm",
    }
    names = [name for name in rng.permutation(names) if name not in dropped]
    mine = ["mph", "kmh", "mps"][rng.integers(3)], ["yd", "m"][rng.integers(2)]
    columns, truth, units = {}, {}, []
    mirrored = shots["hand"].eq("L").to_numpy()
    for name in names:
        heading = str(rng.choice(SYNONYMS[name]))
        values, unit = shots[name], ""
        if name == "club":
            values = values.astype("str").map(CLUB_WORDS[rng.integers(3)])
        elif name == "hand":
            values = values.astype("str").map(
                dict(zip("RL", [("R", "L"), ("Right", "Left"), ("rh", "lh")][rng.integers(3)], strict=True))
            )
        elif name == "struck_at":
            values = values.dt.strftime("%d.%m.%Y %H:%M:%S")
        elif units_for(name):
            fitting = units_for(name)
            unit = next((one for one in mine if one in fitting), fitting[0])
            numbers = (values.astype(float) / factor_to_column(unit, name)).to_numpy()
            if name in LATERAL:
                numbers = np.where(mirrored, -numbers, numbers) * (-1 if left else 1)
            texts = pd.Series(np.round(numbers, 0 if unit == "rpm" else 1) + 0.0)
            if sided and name in LATERAL:
                sign = -1 if left else 1
                values = [f"{abs(v)} {'R' if v * sign > 0 else 'L'}" if v else "0.0" for v in texts]
            else:
                values = [f"{v} {unit}" if where == "cells" else str(v) for v in texts]
            if comma:
                values = [text.replace(".", ",") for text in values]
        if where == "brackets" and unit:
            heading += f" [{unit}]"
        columns[heading] = pd.Series(np.asarray(values, dtype=object)).astype("str")
        units.append(unit if where == "row" else "")
        side = ("left" if left else "right") if name in LATERAL and not sided else ""
        truth[heading] = (name, unit, side)
    frame = pd.DataFrame(columns)
    for heading, value in list(EXTRA.items())[: rng.integers(0, 4)]:
        frame[heading], truth[heading] = str(value), ("", "", "")
        units.append("")
    if where == "row":
        frame = pd.concat([pd.DataFrame([units], columns=frame.columns), frame], ignore_index=True)
    path = folder / f"export-{seed}.csv"
    title = "Range day\n" if rng.integers(2) else ""
    path.write_text(title + frame.to_csv(index=False, sep=";" if comma else ","), encoding="utf-8")
    return path, truth


def marks(proposal, truth):
    """Shares of headings, units and sides that are right; units and sides of the headings that were understood.

    Without attack and path nothing tells a mirror image: there the proposal must say so.
    """
    rows = proposal.table.set_index("heading")
    columns = {heading: rows.loc[heading, "column"] == name for heading, (name, _, _) in truth.items()}
    units = [rows.loc[h, "unit"] == unit for h, (_, unit, _) in truth.items() if unit and columns[h]]
    told = {"attack_up_deg", "path_out_deg"} <= {name for name, _, _ in truth.values()}
    sided = any(side for _, _, side in truth.values())
    assert told or not sided or any("right from left" in warning for warning in proposal.warnings)
    sides = [rows.loc[h, "positive"] == side for h, (_, _, side) in truth.items() if side and told and columns[h]]
    return np.array([np.mean(list(columns.values())), np.mean(units), np.mean(sides) if sides else np.nan])


def test_the_demos_headings_are_understood_with_their_units_and_sides(demo):
    for stem, kind in EXPORTS.items():
        columns = cl.ColumnMap.from_toml(demo / f"{stem}.toml")
        proposal = propose_map(demo / f"{stem}.{kind}")
        truth = {h: (name, m) for name, m in columns.columns.items() for h in m.headings}
        for row in proposal.table.itertuples():
            name, mapped = truth[without_unit(row.heading)]
            assert row.column == name, (stem, row)
            assert row.positive == (mapped.positive or ""), (stem, row)
            assert mapped.unit is None or row.unit == mapped.unit, (stem, row)


def test_the_demo_read_with_proposed_maps_is_the_demo(demo, tmp_path):
    for stem, kind in EXPORTS.items():
        toml = tmp_path / f"{stem}.toml"
        toml.write_text(propose_map(demo / f"{stem}.{kind}").toml, encoding="utf-8")
        ours = cl.read_shots(demo / f"{stem}.{kind}", demo / f"{stem}.toml").table
        pd.testing.assert_frame_equal(cl.read_shots(demo / f"{stem}.{kind}", toml).table[list(ours)], ours)


def test_random_exports_are_understood_as_far_as_is_promised(tmp_path, simulated):
    found = np.array(
        [marks(propose_map(path), truth) for path, truth in (variant(tmp_path, simulated, s) for s in range(16))]
    )
    headings, units, sides = np.nanmean(found, axis=0)
    print(f"headings {headings:.3f}, units {units:.3f}, sides {sides:.3f}")
    assert headings >= 0.95 and units >= 0.95 and sides >= 0.95


def test_surer_guesses_are_righter(tmp_path, simulated):
    right = []
    for seed in range(100, 110):
        path, truth = variant(tmp_path, simulated, seed)
        right += [
            (r.confidence, truth[r.heading][0] == r.column) for r in propose_map(path).table.itertuples() if r.column
        ]
    table = pd.DataFrame(right, columns=["confidence", "right"])
    sure = table[table["confidence"] >= 0.75]["right"].mean()
    assert sure >= 0.98 and sure >= table[table["confidence"] < 0.75]["right"].mean()


def test_a_proposal_shows_what_it_rests_on(demo):
    proposal = propose_map(demo / "bay-3.csv")
    assert tuple(proposal.table.columns) == PROPOSAL_COLUMNS
    row = proposal.table.set_index("heading").loc["Speed of head [km/h]"]
    assert row["reason"] == "its words, the unit kmh in the brackets, numbers as this column has them"
    assert row["samples"].count(" · ") == 4
    assert any("counts the other way round: left is plus" in warning for warning in proposal.warnings)
    assert "21 of 21 headings are understood" in proposal.text()
    assert isinstance(proposal.map, cl.ColumnMap) and proposal.map.club_names == {"I7": "iron-7", "PW": "wedge-pw"}


EXPORT = {
    "shot": "No.|Nr.|N°|Nº|Nr",
    "struck_at": "Time|Zeit|Heure|Hora|Tid",
    "club": "Club|Schläger|Club|Palo|Klubba",
    "club_speed_mps": "Club speed|Schlägerkopfgeschwindigkeit|Vitesse du club|Velocidad del palo|Klubbhastighet",
    "attack_up_deg": "Angle of attack|Eintreffwinkel|Angle d'attaque|Ángulo de ataque|Attackvinkel",
    "path_out_deg": "Club path|Schwungbahn|Chemin de club|Trayectoria del palo|Svingbana",
    "ball_speed_mps": "Ball speed|Ballgeschwindigkeit|Vitesse de balle|Velocidad de bola|Bollhastighet",
    "launch_up_deg": "Launch angle|Startwinkel|Angle de lancement|Ángulo de lanzamiento|Utgångsvinkel",
    "spin_rpm": "Spin rate|Spinrate|Taux de spin|Tasa de efecto|Spinn",
    "carry_m": "Carry|Flugweite|Portée|Vuelo|Carry",
    "side_out_m": "Side|Seitliche Abweichung|Écart latéral|Desviación lateral|Sidled",
    "peak_m": "Apex|Flughöhe|Hauteur|Altura|Höjd",
    "land_angle_deg": "Landing angle|Landewinkel|Angle d'atterrissage|Ángulo de caída|Landningsvinkel",
}  # fmt: skip
WAYS = {"club": "m/s", "ball": "m/s", "spin": "rpm", "carr": "m", "side": "m", "peak": "m"}


def unit_of(column):
    return (
        "deg"
        if column.endswith("deg")
        else WAYS.get(column[:4], "")
        if column.count("_") and column != "struck_at"
        else ""
    )


def exported(simulated, headings, change=None):
    """A simulated session under other headings, some of its cells written in another way, and as it is read plainly."""
    table = simulated[[*EXPORT]].head(60).round({name: 2 for name in EXPORT if unit_of(name)})
    own = table.to_csv(index=False)
    for column, write in (change or {}).items():
        table[column] = [write(value) for value in table[column]]
    return own, table.set_axis(headings, axis=1)


def same_as_its_twin(put, own, content):
    twin, proposal = cl.read_shots(put("own.csv", own)).table, propose_map(put("odd.csv", content))
    read = cl.read_shots(put("odd.csv", content), proposal.map).table
    place = ["source", "source_row"]
    pd.testing.assert_frame_equal(read.drop(columns=place), twin.drop(columns=place), check_dtype=False)


@pytest.mark.parametrize("place", range(5), ids=["English", "German", "French", "Spanish", "Swedish"])
@pytest.mark.parametrize("how", ["{} [{}]", "{}, {}", "{} / {}", "{} in {}", "{}_{}"])
def test_headings_of_other_languages_are_understood_with_their_units(put, simulated, place, how):
    units = [unit_of(column) for column in EXPORT]
    names = [words.split("|")[place] for words in EXPORT.values()]
    headings = [how.format(name, unit) if unit else name for name, unit in zip(names, units, strict=True)]
    own, table = exported(simulated, headings)
    same_as_its_twin(put, own, table.to_csv(index=False, sep=";", decimal=","))


CELL_FORMS = {
    "sides by letters": {"side_out_m": lambda v: f"{abs(v)} {'R' if v > 0 else 'L'}"},
    "paths in words": {"path_out_deg": lambda v: f"{abs(v)} {'in-to-out' if v > 0 else 'out-to-in'}"},
    "attack in words": {"attack_up_deg": lambda v: f"{abs(v)}° {'up' if v > 0 else 'down'}"},
    "a minus in brackets": {"attack_up_deg": lambda v: f"({-v})" if v < 0 else str(v)},
    "a unit in brackets": {"attack_up_deg": lambda v: f"({-v}°)" if v < 0 else f"{v}°"},
    "numbers as formulas": {"spin_rpm": lambda v: f'="{v}"', "carry_m": lambda v: f'="{v}"'},
}


@pytest.mark.parametrize("form", CELL_FORMS)
def test_cells_of_other_forms_are_understood(put, simulated, form):
    headings = [f"{words.split('|')[0]} [{unit_of(column)}]".replace(" []", "") for column, words in EXPORT.items()]
    own, table = exported(simulated, headings, CELL_FORMS[form])
    same_as_its_twin(put, own, table.to_csv(index=False, sep="\t"))


def test_headings_that_stand_twice_are_told_apart_by_the_line_above(put, simulated):
    units = [f"[{unit_of(column)}]".replace("[]", "") for column in EXPORT]
    names = [
        words.split("|")[0].replace("Club speed", "Speed").replace("Ball speed", "Speed") for words in EXPORT.values()
    ]
    own, table = exported(simulated, [f"{name} {unit}".strip() for name, unit in zip(names, units, strict=True)])
    same_as_its_twin(put, own, ",,,Club,,,Ball,,,,,,\n" + table.to_csv(index=False))


def test_names_of_people_are_shown_as_pseudonyms(put):
    text = "Player,Remark,Attack [deg]\n" + "".join(f"Robin Doe,saw Kim Roe,{-n / 10}\n" for n in range(20, 40))
    proposal = propose_map(put("a.csv", text))
    whole = proposal.table.to_csv() + proposal._repr_html_() + proposal.toml + proposal.text()
    assert "Doe" not in whole and "Roe" not in whole
    assert proposal.table.set_index("heading").loc["Player", "column"] == "student"


def test_a_known_map_teaches_its_headings(demo, put, tmp_path):
    text = "Zing [deg];Blub\n" + "".join(f"{-n / 10};{90 + n % 7}\n" for n in range(20, 60))
    known = put(
        "known.toml",
        '[column.path_out_deg]\nheading = "Zing"\nunit = "deg"\npositive = "left"\n[column.club_speed_mps]\nheading = "blub"\nunit = "mph"\n',
    )
    path = put("a.csv", text)
    assert "path_out_deg" not in propose_map(path).map.columns
    for given in (known, [known], [cl.ColumnMap.from_toml(known)]):
        rows = propose_map(path, known_maps=given).table.set_index("heading")
        assert rows.loc["Zing [deg]", ["column", "positive"]].tolist() == ["path_out_deg", "left"]
        assert rows.loc["Blub", ["column", "unit", "reason"]].tolist() == [
            "club_speed_mps",
            "mph",
            "so it is mapped in known",
        ]
    folder = tmp_path / "maps"
    folder.mkdir()
    for name in ("bay-3.toml", "academy.toml", "cues.toml"):
        shutil.copy(demo / name, folder)
    learned = propose_map(demo / "bay-3.csv", known_maps=folder)
    assert (learned.table["confidence"] > 0.9).all()


def test_a_correction_makes_another_proposal(demo):
    before = propose_map(demo / "bay-3.csv")
    after = before.choose("Climbs [°]", "launch_out_deg", positive="right").choose("Sets off to [°]", None)
    rows = after.table.set_index("heading")
    assert rows.loc["Climbs [°]", ["column", "unit", "positive", "confidence"]].tolist() == [
        "launch_out_deg",
        "deg",
        "right",
        1.0,
    ]
    assert rows.loc["Sets off to [°]", "column"] == ""
    assert before.table.set_index("heading").loc["Climbs [°]", "column"] == "launch_up_deg"
    with pytest.raises(cl.MapError, match="positive"):
        before.choose("Climbs [°]", "launch_out_deg", positive="up")
    with pytest.raises(cl.MapError, match="no heading 'Clims'"):
        before.choose("Clims", "launch_up_deg")


def test_headings_of_any_kind_make_a_map_that_can_be_read(put):
    odd = 'Attack "x"\\\x7fü'
    text = f'"{odd.replace(chr(34), chr(34) * 2)}";Path <b>\n' + "".join(
        f"{-n / 10};{n / 7:.1f}\n" for n in range(20, 50)
    )
    proposal = propose_map(put("a.csv", text)).choose("Path <b>", "path_out_deg")
    again = cl.ColumnMap.from_toml(put("m.toml", proposal.toml))
    assert again.columns["attack_up_deg"].headings == (odd,)
    assert "<b>" not in proposal._repr_html_()


@pytest.mark.parametrize("content", ["", "just a text\nof two lines\n", "1,2\n3,4\n", "a,b\nq,z\n"])
def test_a_file_without_a_header_over_numbers_is_refused_or_left_to_the_user(put, content):
    try:
        proposal = propose_map(put("a.csv", content))
    except cl.CoachlabError as err:
        assert err.asked and err.found and err.do
    else:
        assert (proposal.table["column"] == "").all()


@pytest.mark.parametrize(
    ("text", "club"),
    [("7i", "iron-7"), ("I7", "iron-7"), ("7 Iron", "iron-7"), ("3w", "wood-3"), ("Wood 5", "wood-5"), ("4H", "hybrid-4"),
     ("PW", "wedge-pw"), ("P wedge", "wedge-pw"), ("SW", "wedge-sw"), ("56°", "wedge-56"), ("60 deg", "wedge-60"), ("D", "driver"),
     ("putter", None), ("10i", None), ("", None), ("Robin", None)],
)  # fmt: skip
def test_clubs_are_understood_as_people_shorten_them(text, club):
    assert guess_club(text) == club


@pytest.mark.parametrize("side, told", [(" R", False), ("", True)])
def test_right_and_left_are_asked_about_only_where_the_cells_do_not_say_them(put, side, told):
    text = "Club,Face [deg]\n" + "".join(f"7 Eisen,{n / 2}{side}\n" for n in range(1, 9))
    proposal = cl.propose_map(put("a.csv", text))
    assert any("right is taken for plus" in warning for warning in proposal.warnings) is told
    assert proposal.map.club_names == {"7 Eisen": "iron-7"}
