"""Pages on the delivery: what numbers cost, what is good enough, what a change is worth, what came free."""

from dataclasses import replace

import pandas as pd

from coachlab import claims
from coachlab.cues.earned import PARTS, FreeEarned
from coachlab.cues.split import free_and_earned
from coachlab.errors import DataError
from coachlab.intake.infer import InferredShots, ball_only
from coachlab.report.evidence import Evidence
from coachlab.report.page import Page, draw
from coachlab.report.words import between, listed
from coachlab.schema import OUTCOMES, show_club
from coachlab.settings import OWN
from coachlab.units import Shown, shown
from coachlab.worth import Costs, Worth
from coachlab.worth.model import LOFTS
from coachlab.worth.window import BASIS, Windows, student_windows

_LOFT_WORDS = {"refitted": "refitted", "held": "held", "rises": "rises with attack", "measured": "as measured"}


def costs_page(costs: Costs) -> Page:
    """Return what each number of one student's delivery costs, ranked, with a picture and its uncertainty."""
    from coachlab.plots import describe_costs, plot_costs

    metres = shown("carry_m", costs.settings.units)
    rows = []
    for number in costs.ranking:
        part = costs.table[costs.table["number"] == number]
        unit, first = shown(number, costs.settings.units), part.iloc[0]
        sign = number != "club_speed_mps"
        row = {
            "number": OUTCOMES[number],
            "now": unit.text(first["own"], sign=sign),
            "in reach": f"±{unit.text(first['reach'])}",
            "judged by": "carry" if first["along"] == "carry" else "distance from the line",
        }
        for each in part.itertuples():
            row[f"costs, {LOFTS[each.loft]}"] = f"{metres.text(each.gain_m)} ({_bare(metres, each.low_m, each.high_m)})"
        rows.append(row)
    own, which, *_, model, caution = costs.sentences()
    kept = [sentence for sentence in costs.sentences() if sentence.startswith(("Each range", "The delivered loft"))]
    lofts = costs.table["loft"].nunique()
    return Page(
        "costs",
        f"What each number costs with the {show_club(costs.club)}",
        (" ".join([which, *_next_number(costs)]), own),
        pictures=(
            draw(
                plot_costs, costs, alt=describe_costs(costs), width_in=6.6, height_in=1.4 + 0.35 * lofts * len(rows) / 2
            ),
        ),
        table=pd.DataFrame(rows),
        caption="What coming to the best value within reach is worth, one number changed alone",
        after=(*kept, model),
        caution=(caution,),
    )


def _next_number(costs: Costs) -> list[str]:
    """Return what to do where no number clearly costs most: leave alone what is good enough already."""
    if costs.clear:
        return []
    windows = {window.outcome: window for window in student_windows(costs).windows}
    inside = [OUTCOMES[name] for name in costs.ranking if windows[name].inside]
    left = [OUTCOMES[name] for name in costs.ranking if not windows[name].inside]
    if not left:
        return ["All of them are good enough already (see the target windows): leave the delivery alone."]
    among = "Look at it first" if len(left) == 1 else "Begin among these, with the one that is easiest on the body"
    if not inside:
        return [f"None is inside its target window: {listed(left)}. {among}."]
    are, those = ("is", "it") if len(inside) == 1 else ("are", "them")
    return [
        f"{listed(inside)[:1].upper()}{listed(inside)[1:]} {are} good enough already (inside the target window): leave "
        f"{those} alone. Outside: {listed(left)}. {among}."
    ]


def _bare(unit: Shown, low: float, high: float) -> str:
    """Return a range without its unit, where the unit stands before it."""
    return unit.span(low, high).removesuffix(f" {unit.unit}")


def windows_page(windows: Windows) -> Page:
    """Return what is good enough for one student: a target window for each number, and where it comes from."""
    first = windows.windows[0]
    distance = shown("carry_m", first.settings.units).text(first.distance_m)
    own = first.settings.useful_source("carry_m", first.club) == OWN
    return Page(
        "windows",
        f"What is good enough with the {show_club(first.club)}",
        (
            f"The distance worth having is {distance} here, "
            + (
                "the academy's own setting."
                if own
                else "the usual one, assumed until the academy sets its own (carry_m in academy.toml)."
            ),
        ),
        table=windows.as_read(),
        caption="Target windows of this student, each number alone",
        after=(BASIS,),
    )


def change_page(worth: Worth, what: str = "This shift") -> Page:
    """Return what a shift is worth at one student's own delivery: together, shared out, and how the shots spread."""
    metres = shown("carry_m", worth.settings.units)
    shifts = ", ".join(
        f"{OUTCOMES[name]} {shown(name, worth.settings.units).text(value, sign=True)}"
        for name, value in worth.shift.items()
        if name in OUTCOMES
    )
    rows = []
    for loft in worth.lofts:
        part = worth.table[worth.table["loft"] == loft].set_index("part")
        for name in part.index:
            row = part.loc[name]
            rows.append(
                {
                    "what changes": name,
                    "loft": _LOFT_WORDS[loft],
                    "change of carry": metres.text(row["gain_m"], sign=True),
                    "range": between(metres, row["low_m"], row["high_m"]),
                    "alone": metres.text(row["alone_m"], sign=True),
                    "landing moves sideways": metres.text(row["side_m"], sign=True),
                }
            )
    table = pd.DataFrame(rows)
    adds = "the parts add up to what they give together"
    if table["alone"].equals(table["change of carry"]):
        table = table.drop(columns="alone")
        adds += ", and each gives alone what is its part"
    said = [sentence for sentence in worth.sentences() if not sentence.startswith(("Shared over", "With "))]
    spread = [sentence for sentence in worth.sentences() if "shots spread" in sentence]
    gains = [sentence for sentence in worth.sentences() if "puts the change" in sentence]
    return Page(
        "change",
        f"{what}: what it is worth with the {show_club(worth.club)}",
        (f"{_whose(worth)}: {shifts}.", *gains),
        table=table,
        caption=f"Change of carry by what the loft does; {adds}",
        after=(*spread, *said),
    )


