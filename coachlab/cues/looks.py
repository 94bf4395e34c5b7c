"""Twelve looks at the model of one cue, in words: what was found, against which limit, and what it means."""

from typing import NamedTuple

import numpy as np
from scipy import stats

from coachlab.cues.compare import STEEPER
from coachlab.cues.ladder import Answer
from coachlab.cues.parts import Part
from coachlab.cues.seen import PANELS, Seen
from coachlab.schema import OUTCOMES
from coachlab.units import Shown, shown

FINE, NOTE, LOOK, NONE = "fine", "note", "look", "not possible"
"""What a look may come to: nothing to mind; worth knowing; to be looked into; not to be had from this model."""
CHANCE = 0.01
"""Share of sound studies in which a look raises its hand by chance, where it goes by chance."""
NEIGHBOURS = 0.3
"""Correlation of neighbouring shots from which it counts (methods: AR(1) as sensitivity)."""
_RARE = "farther out than in 99 of 100 sound studies"
_NO_ROWS = "The answer rests on {what}, so that there are no single shots in the model to look at."

GOOD = (
    "A student's two blocks of one kind lie about as far apart as their bars, and no block stands alone.",
    "Raw shifts scatter on both sides of the average; shrunken ones lie nearer to it; nobody stands far off alone.",
    "Points follow the line inside the band.",
    "Plain and cue alike, and students' bars overlap.",
    "The band of the line holds zero over its whole length: the shot's number says nothing more.",
    "The cloud is round and its line nearly level, well inside the dotted limits.",
    "Points follow the line inside the band, for each part of the model.",
    "All estimates on the same side of zero, with the same verdict.",
    "The line is level: the shift does not go with the screening value. Where a pattern is told for this cue (under "
    "“For whom”), it slopes the way that is told. Dashed: regression to the mean alone, had the screening block been "
    "the baseline.",
    "Few losses, each with its reason.",
    "The search ended at a minimum, and the model stands on the first rung that the lessons justify.",
    "You cannot tell which panel is real.",
)
"""What a good picture looks like, by look."""

NAMES = (
    "every block",
    "students' shifts",
    "residuals",
    "wobble of shots",
    "drift",
    "neighbouring shots",
    "students and days",
    "one student left out",
    "screening value",
    "flow",
    "model",
    "real among simulated",
)


RUNGS = {
    "a": "all that the lessons justify",
    "b": "start and shift taken as unrelated",
    "c": "no term for the day",
    "d": "block means in place of shots",
    "e": "one difference for each student",
}
"""What the model on each rung of the ladder takes in, or leaves out, in a coach's words."""


class Look(NamedTuple):
    """One row of the table."""

    number: int
    check: str
    found: str
    limit: str
    sign: str
    remark: str


def look_at(
    seen: Seen, answer: Answer, part: Part, outcome: str, system: str, verdict: str, level: float
) -> list[Look]:
    """Return the twelve rows."""
    unit = shown(outcome, system)
    what = "one difference for each student" if answer.fit is None else "block means"
    lost = _NO_ROWS.format(what=what)
    rows = (
        _blocks(seen, lost),
        _shifts(seen, answer, unit),
        _residuals(seen, unit, lost),
        _wobble(seen, unit, lost),
        _drift(seen, unit, lost),
        _neighbours(seen, lost),
        _effects(seen, lost),
        _without(seen, answer, unit, verdict, level, lost),
        _screening(seen, outcome, unit, system),
        _flow(part),
        _model(answer),
        _panels(seen, lost),
    )
    return [Look(number, NAMES[number - 1], *row) for number, row in enumerate(rows, 1)]


def _sign(p: float, limit: float = CHANCE) -> str:
    return LOOK if p < limit else FINE


def _none(limit: str, lost: str) -> tuple[str, str, str, str]:
    return "–", limit, NONE, lost


def _share(p: float) -> str:
    """Return a chance in words: ``in 12 of 100``."""
    return "in fewer than 1 of 100" if p < 0.01 else f"in {100 * p:.0f} of 100"


def _blocks(seen: Seen, lost: str) -> tuple[str, str, str, str]:
    limit = f"a block {_RARE}"
    students, blocks = seen.blocks["student"].nunique(), len(seen.blocks)
    found = f"{blocks} blocks of {students} students"
    if np.isnan(seen.jump):
        return found, limit, NONE, lost
    if seen.jump < CHANCE:
        remark = (
            "One block lies farther from its student's other shots than chance makes: check its club, its phase and "
            "its log entry before believing the average."
        )
        return found, limit, LOOK, remark
    return found, limit, FINE, f"Sound lessons have a block as far out {_share(seen.jump)}."


