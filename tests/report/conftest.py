"""One simulated academy, its study and its evidence, made once for all tests of the report."""

from dataclasses import replace

import pandas as pd
import pytest

import coachlab as cl
from coachlab.intake.study import Study
from coachlab.report import pages


@pytest.fixture(scope="session")
def academy():
    return cl.simulate_academy(students=38, seed=2)


@pytest.fixture(scope="session")
def study(academy, tmp_path_factory):
    """A study as `read_study` returns it, of a simulated academy whose files were never written."""
    settings = replace(cl.Settings(), name="Quillbeck Academy", note="Simulated data: no real person.")
    files = pd.DataFrame({"file": ["simulated"], "map": ["none"]})
    folder = tmp_path_factory.mktemp("study")
    return Study(folder, academy.shots, academy.cues, settings, files, ("Simulated.",), (), "0123456789ab")


@pytest.fixture(scope="session")
def evidence(study):
    return pages.gather_evidence(study)
