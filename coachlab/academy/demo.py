"""The demo data of the project: one simulated winter at the invented Quillbeck Academy, rebuilt from its seed."""

from pathlib import Path

from coachlab.academy.assumptions import Assumptions
from coachlab.academy.cards import CUES, TRUTHS
from coachlab.academy.exports import write_academy
from coachlab.academy.simulate import simulate_academy
from coachlab.schema import dictionary

DEMO_SEED = 2
"""The first seed, counted from 0, that leaves the pattern-dependent cue 20 students once the lessons of the coach who
logs only the best shots are set aside, so that the demo can ask for whom; the rule is that count alone."""

_REPORT = """# Simulated data of the invented Quillbeck Academy: no real person, no real shot.
# What the academy itself says of the study; the report puts it into its checklist.
question = "The complaint of the season is irons hit too steeply and too far left; which cue moves 7-iron attack?"
primary_cue = "I2"
limitation = "Simulated players hit off mats indoors; what is kept on a later day was not measured."

[item]
3 = "Coaches use seven cues and disagree about them. A cue that moves attack by less than is useful leaves the book."
4 = "7-iron attack, I2 against plain, smallest useful shift 1.0 degree; set before the first lesson."
5 = "Four covered bays, November to January, range balls off mats, units A to C, alignment checked before each lesson."
6 = "Every adult student of the winter programme was asked; nobody was chosen by a screening value."
9 = "38 students, five lessons each of two plain and two cue blocks of 8 to 10 balls; one look, at the end."
10 = "Students were not told what a cue was meant to move; numbers were hidden in test blocks. Coaches knew."
13 = "None."
22 = "Speaks of mats in winter. Each cue is some coach's favourite; no money depends on the answer."
"""

_ABOUT = """# Data

All data here are **simulated**. Quillbeck Academy is invented: no student, coach, bay, device or shot is real. The
files in `demo/` are written by `coachlab.academy.write_demo("data/demo")` from seed {seed}; the same seed gives the
same files. This page is the text of `coachlab.academy.demo_readme()`.

| file | what it is |
|---|---|
| `demo/bays-1-2.csv` | export of two bays: commas, mph, yards, a title line, a row of units, sides as R and L |
| `demo/bay-3.csv` | export of one bay: semicolons, decimal commas, km/h, metres; sideways plus is left |
| `demo/bay-4.xlsx` | export of one bay: a spreadsheet with a note on its first sheet |
| `demo/bays-1-2.toml`, `demo/bay-3.toml`, `demo/bay-4.toml` | the column map of each export |
| `demo/log-c1.csv` ... | the lesson log of each coach, one row a block |
| `demo/cues.toml` | the cue cards |
| `demo/academy.toml` | the academy's settings |

{students} students with numbers for names, {coaches} coaches. Each student was screened once (pattern), then came to
five lessons about a week apart, each about one cue with the 7-iron: two pairs of a plain and a cue block, the order of
each pair drawn. Each cue reached about 27 students. The exports hold what real ones hold: rows that were not read,
repeated headings, blank lines, a total, misreads, mishits, left-handers with the world's signs. One coach logged only
the best cue shots.

## What was assumed

Marks: S sourced, A assumed, G from geometry. Only a handful are sourced; none is measured at a real academy. Player
frame, degrees, m/s, m.

{assumptions}

## What is true of the cues

Mean shifts of the cue as done, all assumed. `coachlab.simulate_academy(seed={seed}).truth` holds the shift of the cue
as offered, which is what a right analysis finds: a cue that is offered is not always done.

{cues}

## Data dictionary

Every table and column, as `coachlab.schema.dictionary()` writes it.

{dictionary}"""


def write_demo(folder: str | Path) -> list[Path]:
    """Write the demo data, and return the paths of its files; the same bytes each time.

    Parameters
    ----------
    folder : path
        Where; made if it is not there.

    Raises
    ------
    DataError
        If the folder cannot be written.
    """
    paths = write_academy(simulate_academy(seed=DEMO_SEED), folder)
    words = Path(folder) / "report.toml"
    words.write_bytes(_REPORT.encode("utf-8"))
    return [*paths, words]


def demo_readme() -> str:
    """Return what stands in ``data/README.md``: where the demo data come from, what was assumed, what columns mean."""
    academy = simulate_academy(seed=DEMO_SEED)
    assumed = ["| quantity | value | mark |", "|---|---|---|"]
    assumed += [f"| {row.quantity} | {row.value} | {row.mark} |" for row in Assumptions().table().itertuples()]
    cues = [
        "| cue | family | what the coach says | attack | arc azimuth | face | speed | per degree steeper | spread |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for card in CUES.itertuples():
        if card.cue in TRUTHS:
            truth = TRUTHS[card.cue]
            shifts = (truth.attack_up_deg, truth.arc_azimuth_deg, truth.face_open_deg, truth.club_speed_mps)
            numbers = [*(f"{shift:+g}" if shift else "0" for shift in shifts), f"{truth.per_deg_steeper:g}"]
            row = [f"{card.cue} {card.name}", card.family, card.card_text, *numbers, f"x {truth.spread_ratio:g}"]
            cues.append(f"| {' | '.join(row)} |")
    cues += ["", "I4 is a true null: no student and no coach gets anything from it, in any outcome."]
    return _ABOUT.format(
        seed=DEMO_SEED,
        students=len(academy.students),
        coaches=len(academy.coaches),
        assumptions="\n".join(assumed),
        cues="\n".join(cues),
        dictionary=dictionary(),
    )
