"""The sheet and its pages without a browser: what is in sight after each action, and what stands in the files then."""

import json
import shutil

import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.cards import open_cards
from coachlab.intake.ledger import IN_ONE, account, runs_of
from coachlab.widgets.bring import CLEANING, COLUMNS, FILES, LOG, SAVE
from coachlab.widgets.cardbook import clubs_text, moves_text, read_clubs
from coachlab.widgets.sheet import Sheet, button, buttons, text, title


class Page:
    """A page that counts, refuses and breaks."""

    count = 0

    def parts(self):
        return [title("Count"), text(str(self.count)), buttons(button("add", "Add"))]

    def act(self, action, values):
        if action == "refuse":
            raise cl.DataError("A number was asked for.", "There is none.", "Give one.")
        if action == "break":
            raise ValueError("<b>broken</b>")
        self.count += 1
        return f"Now {self.count}."


def said(sheet):
    """Every text in sight, and the names of what can be pressed or filled in."""
    return json.dumps(sheet.parts, ensure_ascii=False)


def names(sheet, kind):
    """The names of the buttons or fields in sight, those in folds and tables too."""
    found = []

    def look(thing):
        if isinstance(thing, dict):
            if kind == "buttons" and "label" in thing and "main" in thing and not thing["disabled"]:
                found.append(thing["name"])
            if kind == "fields" and "name" in thing and "value" in thing:
                found.append(thing["name"])
            for inner in thing.values():
                look(inner)
        elif isinstance(thing, list):
            for inner in thing:
                look(inner)

    look(sheet.parts)
    return found


def trouble(sheet):
    return [part["text"] for part in sheet.parts if part.get("error")]


# The sheet ------------------------------------------------------------------------------------------------------------


def test_an_action_changes_what_is_in_sight_and_is_said():
    sheet = Sheet(Page())
    sheet.act("add")
    assert sheet.parts[1]["text"] == ["1"]
    assert sheet.said == "Now 1."
    assert trouble(sheet) == []


def test_an_error_is_told_in_words_above_the_buttons_and_goes_with_the_next_action():
    sheet = Sheet(Page())
    sheet.act("refuse")
    assert [part["kind"] for part in sheet.parts] == ["title", "text", "text", "buttons"]
    assert trouble(sheet) == [["A number was asked for.", "There is none.", "Give one."]]
    assert sheet.said == "There is none."
    sheet.act("add")
    assert trouble(sheet) == []


def test_a_fault_of_the_program_is_told_too_and_what_was_there_stays():
    sheet = Sheet(Page())
    sheet.act("add")
    sheet.act("break")
    assert sheet.parts[1]["text"] == ["1"]
    assert "ValueError: <b>broken</b>" in trouble(sheet)[0]
    sheet.act("break")
    assert len(trouble(sheet)) == 1


def test_a_page_that_cannot_be_shown_says_so_and_what_was_there_stays():
    class Blind(Page):
        def parts(self):
            if self.count:
                raise cl.DataError("The settings were read.", "They are broken.", "Mend them.")
            return super().parts()

    sheet = Sheet(Blind())
    sheet.act("add")
    assert sheet.parts[1]["text"] == ["0"]
    assert trouble(sheet) == [["The settings were read.", "They are broken.", "Mend them."]]


def test_a_message_of_the_browser_does_the_action():
    sheet = Sheet(Page())
    sheet._handle_custom_msg({"action": "add", "values": {}}, [])
    assert sheet.parts[1]["text"] == ["1"]


# The lesson log -------------------------------------------------------------------------------------------------------


PHASES = ("warmup", "screen", "screen")


@pytest.fixture(scope="module")
def shots(demo):
    return cl.clean_shots(cl.read_shots(demo / "bay-3.csv", demo / "bay-3.toml"))


@pytest.fixture
def lesson(shots, demo, tmp_path):
    return cl.lesson_panel(shots, cl.read_cues(demo / "cues.toml"), folder=tmp_path, session="v0001")


