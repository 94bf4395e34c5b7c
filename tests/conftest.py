"""What all tests share."""

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings

ROOT = Path(__file__).resolve().parents[1]

# The same examples at each run, so that a red run speaks of the change and not of the dice. New ones are searched for
# with COACHLAB_SEARCH=1; what they find becomes a test of its own.
settings.register_profile("same", derandomize=True)
settings.register_profile("search", derandomize=False, print_blob=True)
settings.load_profile("search" if os.environ.get("COACHLAB_SEARCH") else "same")


@pytest.fixture
def rng():
    return np.random.default_rng(0)


@pytest.fixture(scope="session")
def demo():
    """The folder of the demo data, which are simulated."""
    return ROOT / "data" / "demo"


def pytest_collection_modifyitems(items):
    """Run the browser last: Playwright keeps an event loop running, under which other tests would have to work."""
    items.sort(key=lambda item: item.get_closest_marker("browser") is not None)


def pytest_terminal_summary(terminalreporter):
    """Say which checks failed before the tests (kit.py ran them), so that the closing line stays the last."""
    failed = os.environ.get("COACHLAB_FAILED_CHECKS")
    if failed:
        terminalreporter.section("checks before the tests")
        terminalreporter.write_line(f"failed: {failed}", red=True)
