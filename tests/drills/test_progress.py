"""A trainee's answers: kept under a pseudonym, safe against damage, and weak links come back."""

import json
import os
from collections import Counter

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.drills import EXERCISES, GROUPS, LINKS
from coachlab.drills.progress import COLUMNS, KEY_FILE, Progress
from coachlab.drills.spacing import GAPS, next_link, standings
from coachlab.errors import DataError
from coachlab.privacy import is_pseudonym

NAME = "Robin Doe"


def answered(progress, right=True, group=None, seed=1):
    question = progress.next(group, seed)
    if question.options:
        at = question.right if right else (question.right + 1) % len(question.options)
        return progress.add(cl.mark(question, at))
    value = question.answer if right else question.high + (question.high - question.low)
    return progress.add(cl.mark(question, value * question.measure.factor))


# The file -----------------------------------------------------------------------------------------------------------


def test_answers_come_back_with_the_word_or_with_the_pseudonym_and_the_word_is_written_nowhere(tmp_path):
    progress = cl.drill_progress(NAME, tmp_path / "trainees")
    progress = answered(answered(progress), right=False)
    assert is_pseudonym(progress.student)
    for who in (NAME, " robin  DOE ", progress.student):
        again = cl.drill_progress(who, tmp_path / "trainees")
        pd.testing.assert_frame_equal(again.answers, progress.answers)
    for path in (tmp_path / "trainees").iterdir():
        text = (path.name + path.read_text(encoding="utf-8")).casefold()
        assert "robin" not in text and "doe" not in text
    assert list(progress.answers.columns) == list(COLUMNS)
    assert progress.answers["mark_ratio"].tolist() == [1.0, 0.0]


def test_two_words_are_two_trainees_and_two_folders_have_two_keys(tmp_path):
    one, other = cl.drill_progress("heron", tmp_path), cl.drill_progress("otter", tmp_path)
    elsewhere = cl.drill_progress("heron", tmp_path / "b")
    assert len({one.student, other.student, elsewhere.student}) == 3
    answered(one)
    assert len(cl.drill_progress("otter", tmp_path).answers) == 0


def test_without_a_word_or_a_folder_nothing_is_kept(tmp_path):
    for progress in (cl.drill_progress(), cl.drill_progress(" ", tmp_path), cl.drill_progress(NAME)):
        assert len(answered(progress).answers) == 1 and progress.path is None
    assert list(tmp_path.iterdir()) == []


def test_what_another_window_added_stays(tmp_path):
    one, other = cl.drill_progress("heron", tmp_path), cl.drill_progress("heron", tmp_path)
    one = answered(one)
    assert len(answered(other).answers) == 2
    assert len(cl.drill_progress("heron", tmp_path).answers) == 2


@pytest.mark.parametrize(
    ("content", "found"),
    [
        ("", "damaged"),
        ("{", "damaged"),
        ("[" * 100_000, "damaged"),
        ("\x00\x01", "damaged"),
        ("[]", "another kind of file"),
        ('{"kind": "something else"}', "another kind of file"),
        ('{"kind": "answers to coachlab drills", "version": 2}', "version 2"),
        ('{"kind": "answers to coachlab drills", "version": 1, "student": "s-00000000"}', "another trainee"),
    ],
)
def test_a_damaged_or_foreign_file_gets_one_clear_error_and_stays_as_it_is(tmp_path, content, found):
    progress = answered(cl.drill_progress("heron", tmp_path))
    progress.path.write_text(content, encoding="utf-8")
    for attempt in (lambda: cl.drill_progress("heron", tmp_path), lambda: answered(progress)):
        with pytest.raises(DataError) as caught:
            attempt()
        assert found in caught.value.found
        assert progress.path.name in caught.value.asked and "Nothing was changed" in caught.value.do
    assert progress.path.read_text(encoding="utf-8") == content
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([progress.path.name, KEY_FILE])


@pytest.mark.parametrize(
    "change",
    [
        {"seed": "1"}, {"seed": -1}, {"seed": 2**63}, {"variant": True}, {"mark_ratio": 2.0}, {"mark_ratio": None}, {"link": 3},
        {"more": 1}, {"mark_ratio": float("nan")},
    ],
)  # fmt: skip
def test_one_damaged_answer_is_named(tmp_path, change):
    progress = answered(answered(cl.drill_progress("heron", tmp_path)))
    content = json.loads(progress.path.read_text())
    content["answers"][1] |= change
    progress.path.write_text(json.dumps(content))
    with pytest.raises(DataError, match="Answer 2 is damaged") as caught:
        cl.drill_progress("heron", tmp_path)
    assert caught.value.facts["row"] == 2


def test_a_file_that_is_not_utf_8_is_damaged(tmp_path):
    progress = answered(cl.drill_progress("heron", tmp_path))
    progress.path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DataError, match="damaged"):
        cl.drill_progress("heron", tmp_path)


def test_a_file_far_too_large_is_refused_before_it_is_read(tmp_path):
    progress = answered(cl.drill_progress("heron", tmp_path))
    os.truncate(progress.path, 30_000_000)
    with pytest.raises(DataError, match="larger than any trainee's answers"):
        cl.drill_progress("heron", tmp_path)


def test_a_write_that_fails_leaves_the_answers_that_were_there(tmp_path, monkeypatch):
    progress = answered(cl.drill_progress("heron", tmp_path))
    before = progress.path.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(DataError, match="No space left") as caught:
        answered(progress)
    assert "untouched" in caught.value.do
    assert progress.path.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([progress.path.name, KEY_FILE])


