"""The checklist that holds a report to its word: 22 items, filled by the data where they can, else by the academy."""

from collections.abc import Callable

import pandas as pd

from coachlab.report.declared import FILE, ITEMS
from coachlab.report.evidence import Evidence
from coachlab.report.page import Page
from coachlab.report.words import counted, listed, useful, what
from coachlab.schema import OUTCOMES, PLAIN

HOW_TO_ANSWER = (
    f"What is open is answered in {FILE}, a text file beside the exports: question, primary_cue and limitation, each "
    'with its words in quotation marks (primary_cue = "S1"), and below a line [item] the numbers of this table '
    '(3 = "Asked because ..."). Words that begin with “not done, because” leave an item undone with its reason.'
)


def checklist(evidence: Evidence) -> Page:
    """Return the 22 items of a report, each done with its place, not done with its reason, or open."""
    table, status = item_rows(evidence)
    counts = table["state"].value_counts()
    told = ", ".join(f"{counts[state]} {state}" for state in ("done", "in part", "not done", "open") if state in counts)
    return Page(
        "checklist",
        "Checklist",
        (f"{status} Of {ITEMS} items: {told}.",),
        table=table,
        caption="What a report must say, and where it says it",
        after=(HOW_TO_ANSWER,) if counts.get("open", 0) else (),
    )


def item_rows(evidence: Evidence) -> tuple[pd.DataFrame, str]:
    """Return the checklist (``item asked state answer section``) and in one sentence what is still open."""
    rows = []
    for number, (item, place, look) in enumerate(_ITEMS, 1):
        state, why = look(evidence)
        own = evidence.declared.items.get(number, "")
        if own:
            state = "not done" if own.lower().startswith("not done") else "done" if state != "in part" else "in part"
            why = f"{own} {why}".strip() if state != "not done" else own
        if state == "open":
            why = f"{why} Write item {number} in {FILE}.".strip()
        rows.append((number, item, state, why, place))
    table = pd.DataFrame(rows, columns=["item", "asked", "state", "answer", "section"])
    opened = [str(number) for number in table.loc[table["state"] == "open", "item"]]
    if opened:
        return table, f"Draft: {counted(len(opened), 'item')} of the checklist still open ({listed(opened)})."
    return table, "Every item of the checklist is answered."


_Look = Callable[[Evidence], tuple[str, str]]


def _done(why: str) -> _Look:
    return lambda evidence: ("done", why)


def _open(why: str = "") -> _Look:
    return lambda evidence: ("open", why)


def _outcome(evidence: Evidence) -> tuple[str, str]:
    contrast = evidence.declared.primary_cue
    said = f"{what(evidence).capitalize()}; smallest useful shift {useful(evidence, evidence.shifts)}."
    if not contrast:
        return "open", f"{said} No main contrast was named before the first shot."
    return ("done" if 4 in evidence.declared.items else "open"), f"{said} Main contrast: {contrast} against plain."


def _setting(evidence: Evidence) -> tuple[str, str]:
    table = evidence.study.shots.analysed
    words = {"device": "device", "bay": "bay", "surface": "surface", "ball_type": "ball"}
    found = [
        f"{word}: {listed(sorted(table[name].dropna().astype('str').unique()))}"
        for name, word in words.items()
        if name in table.columns and table[name].notna().any()
    ]
    if "temperature_c" in table.columns and table["temperature_c"].notna().any():
        found.append(f"{table['temperature_c'].min():.0f} to {table['temperature_c'].max():.0f} °C")
    return "open", f"From the log: {'; '.join(found)}." if found else "The log says nothing of it."


def _cards(evidence: Evidence) -> tuple[str, str]:
    cards = evidence.study.cues.set_index("cue")["card_text"].astype("str")
    silent = [cue for cue in evidence.cues if not cards.get(cue, "").strip()]
    if silent:
        return "in part", f"No words on the card of {listed(silent)}."
    plain = "the plain wording too" if cards.get(PLAIN, "").strip() else "the plain wording is not on a card"
    return "done", f"Every cue word for word; {plain}."