def say(sheet, **values):
    sheet.act("set", values)
    assert trouble(sheet) == []


def test_pain_is_asked_before_the_log_is_seen(lesson):
    assert "does anything hurt" in said(lesson)
    assert not any(part["kind"] == "strip" for part in lesson.parts)
    lesson.act("screened")
    assert "No number is given." in trouble(lesson)[0]
    say(lesson, pain=5, places=["back"])
    lesson.act("screened")
    assert any(part["kind"] == "strip" for part in lesson.parts)
    assert "At most 35 full swings in this lesson" in said(lesson)
    assert "I1 coin-ahead is left out today. It asks to hit down" in said(lesson)
    assert lesson.page.ledger.pain.pain_0_10 == 5


def test_severe_pain_ends_it_and_refers(lesson):
    say(lesson, pain=1, alarm=True)
    lesson.act("screened")
    assert "licensed clinician" in said(lesson)


def test_a_log_is_written_run_by_run_and_saved_once_every_shot_has_its_place(lesson, shots, tmp_path):
    say(lesson, pain=0)
    lesson.act("screened")
    lesson.act("add")
    assert "It is not said what the block was for." in trouble(lesson)[0]
    for phase, more in (("warmup", {}), ("plain", {}), ("cue", {"cue": "I2", "offered": "drawn", "followed": 7})):
        assert "save" not in names(lesson, "buttons")
        say(lesson, phase=phase)
        say(lesson, **more)
        lesson.act("add")
        assert trouble(lesson) == []
    assert (account(lesson.page.ledger)["state"] == IN_ONE).all()
    say(lesson, coach="Robin Doe", feedback_shown="no", order_plan="plain I2", order_seed="12")
    lesson.act("save")
    assert lesson.page.saved == tmp_path / "log-v0001.csv"
    joined = cl.join_log(shots, tmp_path / "log-v0001.csv").table
    mine = joined[joined["session"] == "v0001"]
    assert mine[["feedback_shown", "order_plan", "order_seed"]].drop_duplicates().to_numpy().tolist() == [
        [False, "plain I2", "12"]
    ]
    assert mine["coach"].nunique() == 1 and not mine["coach"].eq("Robin Doe").any()
    assert mine["phase"].unique().tolist() == ["warmup", "plain", "cue"]
    assert mine.loc[
        mine["phase"] == "cue", ["cue", "offered", "followed_0_10"]
    ].drop_duplicates().to_numpy().tolist() == [["I2", "drawn", 7.0]]
    lesson.act("another")
    assert lesson.page.ledger.session != "v0001" and lesson.page.ledger.blocks == ()
    assert "does anything hurt" in said(lesson)
    # what was answered before the first ball stands in the first block; nobody was asked later
    assert mine.groupby("phase")["pain_0_10"].count().to_dict() == {"cue": 0, "plain": 0, "warmup": 8}


def test_it_hurts_needs_a_number_and_is_kept(lesson):
    say(lesson, pain=0)
    lesson.act("screened")
    say(lesson, phase="plain", last=5)
    lesson.act("stop")
    assert "No pain is given for it." in trouble(lesson)[0]
    say(lesson, pain_now=4)
    lesson.act("stop")
    block = lesson.page.ledger.blocks[0]
    assert (block.stopped, block.pain_0_10, block.last_shot) == (True, 4, 5)
    assert "ended because it hurt" in said(lesson)
    assert "licensed clinician" in lesson.said


