"""Twenty-one made-up logs, each with the grade that its design deserves."""

import numpy as np
import pandas as pd
import pytest

import coachlab as cl
from coachlab.cues.grade import evidence_grade


def log(
    orders=("plain X plain X", "X plain X plain"),
    students=12,
    seed_logged=True,
    offered="drawn",
    shots=9,
    lose=(),
    screened=True,
    feedback=False,
    missing=0,
    versions=("1",),
    lessons=1,
):
    """A model table of one cue X; `lose` names (student, block) pairs that were planned and never hit."""
    rows = []
    for student in range(students):
        for lesson in range(lessons):
            plan = orders[(student + lesson) % len(orders)]
            for index, condition in enumerate(plan.split()):
                if (student, index) in lose:
                    continue
                rows += [
                    {
                        "student": f"s{student}",
                        "session": f"s{student}-{lesson}",
                        "block": f"s{student}-{lesson}/{index}",
                        "period": index + 1.0,
                        "on": float(condition == "X"),
                        "cue": condition,
                        "phase": "cue" if condition == "X" else "plain",
                        "order_plan": plan if seed_logged is not None else "",
                        "order_seed": "7" if seed_logged else "",
                        "offered": offered,
                        "cue_version": versions[student % len(versions)],
                        "feedback_shown": feedback,
                        "screened": screened,
                        "shots_logged": shots,
                        "shots_missing": missing,
                    }
                ] * shots
    table = pd.DataFrame(rows)
    return table.assign(attack_up_deg=np.linspace(-5, -2, len(table)))


def last_blocks(students):
    return {(student, index) for student in students for index in (2, 3)}


CASES = {
    "random crossover": (log(), "A"),
    "four random orders": (
        log(orders=("plain X plain X", "X plain X plain", "plain X X plain", "X plain plain X")),
        "A",
    ),
    "random crossover of two blocks": (log(orders=("plain X", "X plain")), "A"),
    "eight students suffice": (log(students=8), "A"),
    "nearly all planned blocks there": (log(lose={(0, 3), (1, 2)}), "A"),
    "alternating, draw not logged": (log(seed_logged=False), "B"),
    "alternating, no plan logged": (log(seed_logged=None), "B"),
    "alternating, always the same order": (log(orders=("plain X plain X",)), "B"),
    "random pairs of one student": (log(students=1, lessons=3), "B"),
    "seven students in random order": (log(students=7), "B"),
    "seven students, each pair mirrored by the draw": (
        log(orders=("plain X X plain", "X plain plain X"), students=7),
        "B",
    ),
    "four fifths of the planned blocks, not quite": (log(lose=last_blocks(range(5))), "B"),
    "plain, then cue": (log(orders=("plain X",), seed_logged=False), "C"),
    "the coach chose": (log(offered="coach"), "C"),
    "random crossover, feedback shown": (log(feedback=True), "B"),
    "random crossover, wording changed": (log(versions=("1", "2")), "B"),
    "random crossover, a fifth of the shots missing": (log(missing=2), "B"),
    "alternating by habit, feedback shown": (log(seed_logged=False, feedback=True), "C"),
    "the coach chose by the baseline itself": (log(offered="coach", screened=False), "D"),
    "cue shots only": (log(orders=("X",), seed_logged=False), "D"),
    "half of the planned blocks never hit": (
        log(orders=("plain X plain X", "X plain X plain"), lose={(s, i) for s in range(12) for i in (1, 2, 3)}),
        "D",
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_each_design_gets_the_grade_it_deserves(name):
    table, grade = CASES[name]
    found = evidence_grade(table)
    assert found.grade == grade, found.text()


def test_a_grade_below_a_says_why():
    found = evidence_grade(CASES["seven students in random order"][0])
    assert any("Fewer than 8 students" in reason for reason in found.reasons)


def test_reasons_for_lowering_are_all_said():
    found = evidence_grade(log(feedback=True, versions=("1", "2"), missing=3))
    assert found.grade == "D"
    assert sum(reason.startswith("Lowered") for reason in found.reasons) == 3


def test_a_block_of_four_shots_does_not_count():
    assert evidence_grade(log(shots=4)).grade == "D"


def test_the_table_is_not_changed():
    table = log()
    before = table.copy()
    evidence_grade(table)
    pd.testing.assert_frame_equal(table, before)


def test_plain_cue_cue_plain_is_said_to_change_too_seldom_and_a_missing_seed_is_named():
    found = evidence_grade(log(orders=("plain X X plain", "X plain plain X"), seed_logged=False))
    assert found.grade == "C"
    assert any("Plain and cue change 2 times in a lesson (3 needed" in reason for reason in found.reasons)
    assert [words for words in found.fill() if "order_seed is not" in words]
    unplanned = evidence_grade(log(seed_logged=None))
    assert unplanned.grade == "B" and "order_plan, and its seed in order_seed" in unplanned.fill()[0]
    assert evidence_grade(log()).fill() == ()


def test_where_the_log_lacks_a_phase_it_is_named():
    assert "phase says screen" in " ".join(evidence_grade(log(offered="coach", screened=False)).fill())
    assert "phase says plain" in " ".join(evidence_grade(log(orders=("X",), seed_logged=False)).fill())


def test_an_empty_table_has_no_grade():
    with pytest.raises(cl.DataError, match="holds no shot"):
        evidence_grade(log().iloc[:0])