def _shifts(seen: Seen, answer: Answer, unit: Shown) -> tuple[str, str, str, str]:
    raw = seen.students["shift"]
    found = f"{unit.text(raw.min(), sign=True)} to {unit.text(raw.max(), sign=True)}; SD {unit.text(answer.slope_sd)}"
    limit = f"a student {_RARE}"
    if seen.outlier < CHANCE:
        remark = (
            "One student's shift lies far from all others. Check that lesson (club, phase, left-handed sign) and see "
            "look 8: what the average is without that student."
        )
        return found, limit, LOOK, remark
    kept = "" if answer.fit is None else _kept(seen)
    return found, limit, FINE, f"{kept}Who lies at an end does so partly by chance; no one is named here."


def _kept(seen: Seen) -> str:
    raw, drawn = seen.students["shift"].std(), seen.students["shrunken"].std()
    share = 100 * drawn / raw if raw > 0 else 0.0
    if share < 0.5:
        return "The model takes all differences between students for chance. "
    return f"The model keeps {share:.0f} % of the spread of the raw shifts and takes the rest for chance. "


def _residuals(seen: Seen, unit: Shown, lost: str) -> tuple[str, str, str, str]:
    limit = f"the line of points {_RARE}"
    if seen.residual is None or seen.shots is None:
        return _none(limit, lost)
    away = seen.shots["standardised"].abs()
    found = f"largest {away.max():.1f} SDs; {100 * (away > 3).mean():.1f} % beyond 3 SDs (normal: 0.3 %)"
    robust, low, high = seen.robust
    plain = seen.students["shift"].mean()
    other = (
        f"With block means that give far shots less weight the students' mean difference is "
        f"{unit.text(robust, sign=True)} ({unit.number(low, sign=True)} to {unit.number(high, sign=True)}), beside "
        f"{unit.text(plain, sign=True)} with all shots alike."
    )
    if seen.residual.p >= CHANCE:
        return found, limit, FINE, f"Shots are spread as the model takes them to be. {other}"
    heavy = (away > 3).mean() > 0.0027
    kind = "More far-out shots than a normal spread has (mishits, misreads)" if heavy else "Shots are not spread evenly"
    return found, limit, LOOK, f"{kind}. {other}"


def _wobble(seen: Seen, unit: Shown, lost: str) -> tuple[str, str, str, str]:
    limit = "differences larger than in 99 of 100 sound studies"
    if seen.spreads is None:
        return _none(limit, lost)
    by = {name: spread.table.set_index("level")["sd"] for name, spread in seen.spreads.items()}
    side, student = by["side"], by["student"]
    found = (
        f"plain {unit.text(side['plain'])}, cue {unit.text(side['with the cue'])}; students "
        f"{unit.number(student.min())} to {unit.text(student.max())}"
    )
    said = []
    if seen.spreads["side"].p < CHANCE / 2:
        said.append(
            f"Shots with the cue vary {side['with the cue'] / side['plain']:.2f} times as much as plain ones: a result "
            "of its own, to be read beside the shift."
        )
    if seen.spreads["student"].p < CHANCE / 2:
        said.append(
            f"Some students are wilder than others, typically by a factor of {seen.spreads['student'].ratio:.2f}. The "
            "average rests on each student's own difference, which this hardly touches; the intervals of single "
            "students in look 2 are too narrow for the wild ones."
        )
    return found, limit, LOOK if said else FINE, " ".join(said) or "One residual SD for all serves."


def _drift(seen: Seen, unit: Shown, lost: str) -> tuple[str, str, str, str]:
    limit = "a slope steeper than in 99 of 100 sound studies"
    if seen.drift is None:
        same = "The shot's number is already settled by what is in the model." if seen.spreads is not None else lost
        return _none(limit, same)
    ten = Shown(unit.unit, 10 * unit.factor, unit.digits + 1)
    d = seen.drift
    ends = f"{ten.number(d.low, sign=True)} to {ten.text(d.high, sign=True)}"
    found = f"{ten.text(d.estimate, sign=True)} in ten shots ({ends})"
    if d.p < CHANCE:
        remark = (
            "Values go on changing with the shot's number beyond what the model allows for (warm-up, tiring). Where "
            "the order of plain and cue is balanced this widens the interval rather than shifting the average."
        )
        return found, limit, LOOK, remark
    return found, limit, FINE, "Beside period and warm-up the shot's number says nothing more."