def _whose(worth: Worth) -> str:
    """Return of whom a shift is the average, so that nobody takes it for the student's own."""
    if not worth.students:
        return "The shift"
    return (
        f"The shift is the average of {worth.students} students who hit with and without the cue, not this student's "
        "own"
    )


def earned_page(split: FreeEarned, cards: pd.DataFrame | None = None, student: str = "") -> Page:
    """Return every cue's path shift in its free and its earned part; with a student, that student's own beside it."""
    from coachlab.plots import describe_free_and_earned, plot_free_and_earned
    from coachlab.plots.look import in_order

    cues = in_order(split.cues, cards)
    unit = shown("path_out_deg", split.settings.units)
    grades = split.table.drop_duplicates("cue").set_index("cue")["grade"]
    rows = []
    for cue in cues:
        part = split.table[split.table["cue"] == cue].set_index("part")
        row: dict[str, object] = {"cue": split.names[cue]}
        for name in PARTS:
            value = part.loc[name]
            row[name] = f"{unit.text(value['estimate'], sign=True)} ({between(unit, value['low'], value['high'])})"
        band = part.loc["earned"]
        row[f"earned, incline {split.band_deg:g}° off"] = between(unit, band["band_low"], band["band_high"])
        rows.append(row)
    after = list(split.sentences()[len(split.cues) :])
    if student:
        try:
            after = [*split.student_sentences(student), *after]
        except DataError as err:
            after = [err.found, *after]
    return Page(
        "earned",
        "Free and earned: what path shifts are made of",
        (
            f"Attack and path hang together by the arc: a {show_club(split.club)} that comes up more swings further "
            "in, with nobody turning anything. So a path shift falls into what came free with the change of attack, "
            "and what was earned by turning the arc. A coach who wants path alone needs the second.",
        ),
        pictures=(
            draw(
                plot_free_and_earned,
                split,
                cards,
                alt=describe_free_and_earned(split, cards),
                width_in=6.8,
                height_in=1.7 + 0.62 * max(len(cues), 2),
            ),
        )
        if cues
        else (),
        table=pd.DataFrame(rows) if rows else None,
        caption=f"Average shifts over students, {split.level * 100:g} % intervals in brackets",
        claims=tuple(
            (str(grades[cue]), (split.claim(cue),)) for cue in cues if claims.matches(split.claim(cue), grades[cue])
        ),
        after=tuple(after),
    )


def earned(evidence: Evidence) -> Page:
    """Return free and earned for every cue of a study that is shown."""
    cards = evidence.study.cues if len(evidence.study.cues) else None
    try:
        split = free_and_earned(
            evidence.study.shots, evidence.club, cards, settings=evidence.settings, level=evidence.level
        )
    except DataError as err:
        return Page(
            "earned", "Free and earned: what path shifts are made of", (f"Path shifts are not split here. {err.found}",)
        )
    page = earned_page(split, cards)
    return replace(page, after=(*page.after, *_beside_the_model(split, evidence)))


def _beside_the_model(split: FreeEarned, evidence: Evidence) -> list[str]:
    """Return how far the averages of the split lie from those of the main result, at most and where."""
    models = {"attack": "attack_up_deg", "path": "path_out_deg"}
    shifts = {evidence.outcome: evidence.shifts, **evidence.others}
    rows = []
    for part, outcome in models.items():
        if outcome in shifts:
            theirs = shifts[outcome].table.set_index("cue")["estimate"]
            ours = split.table[split.table["part"] == part].set_index("cue")["estimate"]
            for cue in ours.index.intersection(theirs.index):
                rows.append((abs(ours[cue] - theirs[cue]), cue, part, ours[cue], theirs[cue]))
    rows = [row for row in rows if row[0] == row[0]]
    if not rows:
        return []
    _, cue, part, own, model = max(rows)
    unit = shown(models[part], evidence.settings.units)
    return [
        f"The two kinds of average lie farthest apart for {part} with {split.names[cue]}: {unit.text(own, sign=True)} "
        f"here, {unit.text(model, sign=True)} by the model."
    ]


def ball_page(inferred: InferredShots) -> Page:
    """Return what the ball alone would have told of face and loft, and what ball data alone may and may not say."""
    told = inferred.table[inferred.table["why_not"] == ""].groupby("club", observed=True)
    rows = [
        {
            "club": show_club(str(club)),
            "shots": f"{len(part):,}",
            "loft, mean": f"{part['inferred_loft_deg'].mean():.1f}°",
            "error of one shot's loft": f"±{part['loft_error_deg'].iloc[0]:.1f}°",
            "face, mean (open plus)": f"{part['inferred_face_deg'].mean():+.1f}°".replace("-", "−"),
            "error of one shot's face": f"±{part['face_error_deg'].iloc[0]:.1f}°",
        }
        for club, part in told
        if len(part)
    ]
    counts = inferred.sentences()[: -len(ball_only())]
    return Page(
        "ball-only",
        "With ball data only: what may be learnt, and what may not",
        tuple(counts),
        table=pd.DataFrame(rows) if rows else None,
        caption="Loft and face as the ball tells them",
        after=tuple(ball_only()),
    )
