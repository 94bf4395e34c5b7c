"""The reference data sets, and the names that R gives to what we name."""

import re
from functools import cache
from pathlib import Path

import pandas as pd

import coachlab as cl

HERE = Path(__file__).parents[1] / "reference" / "mixed"
MODELS = pd.read_csv(HERE / "models.csv", keep_default_na=False).set_index("data")
NAMES = list(MODELS.index)
_EXPECTED = pd.read_csv(HERE / "expected.csv", keep_default_na=False)


@cache
def table(name):
    data = pd.read_csv(HERE / f"{name}.csv")
    if "cue" in data and (data["cue"] == "plain").any():
        data["cue"] = pd.Categorical(data["cue"], ["plain", *sorted(set(data["cue"]) - {"plain"})])
    return data


def formula(name):
    return MODELS.loc[name, "formula"].replace("^", "**")


@cache
def fit(name, reml=True):
    return cl.fit_mixed(formula(name), table(name), reml=reml, weights=MODELS.loc[name, "weights"] or None)


def expected(name, what):
    """Rows of one kind as R wrote them: group, term, level, value."""
    rows = _EXPECTED[(_EXPECTED["data"] == name) & (_EXPECTED["what"] == what)]
    return rows.assign(value=pd.to_numeric(rows["value"].replace("NA", ""))).reset_index(drop=True)


def in_r(term):
    """Our name of a coefficient as R writes it."""
    term = re.sub(r"\[(?:T\.)?([^\]]*)\]", r"\1", term)
    return term.replace("Intercept", "(Intercept)").replace(" ** ", "^").replace("**", "^")


def by_term(name, what):
    return expected(name, what).set_index("term")["value"]