def _orders(evidence: Evidence) -> tuple[str, str]:
    facts = pd.concat([grade.table.assign(cue=cue) for cue, grade in evidence.shifts.grades.items()])
    drawn = facts.loc[facts["fact"].str.startswith("orders drawn"), "value"].astype(float)
    if not len(drawn) or drawn.max() == 0:
        return "not done", "Not done, because no drawn order is logged."
    orders = facts.loc[facts["fact"] == "orders", "value"].astype(int)
    many = f"{orders.min()} to {orders.max()}" if orders.min() < orders.max() else f"{orders.max()}"
    return (
        "done",
        f"{many} orders a cue, drawn by the kit, seeds in the log of at least {100 * drawn.min():.0f} % of lessons.",
    )


def _compliance(evidence: Evidence) -> tuple[str, str]:
    if "followed_0_10" not in evidence.study.shots.table.columns:
        return "not done", "Not done, because the log has no rating of how far the cue was followed."
    blocks = evidence.study.shots.analysed.drop_duplicates("block")
    rated = blocks.loc[blocks["phase"].astype("str") == "cue", "followed_0_10"].dropna().astype(float)
    if not len(rated):
        return "not done", "Not done, because nobody rated how far the cue was followed."
    low = (rated < 5).mean()
    return "done", f"Rated in {len(rated):,} cue blocks: median {rated.median():g} of 10, below 5 in {low:.0%}."


def _changes(evidence: Evidence) -> tuple[str, str]:
    table = evidence.table[evidence.table["on"] > 0]
    if "cue_version" not in table.columns:
        return "open", "The log holds no version of the cards."
    changed = table.groupby("cue", observed=True)["cue_version"].nunique()
    changed = [str(cue) for cue in changed.index[changed > 1]]
    return "open", f"Wording changed midway: {listed(changed)}." if changed else "No card changed its wording."


def _harms(evidence: Evidence) -> tuple[str, str]:
    table, least = evidence.study.shots.table, evidence.settings.small_group_students
    if "pain_0_10" not in table.columns or table["pain_0_10"].isna().all():
        return "open", "The log holds no pain rating."
    hurt = table.loc[table["pain_0_10"].astype(float) >= 3, "student"].nunique()
    several = "no student" if hurt == 0 else f"fewer than {least} students" if hurt < least else f"{hurt} students"
    return "done", f"Pain of 3 or more was written down for {several}; loss of speed in its section."


_ITEMS: tuple[tuple[str, str, _Look], ...] = (
    ("Title names design and population", "title", _done("")),
    ("Summary: question, design, students, shift with interval, grade, limitation", "summary", _done("")),
    ("Why asked, what was known, what would change", "title", _open()),
    ("Main outcome, contrast and smallest useful shift, written before the data", "methods", _outcome),
    ("Setting: bays, dates, surface, ball, sensor checks, temperature", "title", _setting),
    ("Who could take part, how found, how chosen", "people", _open()),
    ("Cue cards word for word with version, plain wording, dose", "cards", _cards),
    ("Orders: number, how drawn, seed, washout", "methods", _orders),
    ("Planned students, blocks and shots, and why; looks; stopping", "title", _open()),
    ("Who was unaware of what", "methods", _open()),
    ("Measures: meaning, signs, left-handers, range rules", "methods", _done("The device's own error is not in it.")),
    ("Was the cue done: check and result", "people", _compliance),
    ("Changes after the start", "methods", _changes),
    (
        "Flow of balls and students",
        "balls",
        lambda evidence: ("in part", "Counts over all orders together; reasons for every loss."),
    ),
    ("Baseline by order; period means", "baseline", _done("")),
    ("Model, random terms, what was left out, df, versions, data", "methods", _done("")),
    ("Main result with interval, next student, students; paired picture", "result", _done("")),
    ("Period and carry-over: said, not tested and then chosen", "methods", _done("")),
    (
        "Every other outcome, those that went wrong too; number of intervals",
        "beside",
        lambda evidence: (
            ("done", f"{listed(OUTCOMES[name] for name in evidence.others).capitalize()}.")
            if evidence.others
            else ("not done", "Not done, because the files hold no other outcome.")
        ),
    ),
    (
        "Sensitivity: other means, late shots, one student left out, missing as no shift",
        "steadiness",
        lambda evidence: ("in part", "Median, paired t, one student left out; not: late shots, missing as no shift."),
    ),
    ("Harms: pain, stopped lessons, loss of speed", "beside", _harms),
    ("Limits, wording by grade, data, funding and interests", "limits", _open("Limits and wording are there.")),
)
