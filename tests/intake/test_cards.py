import tomllib
from dataclasses import replace

import pytest

import coachlab as cl
from coachlab.intake.cards import Card, cards_text, open_cards, put_card, save_cards

FILE = """# Cards of our bay.
note = "made up"  # nobody real

# what can be seen
[S1]
name = "ball-forward"
version = "1"
family = "setup"  # tape measure
# asked on Tuesdays
card_text = "Play it one ball-width nearer # your lead foot."
moves = ["attack_up_deg"]
direction = 1

# what is imagined
[I2]
family = "intent"
card_text = "Start it over the far rafter."
moves = ["attack_up_deg", "path_out_deg"]
clubs = ["iron-7"]
exclusions = ["back"]
"""


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "cues.toml"
    path.write_text(FILE, encoding="utf-8")
    return path


def test_cards_that_are_not_changed_leave_the_file_as_it_is(path, demo):
    assert cards_text(open_cards(path)) == FILE
    assert cards_text(open_cards(demo / "cues.toml")) == (demo / "cues.toml").read_text(encoding="utf-8")


def test_a_changed_wording_is_a_new_version_and_the_old_one_stays(path):
    cards = open_cards(path)
    card = replace(cards.by_cue["I2"], card_text="Start it over the near rafter.")
    saved = save_cards(put_card(cards, card))
    assert saved.by_cue["I2"].version == "2"
    assert saved.older["I2"] == (("1", "Start it over the far rafter."),)
    again = save_cards(put_card(saved, replace(saved.by_cue["I2"], card_text="Over the door.")))
    assert again.by_cue["I2"].version == "3"
    assert [version for version, _ in again.older["I2"]] == ["1", "2"]
    # the analysis reads the wording of today
    table = cl.read_cues(path).set_index("cue")
    assert table.loc["I2", ["version", "card_text"]].tolist() == ["3", "Over the door."]
    assert table.index.tolist() == ["S1", "I2", "plain"]


def test_several_changes_before_saving_make_one_version(path):
    cards = open_cards(path)
    for text in ("One.", "Two.", "Three."):
        cards = put_card(cards, replace(cards.by_cue["I2"], card_text=text))
    assert cards.by_cue["I2"].version == "2"
    assert cards.older["I2"] == (("1", "Start it over the far rafter."),)
    back = put_card(cards, replace(cards.by_cue["I2"], card_text=" Start it  over the far rafter. "))
    assert back.by_cue["I2"].version == "1" and back.older["I2"] == ()


def test_a_change_that_is_no_wording_keeps_the_version(path):
    cards = open_cards(path)
    saved = save_cards(put_card(cards, replace(cards.by_cue["I2"], exclusions=("back", "hip"), name="rafter")))
    assert saved.by_cue["I2"].version == "1" and saved.older["I2"] == ()


def test_other_cards_and_all_comments_stay(path):
    cards = open_cards(path)
    save_cards(put_card(cards, replace(cards.by_cue["S1"], card_text="Nearer the lead foot.")))
    text = path.read_text(encoding="utf-8")
    for comment in (
        "# Cards of our bay.",
        "# nobody real",
        "# what can be seen",
        "# tape measure",
        "# asked on Tuesdays",
    ):
        assert text.count(comment) == 1
    assert "# what is imagined\n" + FILE[FILE.index("[I2]") :] in text
    assert text.index("# tape measure") < text.index("# asked on Tuesdays") < text.index('name = "ball-forward"')
    assert tomllib.loads(text)["note"] == "made up"


def test_a_new_card_is_added_below(path):
    card = Card("S9", "tee-low", "setup", 'Tee it "low", at half a ball.', ("attack_up_deg",), -1, ("driver",))
    saved = save_cards(put_card(open_cards(path), card))
    assert saved.by_cue["S9"] == card
    assert path.read_text(encoding="utf-8").startswith(FILE)


def test_a_file_that_is_not_there_yet_is_made(tmp_path):
    cards = open_cards(tmp_path / "new" / "cues.toml")
    assert cards.cards == ()
    save_cards(put_card(cards, Card("S1", "one", "setup", "Stand closer.")))
    assert cl.read_cues(tmp_path / "new" / "cues.toml")["cue"].tolist() == ["S1", "plain"]


def test_another_files_cards_may_be_the_start_and_stay_as_they_are(path, tmp_path):
    own = tmp_path / "own" / "cues.toml"
    cards = open_cards(own, path)
    saved = save_cards(put_card(cards, replace(cards.by_cue["I2"], card_text="Over the door.")))
    assert path.read_text(encoding="utf-8") == FILE
    assert own.read_text(encoding="utf-8").startswith("# Cards of our bay.")
    assert open_cards(own, path).cards == saved.cards and saved.by_cue["I2"].version == "2"
    assert save_cards(put_card(saved, replace(saved.by_cue["I2"], name="door"))).by_cue["I2"].version == "2"


def test_a_version_that_is_no_number_gets_a_number_behind_it(path):
    path.write_text(FILE.replace('version = "1"', 'version = "spring"'), encoding="utf-8")
    cards = open_cards(path)
    assert put_card(cards, replace(cards.by_cue["S1"], card_text="New.")).by_cue["S1"].version == "spring-2"


def test_a_file_that_somebody_else_changed_is_not_overwritten(path):
    cards = open_cards(path)
    path.write_text(FILE + "\n# more\n", encoding="utf-8")
    with pytest.raises(cl.DataError) as caught:
        save_cards(put_card(cards, replace(cards.by_cue["S1"], card_text="New.")))
    assert "Somebody changed the file" in caught.value.found
    assert path.read_text(encoding="utf-8") == FILE + "\n# more\n"


@pytest.mark.parametrize(
    "odd", ['S1.family = "setup"\nS1.card_text = "Say."\n', 'S1 = {family = "setup", card_text = "Say."}\n']
)
def test_a_file_in_a_form_that_cannot_be_changed_without_loss_is_left_alone(path, odd):
    path.write_text(odd, encoding="utf-8")
    cards = open_cards(path)
    with pytest.raises(cl.DataError) as caught:
        save_cards(put_card(cards, replace(cards.by_cue["S1"], card_text="New.")))
    assert caught.value.do
    assert path.read_text(encoding="utf-8") == odd


@pytest.mark.parametrize(
    "change",
    [
        {"cue": "S 1"}, {"cue": ""}, {"family": "magic"}, {"card_text": " "}, {"card_text": "one\ntwo"},
        {"moves": ("handicap",)}, {"direction": 0}, {"clubs": ("rake",)}, {"exclusions": ("left hip",)}, {"version": ""},
    ],
)  # fmt: skip
def test_a_card_that_cannot_be_is_refused_in_words(change):
    with pytest.raises(cl.DataError) as caught:
        replace(Card("S1", "one", "setup", "Stand closer."), **change)
    assert caught.value.asked and caught.value.found and caught.value.do


def test_the_baseline_has_no_card_to_change(path):
    with pytest.raises(cl.DataError):
        put_card(open_cards(path), Card("plain", "plain", "none", "Your normal shot."))


def test_a_former_wording_without_its_version_is_refused(path):
    path.write_text(FILE + '[[I2.older]]\ncard_text = "Before."\n', encoding="utf-8")
    with pytest.raises(cl.DataError) as caught:
        open_cards(path)
    assert caught.value.facts["cue"] == "I2"
