from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import coachlab as cl
from coachlab.intake.faults import settle
from coachlab.intake.ledger import (
    IN_ONE,
    IN_SEVERAL,
    LEFT_OUT,
    OFFERED,
    OUTSIDE,
    REASONS,
    Block,
    Gap,
    Ledger,
    account,
    add_block,
    change_block,
    leave_out,
    make_room,
    open_ledger,
    remove_block,
    rest_before,
    runs_of,
    sessions_of,
    stop_block,
    take_back,
)
from coachlab.intake.pain import Pain
from coachlab.intake.written import ledger_text, log_table, read_ledger, save_ledger
from coachlab.schema import PHASES, TABLES

CARDS = pd.DataFrame(
    {
        "cue": ["S1", "I1", "plain"],
        "name": ["ball-forward", "coin-ahead", "plain"],
        "moves": ["attack_up_deg", "attack_up_deg", ""],
        "direction": [1, -1, 1],
        "exclusions": ["back", "", ""],
    }
)
BLOCKS = (
    Block(1, 8, "warmup"),
    Block(9, 18, "plain", rest_s=150.0),
    Block(19, 28, "cue", "S1", "1", "drawn", 7.0, 1.0, 160.0),
    Block(29, 38, "plain"),
    Block(39, 48, "cue", "S1", "1", "drawn", 8.0),
)


VISIT = {"coach": "c1", "feedback_shown": "no", "order_plan": "plain S1 plain S1", "order_seed": "7"}