def _neighbours(seen: Seen, lost: str) -> tuple[str, str, str, str]:
    limit = f"beyond ±{NEIGHBOURS:g}"
    if seen.neighbours is None:
        return _none(limit, lost)
    n = seen.neighbours
    found = f"correlation {show_r(n.rho)} ({show_r(n.low)} to {show_r(n.high)})"
    if abs(n.rho) > NEIGHBOURS:
        remark = (
            "A shot resembles the one before it, so that ten shots tell less than ten. The block's own term takes up "
            "most of it; single lessons are judged too surely."
        )
        return found, limit, LOOK, remark
    small = "clear but small" if n.low > 0 or n.high < 0 else "no more than chance"
    return found, limit, FINE, f"Neighbouring shots are alike to an extent that is {small}."


def _effects(seen: Seen, lost: str) -> tuple[str, str, str, str]:
    limit = f"the points of a part {_RARE}"
    if seen.effects is None:
        return _none(limit, lost)
    if not seen.effects:
        return "no spread between students, days or blocks", limit, NOTE, "There is nothing to draw."
    words = {key: part_name(*key) for key in seen.effects}
    worst = min(seen.effects, key=lambda key: seen.effects[key].p)  # type: ignore[index]
    p = min(1.0, seen.effects[worst].p * len(seen.effects))
    found = f"farthest: {words[worst]}, {_share(seen.effects[worst].p)}"
    if p < CHANCE:
        remark = (
            f"{words[worst].capitalize()} are not spread as a normal law has it: one stands far out, or there are two "
            "kinds. See looks 1, 2 and 8."
        )
        return found, limit, LOOK, remark
    return found, limit, FINE, f"{'; '.join(words.values()).capitalize()}: as the model takes them to be."


def show_r(r: float) -> str:
    """Return a correlation as a page shows it: a true minus sign, never a negative zero."""
    return f"{round(r, 2) + 0.0:.2f}".replace("-", "−")


def part_name(group: str, term: str) -> str:
    """Return what the random effects of a term are called on a page."""
    if group == "student":
        return "students' shifts" if term in ("on", "on_h") else "students' starts"
    plural = {"session": "days", "block": "blocks", "coach": "coaches"}.get(group, group)
    return f"shifts of {plural}" if term == "on" else plural


def _without(
    seen: Seen, answer: Answer, unit: Shown, verdict: str, level: float, lost: str
) -> tuple[str, str, str, str]:
    limit = "sign or verdict changes"
    if seen.without is None:
        return _none(limit, lost)
    low, high = seen.without["estimate"].min(), seen.without["estimate"].max()
    found = f"{unit.text(low, sign=True)} to {unit.text(high, sign=True)}"
    others = sorted({each for each in seen.without["verdict"] if each != verdict})
    if others:
        times = int((seen.without["verdict"] != verdict).sum())
        instead = " or ".join(each or "none" for each in others)
        remark = (
            f"The verdict {verdict or 'none'} hangs on a single student: without one of {times} it would be {instead}. "
            f"{'So does the sign. ' if low < 0 < high else ''}The answer lies near a border; more students settle it."
        )
        return found, limit, LOOK, remark
    if low < 0 < high:
        clear = abs(answer.estimate) > stats.t.ppf(0.5 + 0.5 * level, answer.df) * answer.se
        if clear:
            return found, limit, LOOK, "The sign hangs on a single student."
        near = "The sign hangs on a single student, as it will where the interval holds zero; the verdict stays."
        return found, limit, NOTE, near
    return found, limit, FINE, "No single student carries the sign or the verdict."


