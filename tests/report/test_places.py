"""A wheel carries the notebooks and the demo data, so that the commands work where there is no checkout."""

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_a_wheel_carries_notebooks_demo_data_and_styles(tmp_path):
    tree = tmp_path / "tree"
    kept = shutil.ignore_patterns("__pycache__")
    for name in ("coachlab", "notebooks", "data"):
        shutil.copytree(ROOT / name, tree / name, ignore=kept)
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, tree)
    code = f"import setuptools.build_meta as build; print(build.build_wheel({str(tmp_path)!r}))"
    done = subprocess.run([sys.executable, "-c", code], cwd=tree, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    names = zipfile.ZipFile(tmp_path / done.stdout.split()[-1]).namelist()
    within = {name.split("/data/share/coachlab/")[-1] for name in names if "/data/share/coachlab/" in name}
    assert {f"notebooks/{path.name}" for path in ROOT.glob("notebooks/*.ipynb")} <= within
    assert {f"data/demo/{path.name}" for path in (ROOT / "data" / "demo").iterdir()} <= within
    assert {"coachlab/assets/report.css", "coachlab/cli/commands.py", "coachlab/report/pages.py"} <= set(names)
