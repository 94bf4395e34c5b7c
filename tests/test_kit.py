import ast
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture
def project(tmp_path):
    """A bare copy of what kit.py needs, so that the environment in use stays as it is."""
    folder = tmp_path / "project"
    folder.mkdir()
    for name in ("kit.py", "constraints.txt", "pyproject.toml"):
        shutil.copy(ROOT / name, folder)
    return folder


@pytest.fixture
def kit(project, monkeypatch):
    """kit.py of that copy as a module, with an environment made quickly (without pip) and installs only recorded."""
    spec = importlib.util.spec_from_file_location("kit", project / "kit.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    module.installs, module.made, module.broken = [], [], ""

    def make(home, uv):
        module.made.append(home)
        subprocess.run([sys.executable, "-m", "venv", "--without-pip", home], check=True)

    def step(what, command):
        module.installs.append(command[-1])
        return (1, module.broken) if module.broken else (0, "")

    monkeypatch.delenv("COACHLAB_VENV", raising=False)
    monkeypatch.setattr(module, "make", make)
    monkeypatch.setattr(module, "find_uv", lambda: "uv")
    monkeypatch.setattr(module, "step", step)
    return module


def say(project, *arguments, path="", stubs=None, **environment):
    """Run kit.py as a person does, with only `path` to find programs; return exit code, stdout, stderr."""
    kept = {key: value for key, value in os.environ.items() if key.upper() in ("SYSTEMROOT", "TEMP", "TMP", "HOME")}
    kept |= {"PATH": str(path), "PYTHONPATH": str(stubs or ""), **environment}
    command = [sys.executable, project / "kit.py", *arguments]
    done = subprocess.run(command, env=kept, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=60)
    return done.returncode, done.stdout, done.stderr


# What it says ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("arguments", [["--help"], ["-h"], ["help"], ["test", "--help"]])
def test_help_names_every_command_and_sets_nothing_up(project, arguments):
    code, out, _ = say(project, *arguments)
    assert code == 0
    assert all(f"kit.py {command}" in out for command in ("demo", "lab", "app", "test [--slow]", "bench [NAMES]"))
    assert not (project / ".venv").exists()


@pytest.mark.parametrize("command", ["check", "map", "bring", "cues", "report", "flight-page", "doctor", "demo"])
@pytest.mark.parametrize("word", ["-h", "--help"])
def test_a_commands_help_is_that_commands_own(kit, monkeypatch, capsys, command, word):
    monkeypatch.setattr(kit, "prepare", lambda *extras: Path("home"))
    ran = []
    monkeypatch.setattr(kit, "run", lambda command, environment=None: ran.append(command) or 0)
    assert kit.main([command, word]) == 0
    assert [words[1:] for words in ran] == [[command, word]]
    assert capsys.readouterr().out == ""


def test_without_a_command_it_says_what_there_is(project):
    code, _, said = say(project)
    assert code == 2, said
    assert said.startswith("Say what to run.")
    assert "kit.py demo" in said


def test_an_unknown_command_gets_the_nearest_one(project):
    code, _, said = say(project, "tset")
    assert code == 2, said
    assert said.startswith("There is no command 'tset'. Did you mean test?")


def test_an_old_python_gets_one_line(kit, monkeypatch, capsys):
    monkeypatch.setattr(kit.sys, "version_info", (3, 9, 2))
    assert kit.main(["demo"]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert said.startswith("coachlab needs Python 3.11 or newer; this is Python 3.9")


def test_an_old_python_can_read_the_file():
    ast.parse((ROOT / "kit.py").read_text(encoding="utf-8"), feature_version=(3, 6))


# A Python that cannot make an environment -----------------------------------------------------------------------------


@pytest.fixture
def bare(tmp_path):
    """Stubs that hide ensurepip and virtualenv, as on a bare Debian, and a folder with nothing but apt-get."""
    stubs, path = tmp_path / "stubs", tmp_path / "path"
    for name in ("ensurepip", "virtualenv"):
        (stubs / name).mkdir(parents=True)
        (stubs / name / "__init__.py").write_text(f"raise ModuleNotFoundError('no {name}')")
    path.mkdir()
    program = path / ("apt-get.bat" if os.name == "nt" else "apt-get")
    program.write_text("")
    program.chmod(0o755)
    return stubs, path


def test_without_ensurepip_it_names_the_one_command_that_mends_it(project, bare):
    stubs, path = bare
    code, out, said = say(project, "demo", stubs=stubs, path=path)
    assert code == 2, said
    assert out == ""
    assert len(re.findall(r"^ +(?:sudo )?apt-get install -y python3(?:\.\d+)?-venv$", said, re.MULTILINE)) == 1
    assert "Traceback" not in said
    assert not (project / ".venv").exists()


def test_where_there_is_no_apt_the_command_is_another(project, bare, tmp_path):
    stubs, _ = bare
    code, _, said = say(project, "demo", stubs=stubs, path=tmp_path)
    assert code == 2, said
    assert "-m pip install --user virtualenv" in said
    assert "apt-get" not in said


def test_a_venv_that_breaks_down_is_quoted_and_mended_likewise(project, bare):
    stubs, path = bare
    (stubs / "ensurepip" / "__init__.py").write_text("")
    (stubs / "venv").mkdir()
    (stubs / "venv" / "__init__.py").write_text("")
    (stubs / "venv" / "__main__.py").write_text("raise SystemExit('the wheel of pip is missing')")
    code, _, said = say(project, "demo", stubs=stubs, path=path)
    assert code == 2, said
    assert "the wheel of pip is missing" in said
    assert "apt-get install" in said
    assert not (project / ".venv").exists()


def test_a_folder_of_somebodys_own_is_never_removed(project, tmp_path):
    own = tmp_path / "own"
    own.mkdir()
    (own / "letter.txt").write_text("dear")
    code, _, said = say(project, "demo", COACHLAB_VENV=str(own))
    assert code == 2, said
    assert "holds other files" in said
    assert [path.name for path in own.iterdir()] == ["letter.txt"]


# When an environment is made, mended or left alone --------------------------------------------------------------------


def test_an_environment_is_made_once(kit):
    home = kit.prepare()
    assert kit.prepare() == home == kit.ROOT / ".venv"
    assert kit.made == [home]
    assert kit.installs == ["."]


@pytest.mark.parametrize("name", ["constraints.txt", "pyproject.toml"])
def test_a_change_of_what_is_asked_installs_again_over_it(kit, name):
    kit.prepare()
    with (kit.ROOT / name).open("a") as file:
        file.write("\n# changed\n")
    kit.prepare()
    kit.prepare()
    assert len(kit.made) == 1
    assert kit.installs == [".", "."]


def test_the_tests_need_more_than_the_demo_and_the_demo_takes_what_the_tests_have(kit):
    kit.prepare()
    kit.prepare("dev")
    kit.prepare()
    assert kit.installs == [".", ".[dev]"]


def test_the_environment_can_stand_elsewhere(kit, monkeypatch, tmp_path):
    monkeypatch.setenv("COACHLAB_VENV", str(tmp_path / "deep" / "elsewhere"))
    assert kit.prepare() == tmp_path / "deep" / "elsewhere"
    assert not (kit.ROOT / ".venv").exists()


def test_a_half_made_environment_is_made_anew(kit, monkeypatch):
    def interrupted(what, command):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(kit, "step", interrupted)
        assert kit.main(["demo"]) == 130
    kit.prepare()
    assert len(kit.made) == 2
    assert kit.installs == ["."]


def test_an_install_that_fails_is_quoted_and_tried_again(kit, capsys):
    kit.broken = "no matching distribution"
    assert kit.main(["demo"]) == 1
    assert "no matching distribution" in capsys.readouterr().err
    kit.broken = ""
    kit.prepare()
    assert kit.installs == [".", "."]


def test_an_environment_whose_python_is_gone_is_made_anew(kit):
    home = kit.prepare()
    Path(kit.python_of(home)).unlink()
    kit.prepare()
    assert len(kit.made) == 2


def test_an_environment_that_was_moved_is_made_anew(kit):
    home = kit.prepare()
    stamp = json.loads((home / "coachlab.json").read_text())
    (home / "coachlab.json").write_text(json.dumps(stamp | {"root": "somewhere else"}))
    kit.prepare()
    assert len(kit.made) == 2


def test_an_environment_made_by_hand_is_installed_into_and_kept(kit):
    home = kit.ROOT / ".venv"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", home], check=True)
    (home / "mine.txt").write_text("kept")
    kit.prepare()
    assert kit.made == []
    assert kit.installs == ["."]
    assert (home / "mine.txt").exists()


def test_two_at_once_wait_for_each_other(kit, tmp_path):
    first = (tmp_path / "lock").open("a+")
    with (tmp_path / "lock").open("a+") as second:
        assert kit.locked(first)
        assert not kit.locked(second)
        first.close()
        assert kit.locked(second)


def test_jupyter_finds_the_packages_own_settings_before_others(kit, monkeypatch):
    monkeypatch.setenv("JUPYTER_PATH", "theirs")
    found = kit.jupyter_environment()
    own, theirs = found["JUPYTER_PATH"].split(os.pathsep)
    settings = ROOT / Path(own).relative_to(kit.ROOT)
    assert theirs == "theirs"
    assert found["JUPYTER_CONFIG_PATH"].split(os.pathsep)[0] == own
    assert (settings / "voila" / "templates" / "coachlab" / "index.html.j2").exists()
    assert (settings / "jupyter_server_config.json").exists()


# The test command -----------------------------------------------------------------------------------------------------


@pytest.fixture
def suite(kit, monkeypatch):
    """Two tests, one of them slow, in the copy; the checks before them pass unless named in ``failing``."""
    (kit.ROOT / "tests").mkdir()
    shutil.copy(ROOT / "tests" / "conftest.py", kit.ROOT / "tests")
    marked = "import pytest\ndef test_quick(): pass\n@pytest.mark.slow\ndef test_long(): pass\n"
    (kit.ROOT / "tests" / "test_two.py").write_text(marked)
    kit.failing, kit.checked = set(), []

    def step(what, command):
        kit.checked.append(what)
        return int(what in kit.failing), f"{what} found something"

    monkeypatch.delenv("COACHLAB_FAILED_CHECKS", raising=False)
    monkeypatch.setattr(kit, "prepare", lambda *extras: Path(sys.prefix))
    monkeypatch.setattr(kit, "step", step)
    return kit


def test_the_closing_line_of_the_tests_comes_last(suite, capfd):
    assert suite.main(["test"]) == 0
    assert "1 passed, 1 deselected" in capfd.readouterr().out.splitlines()[-1]


def test_slow_tests_run_when_asked_for_and_more_arguments_go_on(suite, capfd):
    assert suite.main(["test", "--slow", "-q"]) == 0
    assert capfd.readouterr().out.splitlines()[-1].startswith("2 passed")


def test_a_failed_check_fails_the_command_and_is_said_before_the_closing_line(suite, capfd):
    suite.failing = {"check: lint", "check: types"}
    assert suite.main(["test"]) == 1
    out, err = capfd.readouterr()
    assert suite.checked == ["check: format", "check: lint", "check: import order", "check: types"]
    assert "check: lint found something" in err
    assert "check: format found something" not in err
    assert out.splitlines()[-2] == "failed: lint, types"
    assert "1 passed" in out.splitlines()[-1]


def test_a_failed_test_fails_the_command(suite, capfd):
    (suite.ROOT / "tests" / "test_two.py").write_text("def test_wrong(): assert 0")
    assert suite.main(["test"]) == 1
    assert "1 failed" in capfd.readouterr().out.splitlines()[-1]


# .ci/run --------------------------------------------------------------------------------------------------------------


@pytest.fixture
def machine(tmp_path):
    """Run .ci/run on a machine that has only what is named; return exit code, what was printed, apt-get's calls."""

    def run(*programs, python="exit 0"):
        path, log = tmp_path / "bin", tmp_path / "calls"
        path.mkdir()
        for name in ("bash", "dirname", "cat", "mktemp", "head", "id", "rm"):
            (path / name).symlink_to(shutil.which(name))
        told = 'echo "$0 $* browser=$COACHLAB_REQUIRE_BROWSER" >>' + str(log)
        bodies = {
            "fc-list": "echo a font",
            "python3": f'case "$*" in "kit.py test") {told}; exit 7;; *) {python};; esac',
        }
        for name in (*programs, "apt-get", "sudo"):
            (path / name).write_text(f"#!/bin/bash\n{bodies.get(name, told)}\n")
            (path / name).chmod(0o755)
        done = subprocess.run(
            [ROOT / ".ci" / "run"], env={"PATH": str(path)}, capture_output=True, text=True, timeout=60
        )
        calls = log.read_text().replace(str(path) + "/", "").splitlines() if log.exists() else []
        return done.returncode, done.stdout + done.stderr, calls

    return run


def test_a_machine_that_has_all_installs_nothing_and_passes_the_exit_code_on(machine):
    code, said, calls = machine("python3", "chromium", "fc-list")
    assert (code, said) == (7, "")
    assert calls == ["python3 kit.py test browser=1"]


def test_a_bare_machine_gets_what_it_lacks(machine):
    code, said, calls = machine("python3", python='case "$*" in *ensurepip*|*libatomic*) exit 1;; esac')
    assert code == 7
    assert said == "installing: python3-venv chromium libatomic1 fontconfig fonts-dejavu-core\n"
    assert len(calls) == 3
    assert "apt-get -q update" in calls[0]
    assert (
        "install -y --no-install-recommends python3-venv chromium libatomic1 fontconfig fonts-dejavu-core" in calls[1]
    )
    assert calls[2] == "python3 kit.py test browser=1"


def test_a_machine_with_an_old_python_says_so(machine):
    code, said, calls = machine("python3", "chromium", "fc-list", python='case "$*" in *version_info*) exit 1;; esac')
    assert code == 2, said
    assert "needs Python 3.11 or newer" in said
    assert calls == []


# The whole way --------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_from_nothing_to_the_demo_with_pip_alone(project, tmp_path):
    for name in ("coachlab", "data", "notebooks"):
        shutil.copytree(ROOT / name, project / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("README.md", "LICENSE"):
        shutil.copy(ROOT / name, project)
    settings = {key: value for key, value in os.environ.items() if key.startswith(("PIP_", "SSL_")) or key == "HOME"}
    command = [sys.executable, project / "kit.py", "demo", "--out", str(tmp_path / "out")]
    done = subprocess.run(
        command, env=settings | {"PATH": "/usr/bin:/bin"}, capture_output=True, text=True, cwd=tmp_path
    )
    assert done.returncode == 0, done.stderr
    assert "with pip ... done" in done.stderr
    assert any((tmp_path / "out").iterdir())
