"""Simulated studies of one cue with every part known: what error rates and coverage are counted on.

The scale is that of 7-iron attack in degrees, all of it assumed: shots 1.8, blocks .6, days .8, students 2.5.
"""

from dataclasses import replace

import numpy as np
import pandas as pd

from coachlab.cues.ladder import fit_shift
from coachlab.cues.parts import cue_parts

SHOT, BLOCK, SESSION, STUDENT = 1.8, 0.6, 0.8, 2.5


def crossover(students, sessions=2, pairs=1, shots=10, coaches=4):
    """A complete study, each pair of a plain and a cue block in turned order: all columns of a model table but values."""
    rows = []
    for s in range(students):
        for v in range(sessions):
            first = (s + v) % 2
            plan = " ".join("X" if (b + first) % 2 else "plain" for b in range(2 * pairs))
            for b in range(2 * pairs):
                for k in range(shots):
                    place = (f"s{s:02d}", f"c{s % coaches}", f"s{s:02d}v{v}", f"s{s:02d}v{v}b{b}")
                    rows.append((*place, b + 1.0, float((b + first) % 2), 10.0 + b * (shots + 6) + k, plan))
    names = ["student", "coach", "session", "block", "period", "on", "shot_in_session", "order_plan"]
    frame = pd.DataFrame(rows, columns=names)
    for name in names[:4]:
        frame[name] = frame[name].astype("category")
    frame["cue"] = pd.Categorical(np.where(frame["on"] > 0, "X", "plain"), categories=["plain", "X"])
    frame["per_c"] = frame["period"] - frame["period"].mean()
    log = np.log(frame["shot_in_session"])
    return frame.assign(
        lshot_c=log - log.mean(),
        club="iron-7",
        order_seed="1",
        offered="drawn",
        screened=True,
        pattern=np.nan,
        pat_c=np.nan,
    )


def values(frame, rng, slope_sd, shift=0.0, block=BLOCK, session=SESSION, shot=SHOT, r=0.0):
    """An outcome for each row, with a shift of its own for each student."""
    codes = {name: frame[name].cat.codes.to_numpy() for name in ("student", "session", "block")}
    many = {name: code.max() + 1 for name, code in codes.items()}
    own = rng.standard_normal((many["student"], 2))
    slope = shift + slope_sd * (r * own[:, 0] + np.sqrt(1 - r**2) * own[:, 1])
    return (
        -4.0
        + STUDENT * own[codes["student"], 0]
        + frame["on"].to_numpy() * slope[codes["student"]]
        + session * rng.standard_normal(many["session"])[codes["session"]]
        + block * rng.standard_normal(many["block"])[codes["block"]]
        + shot * rng.standard_normal(len(frame))
    )


def part_of(frame, rng):
    """The lessons of the study's only cue, as `cue_shifts` cuts them, with some outcome."""
    return cue_parts(frame.assign(attack_up_deg=rng.standard_normal(len(frame))))["X"]


def with_outcome(part, outcome):
    """The same lessons with another outcome, one value for each row."""
    codes, names = pd.factorize(part.rows["block"].astype("str"))
    count = np.bincount(codes)
    mean = np.bincount(codes, outcome) / count
    sd = np.sqrt(np.bincount(codes, (outcome - mean[codes]) ** 2) / (count - 1))
    of_block = part.blocks["block"].map({name: place for place, name in enumerate(names)}).to_numpy()
    blocks = part.blocks.assign(mean=mean[of_block], sd=sd[of_block])
    return replace(part, rows=part.rows.assign(attack_up_deg=outcome), blocks=blocks)


def answer_of(part):
    """The product's answer for one study: its model, with every rung of the ladder below it."""
    return fit_shift(part, "attack_up_deg", part.blocks["student"].nunique(), [])