def test_blocks_can_be_chosen_by_pointer_changed_taken_out_and_left_out(lesson):
    say(lesson, pain=0)
    lesson.act("screened")
    lesson.act("select", {"first": 3, "last": 12})
    say(lesson, phase="plain")
    lesson.act("add")
    assert lesson.page.ledger.blocks[0].first_shot == 3
    lesson.act("edit", {"row": 0})
    say(lesson, last=14)
    lesson.act("add")
    assert [(block.first_shot, block.last_shot) for block in lesson.page.ledger.blocks] == [(3, 14)]
    lesson.act("select", {"first": 10, "last": 14})
    lesson.act("leave")
    assert "No reason is given." in trouble(lesson)[0]
    say(lesson, reason="another drill")
    lesson.act("leave")
    assert [(block.first_shot, block.last_shot) for block in lesson.page.ledger.blocks] == [(3, 9)]
    lesson.act("take_back", {"row": 0})
    lesson.act("remove", {"row": 0})
    assert lesson.page.ledger.blocks == () and lesson.page.ledger.left_out == ()


def test_notes_by_the_clock_are_moved_only_when_asked(lesson, tmp_path):
    say(lesson, pain=0)
    lesson.act("screened")
    ledger = lesson.page.ledger
    firsts = [first for first, _ in runs_of(ledger)]
    struck = ledger.shots.set_index("shot")["struck_at"].loc[firsts] - pd.Timedelta(hours=1, seconds=10)
    rows = [f"v0001,{at:%Y-%m-%d %H:%M:%S},{phase},plain" for at, phase in zip(struck, PHASES, strict=True)]
    (tmp_path / "notes.csv").write_text("\n".join(["session,starts_at,phase,cue", *rows]))
    say(lesson, notes="notes.csv")
    lesson.act("read_notes")
    assert "behind the device's" in lesson.said
    assert lesson.page.ledger.blocks == ()
    assert "place_corrected" in names(lesson, "buttons")
    lesson.act("place_corrected")
    assert [(block.first_shot, block.phase) for block in lesson.page.ledger.blocks] == list(
        zip(firsts, PHASES, strict=True)
    )
    assert (account(lesson.page.ledger)["state"] == IN_ONE).all()


def test_two_logs_of_one_session_are_not_laid_side_by_side(lesson, demo, tmp_path):
    shutil.copy(demo / "log-c1.csv", tmp_path)
    say(lesson, pain=0)
    lesson.act("screened")
    say(lesson, log="log-c1.csv")
    lesson.act("open_log")
    assert len(lesson.page.ledger.blocks) == 3
    lesson.act("save")
    assert "log-c1.csv speaks of this session already" in trouble(lesson)[0][1]
    assert not (tmp_path / "log-v0001.csv").exists()


# Cue cards ------------------------------------------------------------------------------------------------------------


@pytest.fixture
def cards(demo, tmp_path):
    return cl.cards_panel(tmp_path / "cues.toml", demo / "cues.toml")


def test_a_card_is_changed_and_its_new_wording_is_a_new_version(cards, tmp_path):
    cards.act("edit", {"row": "I2"})
    say(cards, card_text="Start it over the near rafter.", clubs="7-iron, driver", places=["back"], others="under-16")
    assert "this becomes a new version. Version 1 stays" in said(cards)
    cards.act("save")
    card = open_cards(tmp_path / "cues.toml").by_cue["I2"]
    assert (card.version, card.clubs, card.exclusions) == ("2", ("iron-7", "driver"), ("back", "under-16"))
    assert "I2 is saved in cues.toml, version 2." in said(cards)
    table = cl.read_cues(tmp_path / "cues.toml").set_index("cue")
    assert table.loc["I2", "card_text"] == "Start it over the near rafter."


def test_a_new_card_needs_an_id_of_its_own_and_clubs_that_are_clubs(cards, tmp_path):
    cards.act("new")
    say(cards, cue="S1", card_text="Stand closer.", moves=["attack_up_deg", "path_out_deg"])
    cards.act("save")
    assert "There is a card S1 already." in trouble(cards)[0]
    say(cards, cue="S4", direction="-1", clubs="7-irn")
    cards.act("save")
    assert "'7-irn' is no club; '7-iron' is close." in trouble(cards)[0]
    say(cards, clubs="")
    cards.act("save")
    card = open_cards(tmp_path / "cues.toml").by_cue["S4"]
    assert (card.moves, card.direction, card.name) == (("attack_up_deg", "path_out_deg"), -1, "S4")
    assert moves_text(card.moves, -1) == "attack lower, path further in"