def _screening(seen: Seen, outcome: str, unit: Shown, system: str) -> tuple[str, str, str, str]:
    limit = "a slope steeper than in 99 of 100 sound studies"
    s = seen.screening
    if s is None:
        remark = (
            "Fewer than six students have a screening block: whether shifts go with the start cannot be seen, nor "
            "regression to the mean ruled out by it."
        )
        return "–", limit, NONE, remark
    per = Shown(unit.unit, unit.factor / shown(s.measure, system).factor, unit.digits + 1)
    step = shown(s.measure, system).unit.replace("°", "degree")
    each = f"for each {step} that screening {OUTCOMES[s.measure]} is {STEEPER.get(s.measure, 'lower')}"
    found = f"{_towards(per, s.slope, s.low, s.high)} {each}"
    alone = f"Screening is in {OUTCOMES[s.measure]}, not {OUTCOMES[outcome]}: regression to the mean is not drawn."
    if s.alone < 0:
        alone = (
            f"Had the screening block been the baseline, regression to the mean alone would show "
            f"{per.text(-s.alone, sign=True)} so; the baseline is another block here, so no effect is a level line."
        )
    elif s.alone >= 0:
        alone = "Between screening and lesson these students show no regression to the mean."
    told = ""
    if s.model is not None:
        found = f"{_towards(per, *s.model)} by the model, {_towards(per, s.slope, s.low, s.high)} as drawn, {each}"
        told = (
            "The model is the one under “For whom”: it weighs students by their blocks and shots and takes out what "
            "goes with the order of blocks; the line drawn is of the students' raw differences, all alike. "
        )
        if s.model[1] > 0 or s.model[2] < 0:
            if s.slope * s.model[0] <= 0:
                other = (
                    f"A pattern is told for this cue, and the raw differences go the other way: doubt it. {told}{alone}"
                )
                return found, limit, LOOK, other
            return (
                found,
                limit,
                NOTE,
                f"A pattern is told for this cue, so the line should slope, as here. {told}{alone}",
            )
    if s.p < CHANCE:
        asks = f"The shift goes with the screening value: ask for whom, not only how much. {told}{alone}"
        return found, limit, LOOK, asks
    return found, limit, FINE, f"{told}{alone}"


def _towards(per: Shown, slope: float, low: float, high: float) -> str:
    """Return a slope with its ends as patterns are told: towards the negative side of the measure."""
    return f"{per.text(-slope, sign=True)} ({per.number(-high, sign=True)} to {per.text(-low, sign=True)})"


def _flow(part: Part) -> tuple[str, str, str, str]:
    limit = "under 80 % of planned blocks, or over 10 % of shot numbers missing"
    present = float(part.grade.facts["planned blocks present (share)"])  # type: ignore[arg-type]
    missing = np.nan
    if {"shots_logged", "shots_missing"} <= set(part.blocks.columns):
        logged, lost = (float(part.blocks[name].sum()) for name in ("shots_logged", "shots_missing"))
        missing = lost / logged if logged > 0 else np.nan
    gaps = f", {100 * missing:.0f} % of shot numbers missing" if np.isfinite(missing) else ""
    found = f"{100 * present:.0f} % of planned blocks there{gaps}"
    bad = present < 0.8 or missing > 0.1
    remark = "Who was asked, agreed or stayed away is not in these files: write it into the report."
    return found, limit, LOOK if bad else FINE, remark


def _model(answer: Answer) -> tuple[str, str, str, str]:
    limit = "no minimum found"
    ladder = answer.ladder
    reasons = " ".join(ladder.reasons)
    if answer.fit is None:
        return f"{RUNGS[ladder.rung]} (rung {ladder.rung})", limit, NOTE, reasons
    record = answer.fit.record
    ended = "ended at a minimum" if record.converged else "did not end at a minimum"
    singular = ", a spread at its border" if record.singular else ""
    found = f"{RUNGS[ladder.rung]} (rung {ladder.rung}; the search {ended}{singular})"
    if not record.converged:
        return found, limit, LOOK, f"Do not use this answer. {record.why.capitalize()}. {reasons}"
    border = (
        "One of the differences between students, days or blocks is no larger than chance makes, so the model takes it "
        "for none (a spread at its border). "
        if record.singular and "estimated at zero" not in reasons
        else ""
    )
    stepped = bool(reasons) or record.singular
    full = reasons or ("" if record.singular else "The full model, as the lessons justify it.")
    return found, limit, NOTE if stepped else FINE, f"{border}{full}".strip()


def _panels(seen: Seen, lost: str) -> tuple[str, str, str, str]:
    limit = "steps from block to block unlike those of 99 of 100 simulated studies"
    if seen.panels is None:
        return _none(limit, lost)
    found = f"one real panel among {PANELS + 1}; steps as large or small {_share(seen.rough)}"
    if seen.rough < CHANCE:
        remark = (
            "Neighbouring blocks differ by more, or by less, than the model makes: something moves from block to block "
            "that it does not know."
        )
        return found, limit, LOOK, remark
    return found, limit, FINE, "Pick the odd one out before you read which panel is real."
