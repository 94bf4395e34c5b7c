import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import yaml
from packaging.markers import Marker
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[1]
ADDRESS = re.compile(
    r"://|\bgit\+|(?:^|\s|- )(?:-i|-f|--(?:extra-)?index(?:-url)?|--find-links|--trusted-host|--proxy)\b|\s@\s", re.M
)
MACHINES = [
    {"python_version": python, "python_full_version": f"{python}.0", "sys_platform": system, "os_name": name}
    for python in ("3.11", "3.12", "3.13")
    for system, name in (("linux", "posix"), ("darwin", "posix"), ("win32", "nt"))
]


def pins():
    """Every pin of constraints.txt."""
    return [Requirement(line) for line in (ROOT / "constraints.txt").read_text().splitlines() if line.strip()]


def wishes():
    """Every dependency that pyproject.toml names, of the package and of its extras."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    extras = project["optional-dependencies"].values()
    return [Requirement(line) for lines in (project["dependencies"], *extras) for line in lines]


def pip_part():
    """The lines that conda hands to pip."""
    environment = yaml.safe_load((ROOT / "environment.yml").read_text())
    return next(entry["pip"] for entry in environment["dependencies"] if isinstance(entry, dict))


def test_the_conda_environment_is_what_the_readme_promises():
    environment = yaml.safe_load((ROOT / "environment.yml").read_text())
    assert environment["name"] == "coachlab"
    assert environment["channels"] == ["conda-forge", "nodefaults"]
    assert environment["dependencies"][:2] == ["python=3.11", "pip"]
    assert pip_part() == ["-c constraints.txt", "-e ."]


@pytest.mark.parametrize("name", ["environment.yml", "constraints.txt", "kit.py", ".ci/run", "pyproject.toml"])
def test_no_file_of_the_set_up_says_where_packages_come_from(name):
    assert ADDRESS.findall((ROOT / name).read_text()) == []


@pytest.mark.parametrize(
    "line",
    [
        "  - https://example.com/x.whl",
        "- -i mirror",
        "--extra-index-url mirror",
        "x @ file:///x",
        "  - --find-links wheels",
    ],
)
def test_an_address_or_an_index_option_would_be_found(line):
    assert ADDRESS.search(f"name: x\n{line}\n")


@pytest.mark.parametrize("wish", wishes(), ids=str)
def test_each_dependency_is_pinned_once_and_as_asked_on_every_machine(wish):
    for machine in MACHINES:
        here = [pin for pin in pins() if pin.name == wish.name and applies(pin.marker, machine)]
        assert len(here) == 1, f"{wish.name} has {len(here)} pins on {machine}"
        (version,) = here[0].specifier
        assert version.operator == "=="
        assert wish.specifier.contains(version.version)


def applies(marker: Marker | None, machine: dict[str, str]) -> bool:
    return marker is None or marker.evaluate(machine)


def test_what_is_installed_here_is_what_is_pinned():
    from importlib.metadata import version

    direct = {wish.name for wish in wishes()}
    here = {
        pin.name: next(iter(pin.specifier)).version for pin in pins() if applies(pin.marker, {}) and pin.name in direct
    }
    assert {name: version(name) for name in here} == here


@pytest.mark.slow
def test_the_pip_part_installs_in_a_fresh_environment_as_conda_does_it(tmp_path):
    project = tmp_path / "project"
    shutil.copytree(ROOT / "coachlab", project / "coachlab", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("environment.yml", "constraints.txt", "pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, project)
    fresh = tmp_path / "fresh"
    subprocess.run([sys.executable, "-m", "virtualenv", "--quiet", fresh], check=True)
    python = fresh / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
    # conda writes the pip part to a file beside environment.yml and runs pip there
    (project / "condaenv.requirements.txt").write_text("\n".join(pip_part()) + "\n")
    install = [python, "-m", "pip", "install", "--quiet", "-U", "-r", "condaenv.requirements.txt", "--exists-action=b"]
    done = subprocess.run(install, cwd=project, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    code = "import coachlab, jupyterlab, pandas; print(coachlab.__file__, pandas.__version__)"
    done = subprocess.run([python, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    where, pandas = done.stdout.split()
    assert Path(where).resolve() == (project / "coachlab" / "__init__.py").resolve()
    assert [str(pin.specifier) for pin in pins() if pin.name == "pandas"] == [f"=={pandas}"]