def test_the_baseline_cannot_be_changed(cards):
    assert "plain" in said(cards)
    rows = [part for part in cards.parts if part["kind"] == "table"][0]["rows"]
    assert [row[-1] for row in rows if row[0]["text"] == "plain"] == [""]


def test_clubs_are_read_as_a_golfer_says_them():
    assert read_clubs("pitching wedge; 3-wood") == ("wedge-pw", "wood-3")
    assert clubs_text(()) == "all" and clubs_text(("iron-7",)) == "7-iron"


# The column map -------------------------------------------------------------------------------------------------------


def test_a_map_is_proposed_corrected_and_saved(demo, tmp_path):
    panel = cl.map_panel(demo / "bay-3.csv", folder=tmp_path)
    table = panel.page.proposal.table
    shown = said(panel)
    assert all(
        json.dumps(row.reason, ensure_ascii=False)[1:-1] in shown for row in table[table["column"] != ""].itertuples()
    )
    assert "counts the other way round" in shown
    place = table.index[table["heading"] == "Flies [m]"][0]
    say(panel, **{f"column {place}": ""})
    assert "carry (yd)" not in said(panel)
    say(panel, **{f"column {place}": "carry_m"})
    assert "carry (yd)" in said(panel)
    panel.act("save")
    own = cl.read_shots(demo / "bay-3.csv", tmp_path / "bay-3.toml").table
    given = cl.read_shots(demo / "bay-3.csv", demo / "bay-3.toml").table
    for name in ("attack_up_deg", "path_out_deg", "face_open_deg", "carry_m", "club", "shot"):
        pd.testing.assert_series_equal(own[name], given[name])


def test_a_map_that_is_there_is_not_replaced_unasked(demo, tmp_path):
    (tmp_path / "bay-3.toml").write_text("name = 'mine'\n")
    panel = cl.map_panel(demo / "bay-3.csv", folder=tmp_path)
    panel.act("save")
    assert "replace" in names(panel, "buttons")
    assert (tmp_path / "bay-3.toml").read_text() == "name = 'mine'\n"
    panel.act("keep")
    assert "replace" not in names(panel, "buttons")
    panel.act("save")
    panel.act("replace")
    assert cl.ColumnMap.from_toml(tmp_path / "bay-3.toml").columns["path_out_deg"].positive == "left"


def test_the_first_shots_are_shown_in_the_academys_own_units(demo, tmp_path):
    metres = cl.map_panel(demo / "bay-3.csv", settings=cl.Settings(units="metres"), folder=tmp_path)
    yards = cl.map_panel(demo / "bay-3.csv", folder=tmp_path)
    last = [part for part in metres.parts if part["kind"] == "table"][-1]
    assert "carry (m)" in [head["text"] for head in last["heads"]]
    one, other = (dict(zip([head["text"] for head in part["heads"]], part["rows"][0], strict=True)) for part in (
        last, [part for part in yards.parts if part["kind"] == "table"][-1]))  # fmt: skip
    # the file says 106.5 m
    assert (one["carry (m)"], other["carry (yd)"]) == ("106.5", "116.5")


# From file to saved table ---------------------------------------------------------------------------------------------


@pytest.fixture
def bring(demo, tmp_path):
    return cl.bring_panel(demo, tmp_path / "out")


