"""The report as one file: made by the demo's own command, whole, alone, and readable by whoever does not see it."""

import os
import re
import subprocess
import sys
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import nbformat
import pytest

import coachlab as cl
from coachlab import claims
from coachlab.report import export
from coachlab.report.export import as_page, refuse_outside, report_path, write_report, write_whole
from coachlab.report.places import shipped

RUN = [sys.executable, "-c", "from coachlab.cli import main; main()"]


@pytest.fixture(scope="module")
def demo_run(tmp_path_factory):
    """What ``coachlab demo`` prints, and the folder in which it ran."""
    place = tmp_path_factory.mktemp("demo-run")
    done = subprocess.run(
        [*RUN, "demo", "--out", "out"],
        capture_output=True,
        text=True,
        cwd=place,
        env={**os.environ, "NO_COLOR": "1"},
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    return done, place


@pytest.fixture(scope="module")
def page(demo_run):
    return (demo_run[1] / "out" / "academy-report.html").read_text(encoding="utf-8")


class Reader(HTMLParser):
    """Collects images, sentences by grade, ids, links and rows of a page."""

    def __init__(self, text):
        super().__init__()
        self.images, self.claims, self.ids, self.links, self.grade = [], [], [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.ids += [attrs["id"]] if "id" in attrs else []
        self.links += [attrs["href"]] if "href" in attrs else []
        self.images += [attrs] if tag == "img" else []
        if tag == "li" and "data-grade" in attrs:
            self.grade = attrs["data-grade"]

    def handle_endtag(self, tag):
        if tag == "li":
            self.grade = None

    def handle_data(self, data):
        if self.grade and data.strip():
            self.claims.append((self.grade, data.replace("\u00a0", " ").strip()))


def test_the_demo_says_each_step_and_what_it_set_aside(demo_run, demo):
    text = " ".join(demo_run[0].stdout.split())
    steps = cl.read_study(demo, set_aside_warned=True).steps
    assert len(steps) >= 5
    for part in (
        *(step for step in steps if not step.startswith("Coach")),  # a coach's pseudonym is new in each process
        "looks like best shots only. The coach's",
        "Which cue moves 7-iron attack, and for which swing pattern?",
        "Which cue moves 7-iron path, and for which swing pattern?",
        "What to do next",
    ):
        assert part in text, part
    assert re.search(r"\d+\.\d s Wrote the report", text)


def test_the_demo_ends_with_where_the_report_is_and_what_to_open_next(demo_run):
    last = demo_run[0].stdout.strip().splitlines()[-1]
    assert str(Path("out") / "academy-report.html") in last and "kit.py lab" in last


def test_the_demo_says_nothing_on_stderr_and_leaves_nothing_else_behind(demo_run):
    done, place = demo_run
    assert done.stderr == ""
    assert [path.relative_to(place).as_posix() for path in sorted(place.rglob("*"))] == [
        "out",
        "out/academy-report.html",
    ]


def test_the_report_stands_alone(page):
    refuse_outside(page)
    without_images = re.sub(r"data:image/png;base64,[A-Za-z0-9+/=]+", "", page)
    assert not re.search(r"https?:|www\.|file:|//\w|/tmp/|/home/|widget-view|<script|<link", without_images)
    assert len(page) < 2_000_000


def test_every_link_leads_to_a_section_of_the_same_page(page):
    reader = Reader(page)
    assert len(reader.links) >= 13
    assert {link.removeprefix("#") for link in reader.links} <= set(reader.ids)
    assert len(reader.ids) == len(set(reader.ids))


def test_every_image_is_inside_and_says_what_it_shows(page):
    images = Reader(page).images
    assert len(images) == 3 + 7 + 1 + 12
    for image in images:
        assert image["src"].startswith("data:image/png;base64,")
        assert len(image["alt"]) > 60


def test_every_sentence_on_a_cue_is_one_that_its_grade_allows(page):
    told = Reader(page).claims
    assert len(told) > 20
    for grade, sentence in told:
        assert claims.matches(sentence, grade), sentence


def test_it_says_at_its_top_that_the_data_are_simulated(page):
    body = page[page.index("<main>") :]
    assert body.index("Simulated data of the invented Quillbeck Academy") < body.index("<h1>")


def test_caution_and_limits_and_checklist_are_there(page):
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())
    for part in ("If it hurts, stop", "licensed clinician", "The local rules go first", "guardian's written consent"):
        assert part in text
    assert "it says nothing about other players" in text
    assert "Every item of the checklist is answered." in text


def test_no_person_of_the_files_is_named(page, demo):
    study = cl.read_study(demo)
    text = unescape(re.sub(r"<[^>]+>", " ", re.sub(r'src="[^"]*"', "", page)))
    names = set(study.shots.table["student"].astype(str)) | set(study.shots.table["coach"].astype(str))
    logged = set(re.findall(r"\bQ\d{3}\b|\bc[1-4]\b|\b[sc]-[0-9a-f]{8}\b", text))
    assert not logged and not names & set(text.split())


def test_the_code_of_the_notebook_stays_out(page):
    assert "gather_evidence" not in page and "import coachlab" not in page
    assert "Unfold the next cell" not in page


def test_the_template_is_found_and_has_what_a_run_needs():
    notebook = nbformat.read(shipped("notebooks") / export.TEMPLATE, as_version=4)
    cell = next(cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", []))
    named = {line.split(" = ")[0] for line in cell.source.splitlines()}
    assert named == {"folder", "club", "outcome", "set_aside_warned", "level"}


def test_the_folders_are_found_where_a_wheel_puts_them(tmp_path, monkeypatch):
    (tmp_path / "share" / "coachlab" / "notebooks").mkdir(parents=True)
    monkeypatch.setattr("coachlab.report.places.__file__", str(tmp_path / "lib" / "coachlab" / "report" / "places.py"))
    monkeypatch.setattr("coachlab.report.places.sysconfig.get_path", lambda name, scheme: str(tmp_path))
    assert shipped("notebooks") == tmp_path / "share" / "coachlab" / "notebooks"
    with pytest.raises(cl.DataError, match="Install coachlab again"):
        shipped("data/demo")


@pytest.mark.parametrize(
    ("options", "part"),
    [
        ({"outcome": "attack"}, "'attack' is no outcome"),
        ({"club": "iron-77"}, "'iron-77' is no club"),
        ({"level": 95}, "level is 95"),
        ({"set_aside_warned": "yes"}, "set_aside_warned is 'yes'"),
        ({"folder": "nowhere"}, "nowhere is no folder"),
    ],
)
def test_wrong_arguments_are_refused_before_anything_runs(demo, tmp_path, options, part):
    options = {"folder": demo, "out": tmp_path / "out", **options}
    with pytest.raises(cl.DataError, match=part):
        write_report(**options)
    assert not (tmp_path / "out").exists()


def test_an_error_in_the_notebook_comes_out_as_it_was_raised_and_nothing_is_written(demo, tmp_path):
    with pytest.raises(cl.DataError) as caught:
        write_report(demo, tmp_path / "out", club="wedge-sw")
    assert caught.value.asked == "A model table of attack_up_deg with wedge-sw was asked for."
    assert "No analysed shot of wedge-sw" in caught.value.found and caught.value.do
    assert not (tmp_path / "out").exists()


def test_an_error_of_the_programs_own_is_said_to_be_one():
    error = export._as_raised("KeyError", "'on'", "The notebook was run.")
    assert isinstance(error, cl.DataError) and "fault of the program" in error.do
    assert "KeyError: 'on'" in error.found


@pytest.mark.parametrize(
    ("body", "found"),
    [
        ('<img src="https://example.org/a.png" alt="x">', "https://example.org/a.png"),
        ("<p>See www.example.org for more.</p>", "www.example.org"),
        ('<a href="mailto:a@b">x</a>', "mailto:a@b"),
        ("<script>1</script>", "<script>"),
        ('<p onclick="x()">x</p>', "onclick"),
        ("<style>p { background: url(//example.org/x) }</style>", "url(/"),
        ("<p>application/vnd.jupyter.widget-view+json</p>", "live widget"),
        ('<link rel="stylesheet" href="#x">', "<link>"),
    ],
)
def test_a_page_that_needs_the_outside_is_refused(body, found):
    with pytest.raises(cl.DataError) as caught:
        refuse_outside(as_page(body))
    assert found in " ".join(caught.value.facts["outside"])


def test_a_page_of_text_and_inner_images_is_whole():
    refuse_outside(as_page('<h1>1:2 // 3</h1><img alt="x" src="data:image/png;base64,aHR0cDovLw=="><a href="#x">x</a>'))


def test_a_file_appears_whole_or_not_at_all(tmp_path, monkeypatch):
    target = tmp_path / "report.html"
    target.write_text("before")

    def fail(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(export.os, "replace", fail)
    with pytest.raises(cl.DataError, match="No space left on device"):
        write_whole(target, "after")
    assert target.read_text() == "before"
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]


def test_a_new_file_may_be_read_by_others_as_any_new_file_here(tmp_path):
    (tmp_path / "any").write_text("x")
    write_whole(tmp_path / "report.html", "x")
    assert (tmp_path / "report.html").stat().st_mode == (tmp_path / "any").stat().st_mode


def test_a_report_goes_into_a_folder_or_to_the_name_that_is_given(tmp_path):
    assert report_path(tmp_path / "new") == tmp_path / "new" / "academy-report.html"
    assert report_path(tmp_path / "winter.html") == tmp_path / "winter.html"
    (tmp_path / "file").write_text("x")
    with pytest.raises(cl.DataError, match="is a file, not a folder"):
        report_path(tmp_path / "file")
    (tmp_path / "folder.html").mkdir()
    with pytest.raises(cl.DataError, match="is a folder"):
        report_path(tmp_path / "folder.html")


def test_a_place_that_only_looks_writable_is_noticed_before_anything_is_read(tmp_path, monkeypatch):
    def refuse(*_, **__):
        raise OSError(28, "No space left on device")

    for name in ("TemporaryFile", "mkdtemp"):
        monkeypatch.setattr(export.tempfile, name, refuse)
    for out in (tmp_path, tmp_path / "new"):
        with pytest.raises(cl.DataError, match="Nothing can be written in .* .No space left on device"):
            report_path(out)


def test_looking_whether_a_place_can_be_written_leaves_nothing_there(tmp_path):
    report_path(tmp_path / "new" / "deep")
    report_path(tmp_path)
    assert not list(tmp_path.iterdir())