def shots_of(count=50, session="v1", lost=()):
    """A session of one shot half a minute after the other, with a pause of four minutes after every tenth."""
    number = np.arange(1, count + 1)
    seconds = 30 * number + 240 * ((number + 1) // 10)
    table = pd.DataFrame(
        {
            "session": session,
            "shot": number,
            "struck_at": pd.Timestamp("2026-01-05 15:00") + pd.to_timedelta(seconds, unit="s"),
            "club": np.where(number <= 8, "wedge-pw", "iron-7"),
            "attack_up_deg": -3.0 - number / 50,
        }
    )
    return cl.clean_shots(table[~table["shot"].isin(lost)])


def ledger_of(blocks=BLOCKS, **named):
    ledger = open_ledger(shots_of(**named))
    for block in blocks:
        ledger = add_block(ledger, block)
    return replace(ledger, pain=Pain(1), visit=VISIT)


# Every shot has one place ---------------------------------------------------------------------------------------------

runs = st.tuples(st.integers(0, 70), st.integers(0, 25))
phases = st.sampled_from([phase for phase in PHASES if phase != "cue"])
steps = st.lists(
    st.one_of(
        st.tuples(st.just("add"), runs, phases),
        st.tuples(st.just("cue"), runs, st.sampled_from(["S1", "=1+1", "I1"])),
        st.tuples(st.just("change"), st.integers(0, 6), runs),
        st.tuples(st.just("remove"), st.integers(0, 6), st.none()),
        st.tuples(st.just("room"), runs, st.none()),
        st.tuples(st.just("leave"), runs, st.sampled_from(REASONS)),
        st.tuples(st.just("back"), st.integers(0, 6), st.none()),
        st.tuples(st.just("stop"), st.integers(0, 6), st.integers(0, 10)),
    ),
    max_size=14,
)


def play(ledger, steps):
    """The ledger after a sequence of steps, those that name a block that is not there left out."""
    for kind, one, other in steps:
        try:
            if kind in ("add", "cue"):
                span = one[0], one[0] + one[1]
                ledger = add_block(ledger, Block(*span, *((other,) if kind == "add" else ("cue", other))))
            elif kind == "change":
                block = replace(ledger.blocks[one], first_shot=other[0], last_shot=sum(other))
                ledger = change_block(ledger, one, block)
            elif kind == "remove":
                ledger = remove_block(ledger, one)
            elif kind == "room":
                ledger = make_room(ledger, one[0], sum(one))
            elif kind == "leave":
                ledger = leave_out(ledger, Gap(one[0], sum(one), other))
            elif kind == "back":
                ledger = take_back(ledger, one)
            else:
                ledger = stop_block(ledger, one, other)
        except (IndexError, cl.DataError):
            continue
    return ledger


@given(steps)
@settings(max_examples=40, deadline=None)
def test_whatever_is_added_and_removed_each_shot_is_in_a_block_or_listed_as_outside(steps):
    start = open_ledger(shots_of())
    before = start.shots.copy()
    ledger = play(start, steps)
    table = account(ledger)
    pd.testing.assert_frame_equal(ledger.shots, before)
    assert table["shot"].tolist() == before["shot"].tolist()
    for row in table.itertuples():
        holding = [p for p, b in enumerate(ledger.blocks, 1) if b.first_shot <= row.shot <= b.last_shot]
        left = any(gap.first_shot <= row.shot <= gap.last_shot for gap in ledger.left_out)
        wanted = IN_SEVERAL if len(holding) > 1 else IN_ONE if holding else LEFT_OUT if left else OUTSIDE
        assert row.state == wanted
        assert row.block == (holding[0] if holding else 0)
    found = settle(ledger).table
    listed = found[found["kind"].isin(["outside", "overlap"])]
    told = {number for row in listed.itertuples() for number in range(int(row.first_shot), int(row.last_shot) + 1)}
    astray = set(table.loc[table["state"].isin([OUTSIDE, IN_SEVERAL]), "shot"])
    assert astray <= told
    assert told & set(table["shot"]) == astray
    assert settle(ledger).ready == (not astray and "not there" not in set(found["kind"]))


@given(steps)
@settings(max_examples=25, deadline=None)
def test_a_log_that_is_ready_comes_back_from_its_file_as_it_was(tmp_path_factory, steps):
    ledger = play(open_ledger(shots_of()), steps)
    for row in settle(ledger).table.itertuples():
        if row.kind == "outside":
            ledger = leave_out(ledger, Gap(int(row.first_shot), int(row.last_shot), REASONS[0]))
    settlement = settle(ledger)
    if not settlement.ready or not ledger.blocks:
        return
    folder = tmp_path_factory.mktemp("log")
    path = save_ledger(ledger, folder, settlement)
    again = read_ledger(path, open_ledger(shots_of()))
    assert again.blocks == ledger.blocks
    assert again.left_out == ledger.left_out
    assert ledger_text(again) == path.read_text(encoding="utf-8")
    joined = cl.join_log(shots_of(), path).table
    state = account(ledger)
    assert joined["phase"].notna().tolist() == (state["state"] == IN_ONE).tolist()
    said = joined["phase"].fillna("").tolist()
    assert said == [ledger.blocks[row.block - 1].phase if row.block else "" for row in state.itertuples()]


# The steps ------------------------------------------------------------------------------------------------------------


def test_making_room_cuts_a_run_out_of_the_blocks_that_hold_it():
    ledger = make_room(ledger_of(), 12, 20)
    spans = [(block.first_shot, block.last_shot) for block in ledger.blocks]
    assert spans == [(1, 8), (9, 11), (21, 28), (29, 38), (39, 48)]
    inside = make_room(ledger_of([Block(1, 10, "plain")]), 4, 5)
    assert [(block.first_shot, block.last_shot) for block in inside.blocks] == [(1, 3), (6, 10)]


def test_it_hurts_ends_the_block_where_it_was_and_the_log_keeps_it(tmp_path):
    ledger = stop_block(ledger_of(BLOCKS[:3]), 2, 5, last_shot=22)
    ledger = leave_out(ledger, Gap(23, 50, "not part of the lesson"))
    block = ledger.blocks[2]
    assert (block.first_shot, block.last_shot, block.stopped, block.pain_0_10) == (19, 22, True, 5)
    path = save_ledger(ledger, tmp_path, settle(ledger, CARDS))
    joined = cl.join_log(shots_of(), path, None).table
    hurt = joined[joined["stopped"].fillna(False).astype(bool)]
    assert hurt["shot"].tolist() == [19, 20, 21, 22]
    # nothing is filled in for the balls that were not hit
    assert hurt["shots_missing"].tolist() == [0, 0, 0, 0]
    few = settle(ledger, CARDS).table.set_index("kind").loc["few"]
    assert "because it hurt" in few["what"] and not few["must"]


def test_runs_are_set_apart_by_pauses_and_clubs():
    assert runs_of(open_ledger(shots_of(count=30))) == [(1, 8), (9, 18), (19, 28), (29, 30)]


def test_the_rest_before_a_block_is_the_pause_before_its_first_shot():
    ledger = open_ledger(shots_of())
    assert (rest_before(ledger, 1), rest_before(ledger, 2), rest_before(ledger, 9)) == (0.0, 30.0, 270.0)


def test_rows_without_a_reading_have_their_place_too(read):
    text = "Visit,Ball,Attack [deg],Head speed [mph],Path [deg]\nv1,1,-3,90,1\nv1,2,,,\nv1,3,-4,91,2\n"
    columns = """
[column.session]
heading = "Visit"
[column.shot]
heading = "Ball"
[column.attack_up_deg]
heading = "Attack"
[column.club_speed_mps]
heading = "Head speed"
[column.path_out_deg]
heading = "Path"
positive = "right"
"""
    ledger = open_ledger(read(text, columns))
    assert ledger.shots["shot"].tolist() == [1, 2, 3]
    assert ledger.shots["read"].tolist() == [True, False, True]


def test_a_session_is_chosen_by_name():
    both = cl.combine_shots([shots_of(session="v1"), shots_of(session="v2", count=20)])
    assert sessions_of(both) == ["v1", "v2"]
    assert len(open_ledger(both, "v2").shots) == 20
    for wrong in (None, "v3"):
        with pytest.raises(cl.DataError) as caught:
            open_ledger(both, wrong)
        assert caught.value.do


@pytest.mark.parametrize(
    "change",
    [
        {"first_shot": 12, "last_shot": 3},
        {"first_shot": 1.5},
        {"phase": "practise"},
        {"phase": "cue"},
        {"cue": " "},
        {"offered": "dice"},
        {"followed_0_10": 11},
        {"pain_0_10": -1},
        {"rest_s": 1e9},
    ],
)
def test_a_block_that_cannot_be_is_refused_in_words(change):
    with pytest.raises(cl.DataError) as caught:
        replace(Block(1, 10, "plain"), **change)
    assert caught.value.asked and caught.value.found and caught.value.do


# What is to be settled ------------------------------------------------------------------------------------------------


def kinds(ledger, **named):
    return settle(ledger, **named).table["kind"].tolist()


def test_a_log_without_fault_has_only_its_last_shots_to_settle():
    found = settle(ledger_of(), CARDS).table
    assert found[["kind", "first_shot", "last_shot", "must"]].to_numpy().tolist() == [["outside", 49, 50, True]]
    done = leave_out(ledger_of(), Gap(49, 50, REASONS[0]))
    assert settle(done, CARDS).ready
    assert settle(done, CARDS).text() == "Every shot has its place: the log can be saved."


def test_each_fault_has_a_sentence_and_what_to_do():
    everything = ledger_of(
        [
            Block(1, 9, "screen"),
            Block(9, 12, "cue", "I1"),
            Block(13, 20, "cue", "X9", stopped=True),
            Block(45, 60, "plain"),
            Block(90, 95, "reset"),
        ],
        lost=(15,),
    )
    found = settle(replace(everything, pain=Pain(4)), CARDS)
    assert set(found.table["kind"]) == {
        "overlap", "outside", "not there", "few", "gap", "no card", "how offered", "before and after", "after a stop",
        "swings", "cue for another day",
    }  # fmt: skip
    assert found.table["what"].str.endswith(".").all() and found.table["do"].str.endswith(".").all()
    assert set(found.table.loc[found.table["must"], "kind"]) == {"overlap", "outside", "not there", "no card"}
    assert "pain not asked" in kinds(replace(everything, pain=None), cues=CARDS)


def test_what_a_later_reader_would_miss_of_the_visit_is_told():
    bare = settle(replace(ledger_of(), visit={}), CARDS).table
    assert {"coach", "feedback", "order"} <= set(bare["kind"])
    assert not bare.loc[bare["kind"].isin(["coach", "feedback", "order"]), "must"].any()
    assert {"coach", "feedback", "order"}.isdisjoint(kinds(ledger_of(), cues=CARDS))


def test_plain_before_and_after_is_weak_and_alternating_is_not():
    weak = settle(ledger_of(BLOCKS[:3]), CARDS).table.set_index("kind")
    assert "weak evidence" in weak.loc["before and after", "what"]
    assert "alternate" in weak.loc["before and after", "do"]
    assert "before and after" not in kinds(ledger_of(), cues=CARDS)


def test_the_block_that_chose_the_cue_does_not_measure_it():
    chosen = ledger_of([Block(1, 8, "warmup"), Block(9, 18, "screen"), Block(19, 28, "cue", "S1", "1", "coach")])
    assert "cannot measure it too" in settle(chosen, CARDS).table.set_index("kind").loc["no baseline", "what"]


def test_nothing_is_saved_before_what_would_lose_data_is_settled(tmp_path):
    for ledger, kind in [
        (ledger_of(), "outside"),
        (add_block(leave_out(ledger_of(), Gap(49, 50, REASONS[0])), Block(40, 41, "reset")), "overlap"),
    ]:
        with pytest.raises(cl.DataError) as caught:
            save_ledger(ledger, tmp_path, settle(ledger, CARDS))
        assert caught.value.facts["kind"] == kind
    with pytest.raises(cl.DataError):
        save_ledger(open_ledger(shots_of()), tmp_path, settle(ledger_of()))
    assert list(tmp_path.iterdir()) == []


# The file -------------------------------------------------------------------------------------------------------------


def test_the_log_has_the_columns_that_a_log_may_have_and_no_student():
    table = log_table(replace(ledger_of(), visit={"coach": "c1", "bay": "bay 3", "session_day": "2026-01-05"}))
    known = {"first_shot", "last_shot", *TABLES["blocks"], *TABLES["sessions"]}
    assert set(table.columns) <= known
    assert table["period"].astype(object).where(table["period"].notna(), None).tolist() == [None, 1, 2, 3, 4]
    assert table["coach"].unique().tolist() == ["c1"]
    assert "student" not in table


def test_a_formula_in_a_cell_is_made_harmless_and_comes_back(tmp_path):
    visit = {"coach": "=HYPERLINK(1)", "bay": "@x", "device": "-3"}
    ledger = leave_out(replace(ledger_of(), visit=visit), Gap(49, 50, REASONS[0]))
    path = save_ledger(ledger, tmp_path, settle(ledger, CARDS))
    text = path.read_text(encoding="utf-8")
    assert "'=HYPERLINK(1)" in text and "'@x" in text and ",-3," in text
    again = read_ledger(path, open_ledger(shots_of()))
    assert {name: again.visit[name] for name in visit} == visit


def test_a_session_with_a_path_in_its_name_stays_in_the_folder(tmp_path):
    ledger = ledger_of([Block(1, 50, "plain")], session="../../up")
    path = save_ledger(ledger, tmp_path / "logs", settle(ledger))
    assert path.parent == tmp_path / "logs"
    assert read_ledger(path, open_ledger(shots_of(session="../../up"))).blocks == ledger.blocks


def test_a_log_of_another_session_is_refused(tmp_path):
    ledger = ledger_of([Block(1, 50, "plain")])
    path = save_ledger(ledger, tmp_path, settle(ledger))
    with pytest.raises(cl.DataError) as caught:
        read_ledger(path, open_ledger(shots_of(session="v2")))
    assert "'v1'" in caught.value.found


def test_a_ledger_over_the_demo_gives_the_log_of_the_demo_back(demo, tmp_path):
    shots = cl.clean_shots(cl.read_shots(demo / "bay-3.csv", demo / "bay-3.toml"))
    log, session = (
        demo / "log-c4.csv",
        "v0008",
    )  # a lesson with a drawn order, a missing block and shots that were not read
    ledger = read_ledger(log, open_ledger(shots, session))
    assert settle(ledger).ready
    path = save_ledger(ledger, tmp_path, settle(ledger))
    one = cl.join_log(shots, log_rows(log, session)).table
    other = cl.join_log(shots, path).table
    mine = one["session"] == session
    for name in ("phase", "cue", "followed_0_10", "pain_0_10", "rest_s", "period", "offered", "order_plan", "bay"):
        pd.testing.assert_series_equal(one.loc[mine, name], other.loc[mine, name], check_dtype=False)


def log_rows(path, session):
    log = pd.read_csv(path, comment="#", dtype="str")
    return log[log["session"] == session]


def test_a_ledger_says_how_many_shots_have_their_place():
    ledger = leave_out(add_block(ledger_of(), Block(40, 41, "reset")), Gap(49, 49, REASONS[0]))
    assert ledger.text() == (
        "50 shots in v1: 46 in one of 6 blocks, 2 in more than one, 1 left out for a reason, 1 in no block yet."
    )
    assert isinstance(ledger, Ledger)
    assert OFFERED == ("drawn", "coach", "student")
