"""Student, club and cue are chosen in a panel; the pages follow, and a name that is looked for is kept nowhere."""

import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.study import Study
from coachlab.privacy import pseudonym
from coachlab.report import delivery

KEY = b"sixteen bytes..."
NAME = "Anna Berg"


@pytest.fixture(scope="module")
def study():
    academy = cl.simulate_academy(students=12, seed=3, rogue=False, cues=["S1", "I2"], lessons=2, coaches=2)
    table = academy.shots.table.copy()
    names = table["student"].astype("str").unique()
    ids = {name: pseudonym(NAME if at == 4 else f"student {at}", KEY) for at, name in enumerate(names)}
    table["student"] = table["student"].astype("str").map(ids)
    shots = cl.Shots(table, academy.shots.raw, academy.shots.rejects, academy.shots.flags)
    files = pd.DataFrame({"file": ["simulated"], "map": ["none"]})
    return Study(".", shots, academy.cues, cl.Settings(), files, (), (), "0" * 12, KEY)


@pytest.fixture
def panel(study):
    return cl.choose_student(study, cue="S1")


def test_students_stand_as_pseudonyms_with_their_shots_the_one_with_most_first(panel, study):
    words = [word for word, _ in panel.controls["student"].options]
    counts = [int(word.split("(")[1].split(" ")[0]) for word in words]
    assert counts == sorted(counts, reverse=True)
    ids = {value for _, value in panel.controls["student"].options}
    assert ids == set(study.shots.table["student"])
    assert panel.controls["student"].value in panel.status.caption


def test_a_name_chooses_its_student_and_stands_nowhere_afterwards(panel, study):
    page = panel.show(lambda asked: delivery.costs_page(asked.costs))
    before = page.value
    panel.find.value = f" {NAME.lower()} "
    assert panel.controls["student"].value == pseudonym(NAME, KEY)
    assert panel.find.value == ""
    assert "Found." in panel.status.caption and pseudonym(NAME, KEY) in panel.status.caption
    assert page.value != before
    state = repr([widget.get_state() for widget in (panel, panel.find, panel.status, page, *panel.controls.values())])
    assert "anna" not in state.lower() and KEY.hex() not in state and repr(KEY) not in state


def test_a_name_that_nobody_has_is_told_without_it(panel):
    chosen = panel.controls["student"].value
    panel.find.value = "Nobody Known"
    assert panel.controls["student"].value == chosen
    assert "Nobody of that name" in panel.status.caption and "Known" not in panel.status.caption


def test_every_page_follows_the_choice(panel):
    pages = [
        panel.show(lambda asked: delivery.costs_page(asked.costs)),
        panel.show(lambda asked: delivery.windows_page(asked.windows)),
        panel.show(lambda asked: delivery.change_page(asked.worth, f"Cue {asked.cue}")),
    ]
    first = [page.value for page in pages]
    panel.controls["student"].value = panel.controls["student"].options[1][1]
    second = [page.value for page in pages]
    assert all(one != other for one, other in zip(first, second, strict=True))
    panel.controls["cue"].value = "I2"
    assert pages[0].value == second[0] and "Cue I2" in pages[2].value


def test_an_error_stands_in_the_place_of_its_page(panel):
    page = panel.show(lambda asked: cl.costliest(asked.study.shots, NAME, asked.club))
    assert 'role="alert"' in page.value and "names became pseudonyms" in page.value and NAME not in page.value


def test_what_is_not_there_cannot_be_chosen_first(study):
    with pytest.raises(cl.DataError, match="these shots hold"):
        cl.choose_student(study, cue="X9")
    with pytest.raises(cl.DataError, match="names became pseudonyms"):
        cl.choose_student(study, student=NAME)