def test_a_file_becomes_a_saved_table_in_which_every_line_has_its_place(bring, shots, demo, tmp_path):
    before = {path.name: path.read_bytes() for path in demo.iterdir()}
    assert bring.page.at == FILES
    bring.act("files_done")
    assert "No file is chosen." in trouble(bring)[0]
    say(bring, files=["bay-3.csv"])
    for action, at in (("files_done", COLUMNS), ("map_done", CLEANING), ("cleaned", LOG), ("join", SAVE)):
        bring.act(action)
        assert trouble(bring) == [] and bring.page.at == at
    n = bring.page.shots.counts
    assert f"{n.raw:,} rows = {n.shots:,} shots + {n.rejects:,} lines" in said(bring)
    assert f"{n.shots:,} shots = {n.analysed:,} analysed + {n.set_aside:,} set aside" in said(bring)
    bring.act("save")
    out = tmp_path / "out"
    assert {path.name for path in out.iterdir()} == {"shots.csv", "rejects.csv", "remarks.csv", "bay-3.toml"}
    saved = cl.read_shots(out / "shots.csv").table
    assert len(saved) == len(shots) == n.shots
    assert saved["attack_up_deg"].tolist() == pytest.approx(shots.table["attack_up_deg"].tolist(), nan_ok=True)
    log = pd.concat([pd.read_csv(path, comment="#", dtype="str") for path in sorted(demo.glob("log-*.csv"))])
    joined = cl.join_log(shots, log[log["session"].isin(shots.table["session"])].reset_index(drop=True)).table
    assert saved["cue"].astype("str").tolist() == joined["cue"].astype("str").tolist()
    assert saved["phase"].astype("str").tolist() == joined["phase"].astype("str").tolist()
    assert {path.name: path.read_bytes() for path in demo.iterdir()} == before


def test_a_shot_that_a_rule_set_aside_is_used_for_a_reason_that_is_kept(bring, tmp_path):
    say(bring, files=["bay-3.csv"])
    bring.act("files_done")
    bring.act("map_done")
    table = bring.page.shots.table
    first = table[~bring.page.shots.usable].iloc[0]
    row = f"{first['source']}:{first['source_row']}"
    aside = bring.page.shots.counts.set_aside
    bring.act("use", {"row": row})
    assert "No reason is given." in trouble(bring)[0]
    say(bring, reason="checked against video")
    bring.act("use", {"row": row})
    assert bring.page.shots.counts.set_aside == aside - 1
    for action in ("cleaned", "without_log", "save"):
        bring.act(action)
    assert trouble(bring) == []
    kept = pd.read_csv(tmp_path / "out" / "decisions.csv")
    assert kept[["source_row", "reason"]].to_numpy().tolist() == [[first["source_row"], "checked against video"]]


def test_one_can_go_back_and_what_was_corrected_is_kept(bring):
    say(bring, files=["bay-3.csv"])
    bring.act("files_done")
    table = bring.page.mapping.proposal.table
    say(bring, **{f"column {table.index[table['heading'] == 'Flies [m]'][0]}": ""})
    for action in ("map_done", "cleaned", "back", "back"):
        bring.act(action)
    assert bring.page.at == COLUMNS
    assert "carry_m" not in set(bring.page.mapping.proposal.table["column"])
    bring.act("back")
    assert bring.page.at == FILES


def test_a_folder_without_exports_says_what_to_put_there(tmp_path):
    panel = cl.bring_panel(tmp_path / "nowhere", tmp_path)
    assert "No export is in nowhere." in said(panel)
    assert "files_done" not in names(panel, "buttons")


