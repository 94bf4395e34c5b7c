"""The sections of a report: what stands in them, what may not, and what is left out for the sake of persons."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab import claims
from coachlab.report import lessons, pages
from coachlab.report.backing import methods
from coachlab.report.checklist import _ITEMS
from coachlab.report.declared import ITEMS, read_declared
from coachlab.report.evidence import pooled_groups
from coachlab.report.findings import students_for_an_answer
from coachlab.schema import PLAIN


@pytest.fixture(scope="module")
def made(evidence):
    return {section.__name__: section(evidence) for section in pages.SECTIONS}


def test_every_sentence_on_a_cue_is_one_that_its_grade_allows(made):
    told = [(grade, sentence) for page in made.values() for grade, sentences in page.claims for sentence in sentences]
    assert len(told) > 20
    for grade, sentence in told:
        assert claims.matches(sentence, grade), sentence


def test_no_word_of_a_report_claims_more_than_any_grade_may(made):
    for page in made.values():
        assert not claims._FORBIDDEN.search(page.text()), page.name
        assert not re.search(r"\bp\s*[<=]\s*0?\.\d", page.text()), page.name


def test_the_title_names_design_population_and_that_the_data_are_simulated(made, evidence):
    title = made["title"]
    assert "random-order crossover" in title.title
    assert f"{evidence.students} students of Quillbeck Academy" in title.title
    assert title.banner == "Simulated data: no real person."
    assert title._repr_html_().index("Simulated data") < title._repr_html_().index("<h1>")


def test_a_study_with_one_cue_of_a_lower_grade_is_called_by_that_grade(evidence):
    grades = dict(evidence.shifts.grades)
    facts, name = (
        grades["I2"].facts,
        {
            "comparison of plain and cue in turn": {},
            "comparison of before and after": {"one condition always first": True},
            "comparison of plain and a chosen cue": {"cues drawn (share of what was logged)": 0.2},
        },
    )
    for words, changed in name.items():
        grades["I2"] = replace(grades["I2"], grade="C", facts={**facts, **changed})
        lower = replace(evidence, shifts=replace(evidence.shifts, grades=grades))
        assert f"A {words} in" in pages.title(lower).title


def test_the_summary_says_question_design_students_shift_grade_and_one_limitation(made, evidence):
    text = made["summary"].text()
    assert text.startswith("Question: how far does each cue move 7-iron attack")
    for part in (
        "Design: random-order crossover",
        f"{evidence.students} students",
        "Evidence grade A",
        "One limitation:",
    ):
        assert part in text
    assert [sentences[0] for _, sentences in made["summary"].claims] == [
        evidence.shifts.claim(cue)[0] for cue in evidence.cues
    ]


def test_the_cue_named_before_the_first_shot_stands_alone_in_the_summary(study, tmp_path):
    (tmp_path / "report.toml").write_text('primary_cue = "S1"\nlimitation = "One bay was cold."\n')
    page = pages.summary(pages.gather_evidence(replace(study, folder=tmp_path), others=()))
    assert len(page.claims) == 1
    assert "S1 ball-forward" in page.claims[0][1][0]
    assert "One limitation: One bay was cold." in page.text()


def test_a_primary_cue_that_nobody_hit_is_refused_by_name(study, tmp_path):
    (tmp_path / "report.toml").write_text('primary_cue = "S9"\n')
    with pytest.raises(cl.DataError, match=r"primary_cue is 'S9'; 7-iron was hit with: I1, I2"):
        pages.gather_evidence(replace(study, folder=tmp_path), others=())


def test_the_table_of_the_main_result_is_that_of_the_shifts(made, evidence):
    shown, table = made["result"].table, evidence.shifts.table
    assert shown["students"].tolist() == table["students"].tolist()
    for text, value in zip(shown["shift"], table["estimate"], strict=True):
        assert float(text.rstrip("°").replace("−", "-")) == pytest.approx(value, abs=0.051)  # one decimal is shown


def test_cues_go_by_family_and_id_and_never_by_size(evidence):
    assert evidence.cues == ["S1", "S2", "S3", "I1", "I2", "I3", "I4"]


def test_cards_stand_word_for_word_with_their_version(made, study):
    shown = made["cards"].table.set_index("cue")
    for card in study.cues.itertuples():
        row = shown.loc[card.cue if card.cue == PLAIN else f"{card.cue} {card.name}"]
        assert row["card"] == f"“{card.card_text}”"
        assert row["version"] == card.version


def test_the_flow_shows_the_four_counts_and_where_the_rest_went(made, study, evidence):
    shown = made["balls"].table.set_index("step")["shots"].str.replace(",", "").str.replace("−", "-").astype(int)
    counts = study.shots.counts
    assert shown["rows in the files"] + shown["no shot (headings, totals, no reading)"] == counts.shots
    aside = shown[[name for name in shown.index if name.startswith("set aside")]].sum()
    assert (shown["shots"], aside, shown["analysed"]) == (counts.shots, -counts.set_aside, counts.analysed)
    assert shown["in the models"] == len(evidence.table)
    assert study.shots.text() in made["balls"].text()


def test_every_picture_says_in_words_what_it_shows(made):
    pictures = [picture for page in made.values() for picture in page.pictures]
    assert len(pictures) == 3 + 7 + 1 + 12
    for picture in pictures:
        assert picture.png.startswith(b"\x89PNG")
        assert len(picture.alt) > 60


def test_caution_stands_where_someone_would_act(made):
    text = " ".join(made["next_steps"].caution)
    for word in (
        "pain today from 0 to 10",
        "If it hurts, stop",
        "licensed clinician",
        "one hitter a bay",
        "local rules",
    ):
        assert word in text
    for word in ("guardian's written consent", "At most 70 full swings", "30 with the driver"):
        assert word in text
    assert "stop if it hurts" in made["cards"].text()


def test_no_student_and_no_coach_is_named(made, study):
    persons = set(study.shots.table["student"]) | set(study.shots.table["coach"])
    whole = " ".join(page._repr_html_() for page in made.values())
    words = set(re.findall(r"[\w-]+", re.sub(r'src="[^"]*"', "", whole)))
    assert not persons & words
    assert "coach 1" in made["people"]._repr_html_()


def test_no_group_below_the_limit_is_shown_nor_can_be_found_by_subtraction(study, evidence):
    table = study.shots.table
    bands = pd.Series(["low", "mid", "high", "none"], index=range(4)).repeat([20, 12, 4, 2]).to_numpy()
    band = dict(zip(sorted(table["student"].unique()), bands, strict=True))
    shots = replace(study.shots, table=table.assign(handicap_band=table["student"].map(band)))
    page = pages.people(replace(evidence, study=replace(study, shots=shots)))
    shown = page.table[page.table["group"] == "handicap"]
    assert shown["which"].tolist() == ["low", "mid", "high, none"]
    assert shown["students"].tolist() == ["20", "12", "6"]
    assert "fewer than 5" in page.table.set_index("group").loc["plays", "which"]  # 38 students, three left-handed


@pytest.mark.parametrize(
    ("sizes", "expected"),
    [
        ([9, 6, 2], [9, 8]),
        ([35, 3], []),
        ([4], []),
        ([12, 11], [12, 11]),
        ([9, 4, 3, 1], [9, 8]),
        ([9, 5, 4, 4], [9, 5, 8]),
    ],
)
def test_small_groups_are_put_together(sizes, expected):
    groups = pd.Series(np.repeat(list("abcd")[: len(sizes)], sizes))
    assert pooled_groups(groups, least=5).tolist() == expected


def test_a_cue_of_fewer_students_than_a_small_group_is_not_shown(academy, study, tmp_path):
    table = academy.shots.table
    few = sorted(table.loc[table["cue"] == "I3", "student"].unique())[:4]
    kept = table[(table["cue"] != "I3") | table["student"].isin(few)]
    shots = replace(academy.shots, table=kept, raw=academy.shots.raw.iloc[: len(kept) + len(academy.shots.rejects)])
    evidence = pages.gather_evidence(replace(study, folder=tmp_path, shots=shots), others=())
    assert evidence.hidden == ("I3",)
    page = pages.result(evidence)
    assert "Not shown, since fewer than 5 students hit with them: I3 plank-right." in page.text()
    assert "I3 plank-right" not in page.table["cue"].tolist()
    assert not any("I3" in sentence for _, sentences in page.claims for sentence in sentences)
    assert "I3" not in page.pictures[0].alt


def test_fewer_students_than_a_small_group_get_no_report(academy, study, tmp_path):
    table = academy.shots.table
    kept = table[table["student"].isin(sorted(table["student"].unique())[:4])]
    shots = replace(academy.shots, table=kept, raw=academy.shots.raw.iloc[: len(kept) + len(academy.shots.rejects)])
    with pytest.raises(cl.DataError, match="Fewer than 5 students"):
        pages.gather_evidence(replace(study, folder=tmp_path, shots=shots), others=())


def test_patterns_are_told_for_grade_a_only(evidence):
    grades = {cue: replace(grade, grade="B") for cue, grade in evidence.shifts.grades.items()}
    patterns = evidence.patterns
    empty = replace(patterns, table=patterns.table.iloc[:0], slopes=patterns.slopes.iloc[:0], names={})
    page = pages.for_whom(replace(evidence, shifts=replace(evidence.shifts, grades=grades), patterns=empty))
    assert page.claims == () and page.table is None and page.pictures == ()
    assert "it takes lessons in random order (grade A)" in page.text()


def test_the_second_look_is_the_plain_paired_answer(made, evidence):
    shown = made["steadiness"].table.set_index("cue")
    shift = evidence.shifts.students.query("cue == 'I2'")["shift"]
    assert shown.loc["I2 rafter", "median"] == f"{shift.median():+.1f}°".replace("-", "−")
    lowest = min(shift.drop(row).mean() for row in shift.index)
    assert shown.loc["I2 rafter", "mean with one student left out"].startswith(f"{lowest:+.1f}".replace("-", "−"))


def test_every_other_outcome_is_shown_with_the_number_of_intervals(made, evidence):
    page = made["beside"]
    assert len(page.table.columns) == 1 + len(evidence.others) == 6
    assert "35 intervals" in page.sentences[0]


def test_an_interval_half_as_wide_takes_four_times_the_students():
    assert students_for_an_answer(half=1.0, students=20, useful_shift=1.0) == 80


def test_methods_name_every_model_the_versions_and_the_fingerprint_of_the_data(evidence):
    page = methods(evidence)
    assert page.table["model"].str.contains(r"on(?:_h)? \| student\)").all()
    assert "fingerprint 0123456789ab" in page.text()
    assert "coachlab 0." in page.text() and "Satterthwaite" in page.text()


def test_the_checklist_has_its_items_and_each_names_a_section_that_is_there(made):
    table = made["checklist"].table
    assert table["item"].tolist() == list(range(1, ITEMS + 1)) and len(_ITEMS) == ITEMS
    assert set(table["section"]) <= {page.name for page in made.values()}
    assert set(table["state"]) <= {"done", "in part", "not done", "open"}
    assert made["title"].text().count("Draft: 8 items of the checklist still open") == 1


def test_the_academys_own_words_close_the_checklist(study, tmp_path):
    words = "\n".join(f'{item} = "Said of item {item}."' for item in (3, 4, 5, 6, 9, 13, 22))
    (tmp_path / "report.toml").write_text(
        f'question = "Does it help?"\nprimary_cue = "I2"\n[item]\n{words}\n10 = "Not done, because all knew."\n'
    )
    evidence = pages.gather_evidence(replace(study, folder=tmp_path), others=())
    table = pages.checklist(evidence).table.set_index("item")
    assert "open" not in set(table["state"])
    assert table.loc[10, "state"] == "not done"
    assert table.loc[9, "answer"] == "Said of item 9."
    title = pages.title(evidence).text()
    assert "Does it help?" in title and "Every item of the checklist is answered." in title


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("[item]\n23 = 'x'\n", "Number the items 1 to 22"),
        ("[item]\n3 = 7\n", "Item 3 is 7"),
        ("primry_cue = 'I2'\n", "'primary_cue' is close"),
        ("question = 7\n", "question is 7"),
        ("item = 'x'\n", "not a section"),
        ("question = ", "not valid TOML"),
    ],
)
def test_wrong_words_are_refused_in_three_parts(tmp_path, text, part):
    (tmp_path / "report.toml").write_text(text)
    with pytest.raises(cl.DataError) as caught:
        read_declared(tmp_path)
    assert part in str(caught.value)
    assert len(str(caught.value).splitlines()) == 3 and "report.toml" in caught.value.asked


def test_html_in_a_name_stays_text(study, tmp_path):
    cards = study.cues.assign(name=study.cues["name"].where(study.cues["cue"] != "S1", "<script>alert(1)</script>"))
    evidence = pages.gather_evidence(replace(study, folder=tmp_path, cues=cards), others=())
    for section in (pages.cards, pages.result, pages.summary):
        assert "script" not in elements(section(evidence)._repr_html_())


def elements(html):
    """The names of the elements that a piece of HTML opens."""

    class Reader(HTMLParser):
        names: set

        def handle_starttag(self, tag, attrs):
            self.names.add(tag)

    reader = Reader()
    reader.names = set()
    reader.feed(html)
    return reader.names


def test_a_shared_report_names_neither_a_warned_coachs_id_nor_the_log():
    said = "Coach c-5401c385 (lessons in log-kim.csv): 21 % of the shots in cue blocks are missing."
    told = lessons._without_names(said, {"c-5401c385": "coach 3"})
    assert told == "Coach 3: 21 % of the shots in cue blocks are missing."


def test_an_academy_without_a_name_begins_its_sentence_with_a_capital(evidence):
    nameless = replace(evidence, study=replace(evidence.study, settings=cl.Settings()))
    assert any(sentence.startswith("This academy: ") for sentence in lessons.title(nameless).sentences)
