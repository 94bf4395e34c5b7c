import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize("required, code, word", [("0", 0, "1 skipped"), ("1", 1, "1 error")])
def test_without_a_browser_its_tests_skip_and_where_one_is_required_they_fail(required, code, word, tmp_path):
    settings = dict(os.environ, PATH=str(tmp_path), COACHLAB_REQUIRE_BROWSER=required)
    command = [sys.executable, "-m", "pytest", "-rs", "tests/browser/test_opened.py", "-k", "a_script_that_fails"]
    done = subprocess.run(command, cwd=ROOT, env=settings, capture_output=True, text=True)
    assert done.returncode == code, done.stdout
    assert word in done.stdout.splitlines()[-1]
    assert "no browser of the Chromium family is installed" in done.stdout
