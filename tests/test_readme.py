import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_lines_of_python_run_as_they_stand(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    code = re.search(r"```python\n(.*?)```", README, re.S).group(1)
    exec(compile(code, "README.md", "exec"), {})
    said = capsys.readouterr().out
    assert "rows = " in said
    assert "Evidence grade A" in said
    assert "7-iron attack" in said


def test_every_file_that_the_text_links_to_is_there():
    links = re.findall(r"\]\(([^)#]+)\)", README + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert links
    assert [link for link in links if not (ROOT / link).exists()] == []


def test_every_command_of_the_text_is_one_that_kit_knows():
    kit = (ROOT / "kit.py").read_text(encoding="utf-8")
    for command in set(re.findall(r"kit\.py ([\w-]+)", README)):
        assert f'"{command}": ' in kit, command