def test_a_damaged_key_is_told_and_the_pseudonym_still_opens_its_answers(tmp_path):
    progress = answered(cl.drill_progress("heron", tmp_path))
    (tmp_path / KEY_FILE).write_text("no key")
    with pytest.raises(DataError, match="key"):
        cl.drill_progress("heron", tmp_path)
    assert (tmp_path / KEY_FILE).read_text() == "no key"
    assert len(cl.drill_progress(progress.student, tmp_path).answers) == 1


@pytest.mark.skipif(os.name == "nt", reason="file modes are POSIX")
def test_key_and_answers_can_be_read_by_their_owner_only(tmp_path):
    progress = answered(cl.drill_progress("heron", tmp_path))
    for path in (progress.path, tmp_path / KEY_FILE):
        assert path.stat().st_mode & 0o077 == 0


def test_a_folder_that_cannot_be_one_is_told(tmp_path):
    (tmp_path / "file").write_text("something")
    with pytest.raises(DataError, match="Choose a folder that may be written to"):
        cl.drill_progress("heron", tmp_path / "file")
    assert (tmp_path / "file").read_text() == "something"


def test_adding_changes_no_earlier_progress():
    first = cl.drill_progress()
    second = answered(first)
    assert len(first.answers) == 0 and len(second.answers) == 1


# What comes next ----------------------------------------------------------------------------------------------------


def history(*pairs):
    return pd.DataFrame(pairs, columns=["link", "mark_ratio"])


def test_a_link_climbs_with_each_right_answer_and_falls_to_the_bottom_with_a_miss():
    answers = history(("a", 1.0), ("b", 1.0), ("a", 1.0), ("a", 0.0))
    found = standings(answers, ["a", "b", "c"])
    assert (found["a"].asked, found["a"].right, found["a"].step, found["a"].due_at) == (3, 2, 0, 4 + GAPS[0])
    assert (found["b"].step, found["b"].due_at) == (1, 2 + GAPS[1])
    assert found["a"].weak and not found["b"].weak and not found["c"].weak


def test_first_comes_what_is_longest_overdue_then_what_is_new_then_what_is_due_soonest():
    found = standings(history(("a", 0.0), ("b", 0.0)), ["a", "b", "c"])
    assert next_link(found, 2) == "c"
    assert next_link(found, 3) == "a"
    assert next_link(found, 9) == "a"
    rest = {name: found[name] for name in "ab"}
    assert next_link(rest, 2) == "a"


@pytest.mark.parametrize("weak", ["gear", "arc-path"])
def test_a_weak_link_comes_back_more_often(weak):
    """Whoever always misses one link is asked for it every third time, the others far more rarely."""
    asked, rows, links = Counter(), [], list(LINKS)
    for count in range(240):
        link = next_link(standings(history(*rows), links), count)
        asked[link] += 1
        rows.append((link, float(link != weak)))
    others = [asked[link] for link in links if link != weak]
    # two other answers lie between two questions on it, once it was met for the first time
    assert asked[weak] >= 0.9 * (240 - links.index(weak)) / 3
    assert asked[weak] > 5 * np.mean(others)
    assert min(others) >= 2


def test_a_link_that_became_firm_comes_back_more_rarely_than_in_the_beginning():
    places = [at for at, link in enumerate(order(60, ["a", "b"])) if link == "a"]
    gaps = np.diff(places)
    assert len(places) > 3 and max(gaps) >= gaps[0]


def order(count, links):
    rows = []
    for at in range(count):
        rows.append((next_link(standings(history(*rows), links), at), 1.0))
    return [link for link, _ in rows]


@pytest.mark.parametrize("group", GROUPS)
def test_a_group_asks_only_its_own_exercises_and_all_of_them(group):
    progress, asked = cl.drill_progress(), set()
    for _ in range(9):
        progress = answered(progress, group=group)
        asked.add(progress.answers["exercise"].iloc[-1])
    assert asked == {name for name, exercise in EXERCISES.items() if exercise.group == group}


def test_the_same_answers_and_seed_give_the_same_next_question():
    progress = answered(cl.drill_progress(), right=False)
    one, other = progress.next(seed=9), progress.next(seed=9)
    assert (one.exercise, one.variant, one.case) == (other.exercise, other.variant, other.case)
    assert progress.next(seed=10).case != one.case


def test_an_unknown_group_gets_one_clear_error():
    with pytest.raises(DataError, match="There is no group 'putting'"):
        cl.drill_progress().next("putting")


def test_the_table_and_the_sentence_say_how_each_link_stands():
    progress = cl.drill_progress()
    assert progress.text() == "No answer yet."
    progress = answered(answered(progress), right=False)
    table = progress.table.set_index("link")
    assert table["asked"].sum() == 2 and set(table["state"]) == {"new", "coming", "weak"}
    assert "1 of 2 right." in progress.text() and LINKS[progress.weak[0]].rstrip(".") in progress.text()
    assert list(progress.table.columns) == ["link", "group", "words", "asked", "right", "state"]
    assert "<table" in progress._repr_html_()


def test_an_answer_to_an_exercise_that_is_gone_stays_in_the_file_and_counts_for_no_link(tmp_path):
    progress = answered(cl.drill_progress("heron", tmp_path))
    content = json.loads(progress.path.read_text())
    content["answers"][0] |= {"exercise": "gone-1", "link": "gone"}
    progress.path.write_text(json.dumps(content))
    again = answered(cl.drill_progress("heron", tmp_path))
    assert again.answers["link"].tolist()[0] == "gone"
    assert again.table["asked"].sum() == 1


def test_progress_is_a_value():
    with pytest.raises(AttributeError):
        Progress().student = "s-00000000"
