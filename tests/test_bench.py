import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent / "benchmarks"
ROW = "dict(what='sum', ours_s={ours}, yardstick='a loop', yardstick_s=1.0, aim=1.5)"


@pytest.fixture
def bench(tmp_path):
    """Run the runner on benchmarks of our own, given as name and source."""

    def run(*arguments, **sources):
        for name in ("__main__.py", "timing.py"):
            shutil.copy(HERE / name, tmp_path)
        for name, source in sources.items():
            (tmp_path / f"bench_{name}.py").write_text(source)
        done = subprocess.run([sys.executable, tmp_path, *arguments], capture_output=True, text=True)
        return done.returncode, done.stdout + done.stderr

    return run


def rows(ours):
    return f"def measure():\n    return [{ROW.format(ours=ours)}]"


def test_a_missed_aim_is_said_and_is_no_failure(bench):
    code, said = bench(quick=rows(1.4), late=rows(1.6))
    line = {row.split()[0]: row for row in said.splitlines() if " a loop " in row}
    assert code == 0
    assert line["quick"].split()[-1] == "yes"
    assert line["late"].split()[-1] == "NO"


def test_a_broken_benchmark_hides_no_other_and_fails(bench, tmp_path):
    code, said = bench(
        "--json", str(tmp_path / "out.json"), broken="def measure():\n    raise OSError('no disk')", quick=rows(1)
    )
    report = json.loads((tmp_path / "out.json").read_text())
    assert code == 1
    assert "no disk" in said
    assert [row["ratio"] for row in report["rows"]] == [1.0]
    assert list(report["broken"]) == ["broken"]
    assert report["machine"]["python"] == sys.version.split()[0]


def test_only_the_named_benchmarks_run(bench):
    code, said = bench("quick", quick=rows(1), broken="1 / 0")
    assert code == 0, said
    code, said = bench("quack")
    assert code == 2
    assert "known are broken, quick" in said


def test_a_row_without_a_yardstick_is_refused(bench):
    code, said = bench(bare="def measure():\n    return [dict(what='sum', ours_s=1.0)]")
    assert code == 1
    assert "a row needs" in said


def test_both_are_timed_in_turn(monkeypatch):
    monkeypatch.syspath_prepend(HERE)
    from timing import paired

    turns = []
    assert all(seconds > 0 for seconds in paired(lambda: turns.append("a"), lambda: turns.append("b"), repeats=3))
    assert "".join(turns) == "ab" + "ab" + "ba" + "ab"
