"""What is written for others to open: the simulated academy's files, and pages with names that mean harm."""

import re
from dataclasses import replace
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

import coachlab as cl
from coachlab.academy import write_academy
from coachlab.intake.study import Study
from coachlab.report.evidence import gather_evidence
from coachlab.report.pages import SECTIONS
from coachlab.widgets.explorer import explore_cues
from coachlab.widgets.page import view_html

EVIL = "<img src=x onerror=alert(1)>"


def test_an_academy_whose_names_are_formulas_and_paths_writes_neither(tmp_path):
    academy = cl.simulate_academy(students=4, seed=1, lessons=1, prefix="=../x,")
    folder = tmp_path / "out"
    paths = write_academy(academy, folder)
    assert all(path.parent == folder for path in paths) and {p.name for p in tmp_path.iterdir()} == {"out"}
    cells = []
    for path in paths:
        if path.suffix == ".csv":
            cells += re.split(r"[,;\n]", path.read_text(encoding="utf-8-sig"))
        elif path.suffix == ".xlsx":
            book = openpyxl.load_workbook(path)
            cells += [
                str(cell.value) for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None
            ]
            assert not [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
    assert any("'=../x" in cell for cell in cells)
    assert not [cell for cell in cells if re.match(r'"?[=@]|"?[+-](?![\d.,]|$)', cell)]


def test_the_written_academy_is_read_again_whatever_its_name_says(tmp_path):
    academy = cl.simulate_academy(students=4, seed=1, lessons=1)
    write_academy(academy, tmp_path, name='The "Old" \\ Range\n= Academy')
    study = cl.read_study(tmp_path)
    assert study.settings.name == 'The "Old" \\ Range\n= Academy'
    assert study.shots.counts["shots"] == academy.shots.counts["shots"]


@pytest.fixture(scope="module")
def harmful():
    """A study in which cues, sessions, bays and the academy's name are markup."""
    academy = cl.simulate_academy(students=24, seed=3, lessons=2, cues=["S1", "I4"])
    cards = academy.cues.assign(
        name=academy.cues["name"].where(academy.cues["cue"] != "S1", EVIL),
        card_text=f"Say {EVIL}",
        cue=academy.cues["cue"].replace("S1", EVIL),
    )
    table = academy.shots.table.assign(cue=academy.shots.table["cue"].replace("S1", EVIL), source=EVIL)
    shots = cl.Shots(
        table,
        academy.shots.raw.assign(source=EVIL),
        academy.shots.rejects.assign(source=EVIL),
        academy.shots.flags,
        (EVIL,),
    )
    settings = replace(cl.Settings(), name=EVIL, note=EVIL)
    files = pd.DataFrame(
        {"file": [EVIL], "map": [EVIL], **{name: [1] for name in ("raw", "rejects", "shots", "analysed", "set_aside")}}
    )
    return Study(Path(EVIL), shots, cards, settings, files, (EVIL,), (EVIL,), "0" * 12)


def harmless(html):
    assert "<img src=x" not in html and "<script" not in html.casefold()


def test_markup_in_names_stays_text_in_every_value_of_a_study(harmful):
    table = cl.model_table(harmful.shots, outcome="attack_up_deg", club="iron-7", cues=harmful.cues)
    assert EVIL in set(table["cue"].astype("str"))
    values = [
        harmful,
        harmful.shots,
        cl.evidence_grade(table),
        cl.cue_shifts(table, harmful.settings),
        cl.cleaning_report(harmful.shots),
    ]
    for value in values:
        harmless(value._repr_html_())


def test_markup_in_names_stays_text_on_the_pages_of_the_report(harmful):
    evidence = gather_evidence(harmful, outcome="attack_up_deg", club="iron-7")
    named = 0
    for section in SECTIONS:
        if section.__name__ in ("checklist", "methods"):
            continue  # these read files of the study's folder, which is none here
        html = section(evidence)._repr_html_()
        harmless(html)
        named += "&lt;img" in html
    assert named >= 4


def test_markup_in_names_stays_text_in_the_explorer(harmful):
    view = explore_cues(harmful.shots, harmful.cues, harmful.settings).view
    parts = view_html(view)
    assert any("&lt;img" in part for part in parts.values())
    for part in parts.values():
        harmless(part)