def test_a_clock_that_differs_is_told_and_corrected_only_when_asked(shots, demo, tmp_path):
    log = pd.read_csv(demo / "log-c4.csv", comment="#", dtype="str")
    log = log[log["session"].isin(set(shots.table["session"]))]
    struck = shots.table.set_index(["session", "shot"])["struck_at"]
    began = [struck.loc[row.session].loc[int(row.first_shot) :].iloc[0] for row in log.itertuples()]
    # the notes' clock is an hour slow, and a note is written ten seconds before the first ball
    log["starts_at"] = [f"{at - pd.Timedelta(hours=1, seconds=10):%Y-%m-%d %H:%M:%S}" for at in began]
    folder = tmp_path / "mine"
    folder.mkdir()
    log.drop(columns=["first_shot", "last_shot"]).to_csv(folder / "log-time.csv", index=False)
    shutil.copy(demo / "bay-3.csv", folder)
    shutil.copy(demo / "bay-3.toml", folder)
    panel = cl.bring_panel(folder, tmp_path / "out")
    for action in ("files_done", "map_done", "cleaned", "join"):
        panel.act(action)
        assert trouble(panel) == []
    assert panel.page.at == LOG and "ahead of the log's" in said(panel)
    assert "join_corrected" in names(panel, "buttons") and "join_as_it_is" in names(panel, "buttons")
    assert "phase" not in panel.page.shots.table
    panel.act("join_corrected")
    assert trouble(panel) == [] and panel.page.at == SAVE
    table = panel.page.shots.table
    block = table["block"].astype("str")
    for row in log.itertuples():
        mine = table[(table["session"] == row.session) & (block == row.block)]
        assert int(row.first_shot) <= mine["shot"].min() <= mine["shot"].max() <= int(row.last_shot)


def test_a_file_of_which_nothing_is_understood_waits_for_a_choice(tmp_path):
    (tmp_path / "odd.csv").write_text("qqq,zzz\n" + "\n".join(f"{n % 3 - 4}.5,{88 + n % 5}.1" for n in range(12)))
    panel = cl.bring_panel(tmp_path, tmp_path / "out")
    panel.act("files_done")
    assert "No heading is understood as a measure yet." in said(panel)
    assert "map_done" not in names(panel, "buttons")
    say(panel, **{"column 0": "attack_up_deg"})
    assert "No heading is understood" not in said(panel)
    panel.act("map_done")
    assert panel.page.shots.table["attack_up_deg"].iloc[:3].tolist() == [-4.5, -3.5, -2.5]


def test_a_map_that_was_saved_before_is_followed(demo, tmp_path):
    shutil.copy(demo / "bay-3.csv", tmp_path)
    shutil.copytree(demo, tmp_path / "out")
    panel = cl.bring_panel(tmp_path, tmp_path / "out")
    panel.act("files_done")
    assert "bay-3.toml was saved before and is followed." in said(panel)
    assert set(panel.page.mapping.proposal.table["confidence"]) == {0.97}


def test_a_log_written_on_the_way_is_joined(demo, tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    text = (demo / "bay-3.csv").read_text(encoding="utf-8-sig").splitlines()
    # a visit whose name a spreadsheet would run as a formula is made harmless in the log, and found again
    rows = [line.replace(";v0001;", ";=v1;") for line in text[2:] if ";v0001;" in line]
    (folder / "bay-3.csv").write_text("\n".join([*text[:2], *rows]), encoding="utf-8")
    panel = cl.bring_panel(folder, tmp_path / "out")
    for action in ("files_done", "map_done", "cleaned", "write_log"):
        panel.act(action)
        assert trouble(panel) == []
    say(panel, pain=0)
    panel.act("screened")
    for phase in ("warmup", "plain", "plain"):
        say(panel, phase=phase)
        panel.act("add")
    panel.act("save")
    assert "\n'=v1," in panel.page.writing.saved.read_text(encoding="utf-8")
    panel.act("log_done")
    panel.act("join")
    assert trouble(panel) == []
    assert panel.page.shots.table["phase"].isin(["warmup", "plain"]).all()


def test_a_folder_of_one_file_is_counted_in_good_english(tmp_path):
    page = cl.bring_panel(tmp_path, tmp_path / "out").page
    for name, said in (("a.csv", "1 file is there."), ("b.csv", "2 files are there.")):
        (tmp_path / name).write_text("attack_up_deg\n-3\n")
        assert page.act("set", {"folder": str(tmp_path)}) == said
