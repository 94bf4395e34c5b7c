"""The section of the report on whether the main answer can be trusted."""

from dataclasses import replace

import numpy as np
import pytest

from coachlab import claims
from coachlab.cues.looks import NAMES
from coachlab.report import pages


@pytest.fixture(scope="module")
def page(evidence):
    return pages.trust(evidence)


def test_it_shows_twelve_pictures_with_captions_and_words(page):
    assert len(page.pictures) == 12
    for number, (picture, name) in enumerate(zip(page.pictures, NAMES, strict=True), 1):
        assert picture.caption.startswith(f"{number} {name}")
        assert "A good one:" in picture.alt
    assert [picture.wide for picture in page.pictures][0]
    assert "<figcaption>" in page._repr_html_()


def test_the_raised_hands_are_those_of_the_table(page):
    raised = [picture.caption.endswith("▲ look") for picture in page.pictures]
    assert raised == (page.table["sign"] == "look").tolist()


def test_no_student_is_named_and_no_word_claims_too_much(page, study):
    said = " ".join([page.text(), *page.table.to_numpy().ravel(), *(picture.alt for picture in page.pictures)])
    names = study.shots.table["student"].astype("str").unique()
    assert not [name for name in names if name in said]
    assert not claims._FORBIDDEN.search(said)


def test_without_a_main_contrast_the_first_cue_is_looked_at_and_that_is_said(page):
    assert "the first cue, since no main contrast was named" in page.sentences[0]


def test_the_cue_named_before_the_first_shot_is_the_one(study, tmp_path):
    (tmp_path / "report.toml").write_text('primary_cue = "I2"\n')
    page = pages.trust(pages.gather_evidence(replace(study, folder=tmp_path), others=()))
    assert "I2 rafter, the main contrast" in page.sentences[0]


def test_the_same_files_give_the_same_section(evidence, page):
    again = pages.trust(evidence)
    assert again.text() == page.text()
    assert [picture.png for picture in again.pictures] == [picture.png for picture in page.pictures]


def test_twelve_pictures_take_less_than_a_megabyte(page):
    assert sum(len(picture.png) for picture in page.pictures) < 700_000


def test_without_an_estimate_there_is_a_sentence_and_no_picture(evidence):
    table = evidence.shifts.table.assign(estimate=np.nan)
    bare = pages.trust(replace(evidence, shifts=replace(evidence.shifts, table=table)))
    assert bare.pictures == ()
    assert "no model to look at" in bare.text()
