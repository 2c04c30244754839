"""nbgrader's own commands on the term folder: the same marks by another road, whatever was done to the notebooks."""

import html.parser
import json
import os
import shutil
import subprocess
import sys

import nbformat
import pytest
from nbconvert.exporters import HTMLExporter
from sqlalchemy import select, update

from grader import catalogue
from grader.course.audit import verify
from grader.course.formgrader import notebooks
from grader.course.grading import mark_class
from grader.course.submissions import collect
from grader.errors import BadFile, BadSheet, Unknown
from grader.exercise.kinds import Written
from grader.exercise.sheet import Answer, Sheet
from grader.paths import checkout
from grader.records import config_file, database, schema
from grader.records.gradebook import gradebook
from grader.records.term import term as terms
from tests.work import issue_of, put_in_inbox, right_sheet

pytestmark = pytest.mark.campaign

MODULE = "m01_timing"
HOSTILE = {
    "cell_type": "code", "id": "evil", "metadata": {}, "execution_count": None, "outputs": [],
    "source": "import os, pathlib\npathlib.Path('pwned.txt').write_text('x')\nos.kill(os.getppid(), 9)\ninput()\nwhile True: pass",
}  # fmt: skip


def nbgrader(term, *arguments):
    env = {**os.environ, "PYTHONPATH": str(checkout())}
    env.pop("NBGRADER_EXECUTION", None)
    return subprocess.run([sys.executable, "-m", "nbgrader", *arguments], cwd=term.folder, env=env, capture_output=True, text=True, timeout=300)  # fmt: skip


def edited(change):
    def spoil(folder):
        path = folder / f"{MODULE}.ipynb"
        notebook = json.loads(path.read_text(encoding="utf-8"))
        change(notebook)
        path.write_text(json.dumps(notebook), encoding="utf-8")

    return spoil


def graded(notebook):
    return next(i for i, c in enumerate(notebook["cells"]) if c["metadata"].get("nbgrader", {}).get("grade"))


def rename(folder):
    (folder / f"{MODULE}.ipynb").rename(folder / "my work (2).ipynb")


def steal(folder):
    (folder / "notes.txt").symlink_to(folder.parent.parent.parent / "term.key")
    os.mkfifo(folder / "pipe")


SPOILT = {
    "cell twice": edited(lambda n: n["cells"].append(dict(n["cells"][graded(n)]))),
    "cell deleted": edited(lambda n: n["cells"].pop(graded(n))),
    "cell edited": edited(lambda n: n["cells"][graded(n)].update(source="float('inf')")),
    "cell renamed": edited(lambda n: n["cells"][graded(n)]["metadata"]["nbgrader"].update(grade_id="other")),
    "points raised": edited(lambda n: n["cells"][graded(n)]["metadata"]["nbgrader"].update(points=900)),
    "kernel nobody has": edited(lambda n: n["metadata"].update(kernelspec={"name": "none", "display_name": "none", "language": "x"})),
    "hostile code": edited(lambda n: n["cells"].insert(0, HOSTILE)),
    "old format": edited(lambda n: n["cells"][graded(n)]["metadata"]["nbgrader"].update(schema_version=1)),
    "later format": edited(lambda n: n["cells"][graded(n)]["metadata"]["nbgrader"].update(schema_version=99)),
    "no cells": edited(lambda n: n.update(cells=[])),
    "no JSON": lambda folder: (folder / f"{MODULE}.ipynb").write_bytes(b"<<<<<<< mine"),
    "empty": lambda folder: (folder / f"{MODULE}.ipynb").write_bytes(b""),
    "renamed": rename,
    "links and pipes": steal,
    "unreadable stamp": lambda folder: (folder / "timestamp.txt").write_text("tomorrow at noon"),
}  # fmt: skip
UNREADABLE = lambda folder: (folder / "answers.json").write_bytes(b'{"format": ')  # noqa: E731


@pytest.fixture(scope="module")
def walked(demo, tmp_path_factory):
    """The demo term with fifteen spoilt notebooks and one unreadable sheet, its scores wiped, autograded by nbgrader."""
    folder = tmp_path_factory.mktemp("second") / "term"
    shutil.copytree(demo.term.folder, folder)
    term = terms.open_term(folder)
    written, findings = notebooks.write_class(term, MODULE)
    assert (written, findings) == (22, [])
    submitted = sorted(path for path in (folder / "submitted").iterdir())
    for spoil, trainee in zip((*SPOILT.values(), UNREADABLE), submitted, strict=False):
        spoil(trainee / MODULE)
    with gradebook._nbgrader() as api, database.transaction(term) as connection:
        grade = api.Base.metadata.tables["grade"]
        connection.execute(update(grade).values(auto_score=None))
        connection.execute(update(api.Base.metadata.tables["submitted_notebook"]).values(late_submission_penalty=77))
    shutil.rmtree(folder / "autograded")
    return term, nbgrader(term, "autograde", MODULE), submitted[len(SPOILT)].name


class TestAutograde:
    def test_nothing_stops_the_class(self, walked):
        term, run, unreadable = walked
        assert run.returncode == 0, run.stderr[-3000:]
        assert f"{unreadable}, {MODULE}: The answer sheet is damaged" in run.stderr
        assert len(list((term.folder / "autograded").glob(f"*/{MODULE}/{MODULE}.ipynb"))) == 22

    def test_the_same_marks_to_the_hundredth(self, walked, m01):
        term, _, unreadable = walked
        with database.transaction(term) as connection:
            book = gradebook.Rows(connection, m01).scores()
            answers = connection.execute(select(schema.answer)).all()
            marks = connection.execute(select(schema.mark)).all()
        ours = {}
        for row in answers:
            scores = ours.setdefault(row.trainee, {})
            name = row.exercise.partition(".")[2]
            scores[name] = scores.get(name, 0) + row.hundredths
        assert book.pop(unreadable) == dict.fromkeys(ours.pop(unreadable)), "an unreadable sheet waits, it is no zero"
        assert len(ours) == 21 and len({json.dumps(scores) for scores in ours.values()}) > 10
        assert book == ours
        with gradebook._nbgrader() as api, api.Gradebook(term.database_url) as opened:
            for row in marks:
                if row.trainee != unreadable:
                    work = opened.find_submission_notebook(MODULE, MODULE, row.trainee)
                    assert round(100 * work.late_submission_penalty) == row.penalty
                    assert round(100 * work.score) == row.raw and work.max_score == m01.marks

    def test_no_code_ran_and_no_secret_moved(self, walked):
        term, _, _ = walked
        assert not list(term.folder.rglob("pwned.txt"))
        key = (term.folder / "term.key").read_bytes()
        for folder in ("autograded", "feedback"):
            assert all(path.read_bytes() != key for path in (term.folder / folder).rglob("*") if path.is_file())

    def test_what_was_set_aside_is_still_there(self, walked):
        term, _, _ = walked
        names = sorted(p.name for p in (term.folder / "submitted").rglob("*.set_aside"))
        assert names == ["notes.txt.set_aside", "pipe.set_aside", "timestamp.txt.set_aside"]
        assert list((term.folder / "submitted").rglob("my work (2).ipynb"))

    def test_feedback_and_export(self, walked, tmp_path):
        term, _, _ = walked
        run = nbgrader(term, "generate_feedback", MODULE)
        assert run.returncode == 0, run.stderr[-3000:]
        assert len(list((term.folder / "feedback").glob(f"*/{MODULE}/{MODULE}.html"))) == 22
        run = nbgrader(term, "export", f"--to={tmp_path / 'out.csv'}")
        assert run.returncode == 0, run.stderr[-3000:]
        assert (tmp_path / "out.csv").read_text(encoding="utf-8").count(MODULE) >= 22


@pytest.mark.filterwarnings("ignore")
class TestSteps:
    def exporter(self, folder):
        from types import SimpleNamespace

        return SimpleNamespace(parent=SimpleNamespace(coursedir=SimpleNamespace(root=str(folder))))

    def test_a_link_that_was_not_set_aside_stops_this_submission(self, tmp_path):
        """nbgrader goes on when a hook fails; the reader then refuses, and nbgrader takes its copies away."""
        from grader.course.formgrader import autograde

        work = tmp_path / "submitted" / "t01" / MODULE
        work.mkdir(parents=True)
        (work / "notes.txt").symlink_to(tmp_path / "term.key")
        said = {"student": "t01", "assignment": MODULE, "notebook": MODULE}
        with pytest.raises(BadFile, match="holds links or pipes"):
            autograde.ReleasedNotebook.from_filename(self.exporter(tmp_path), "x.ipynb", resources={"nbgrader": said})

    def test_whose_work_it_is_says_the_folder(self, assigned_term, m01):
        """A sheet of t01 in the folder of t02 earns t02 nothing, and is no zero either."""
        from grader.course.formgrader import autograde
        from grader.exercise import sheet as sheets

        sheet = right_sheet(issue_of(assigned_term, "t01"))
        content = sheets.dump(sheet)
        assert autograde.judge(assigned_term, m01, "t01", content)[1].hundredths == 2800
        with pytest.raises(BadSheet, match="not by t02"):
            autograde.judge(assigned_term, m01, "t02", content)
        with pytest.raises(BadSheet, match="never issued attempt 3"):
            autograde.judge(assigned_term, m01, "t01", sheets.dump(sheet.but(attempt=3)))


class TestPapers:
    def test_marks_prove_after_papers_were_written(self, assigned_term):
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        collect.collect(assigned_term)
        mark_class.mark(assigned_term, MODULE)
        assert notebooks.write_class(assigned_term, MODULE) == (1, [])
        assert verify.verify(assigned_term).findings == []
        done = collect.collect(assigned_term)
        assert (done.taken, done.findings) == (0, [])
        own = nbformat.read(assigned_term.folder / "autograded" / "t01" / MODULE / f"{MODULE}.ipynb", 4)
        said = [out["data"]["text/plain"] for cell in own.cells for out in cell.get("outputs", [])]
        written = [path for _, part, path in catalogue.module(MODULE).parts() if isinstance(part, Written)]
        assert len(said) == len(right_sheet(issue_of(assigned_term, "t01")).answers) + len(written)
        assert sum("right, " in text for text in said) == len(said) - len(written)

    def test_work_not_collected_yet_is_not_replaced(self, assigned_term):
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        collect.collect(assigned_term)
        mark_class.mark(assigned_term, MODULE)
        fresh = assigned_term.folder / "submitted" / "t01" / MODULE / "answers.json"
        fresh.parent.mkdir(parents=True)
        fresh.write_bytes(b"something new")
        assert "not collected yet" in notebooks.write_class(assigned_term, MODULE)[1][0]
        assert fresh.read_bytes() == b"something new"

    def test_a_module_never_released(self, empty_term):
        with pytest.raises(Unknown, match="Run 'assign"):
            notebooks.write_class(empty_term, MODULE)


TEXTS = (
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "```\n<script>alert(1)</script>\n```",
    "````\n</code></pre><svg onload=alert(1)>\n``````\n<iframe src='javascript:alert(1)'>",
    "~~~\n<script>alert(1)</script>\n~~~",
    "[click](javascript:alert(1)) ![x](x\" onerror=\"alert(1))",
    "$$</script><script>alert(1)</script>$$ \\begin{x}<script>alert(1)</script>\\end{x}",
    "a\r```\r<script>alert(1)</script>",
    "\u2028```\u2028<script>alert(1)</script>",
    "\x1b[31m<script>alert(1)</script>",
    "{{ 7*7 }} {% raw %}<object data=x>",
    "<!--\n```\n--><script>alert(1)</script>",
)  # fmt: skip


class _Elements(html.parser.HTMLParser):
    def __init__(self):
        super().__init__()
        self.scripts, self.active = [], []
        self._inside = False

    def handle_starttag(self, tag, attributes):
        self._inside = tag == "script"
        handlers = [name for name, value in attributes if name.startswith("on") or "javascript:" in (value or "")]
        if tag in ("iframe", "object", "svg", "embed", "img") or handlers:
            self.active.append((tag, attributes))

    def handle_data(self, data):
        if self._inside:
            self.scripts.append(data)

    def handle_endtag(self, tag):
        self._inside = False


def elements(notebook):
    page = HTMLExporter().from_notebook_node(nbformat.from_dict(notebook))[0]
    found = _Elements()
    found.feed(page)
    return found


def cell(kind, name):
    metadata = {"nbgrader": {"grade": True, "solution": True, "grade_id": name, "points": 2, "locked": False, "schema_version": 3, "task": False}}  # fmt: skip
    own = {"cell_type": kind, "id": f"c-{kind}", "metadata": metadata, "source": "Your answer here."}
    return own | ({"outputs": [], "execution_count": None} if kind == "code" else {})


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("kind", ["markdown", "code"])
@pytest.mark.parametrize("text", TEXTS, ids=range(len(TEXTS)))
def test_what_a_trainee_wrote_runs_nothing(m01, kind, text):
    """Stored script: text of a trainee shown on the instructor's page must stay text, in prose and in number cells."""
    lesson = {"cells": [cell(kind, "mark_arc")], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
    sheet = Sheet("t", MODULE, "t01", 1, {"m01.mark_arc.arc": Answer(text, text)})
    paper = notebooks.rebuild(lesson, m01, sheet, None)
    assert lesson["cells"][0]["source"] == "Your answer here."
    clean, hostile = elements(notebooks.rebuild(lesson, m01, None, None)), elements(paper)
    assert hostile.active == clean.active
    assert hostile.scripts == clean.scripts and not any("alert(1)" in script for script in hostile.scripts)


@pytest.mark.filterwarnings("ignore")
def test_the_inspection_sees_a_script_that_is_not_fenced():
    lesson = {"cells": [cell("markdown", "mark_arc")], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
    clean = elements(lesson)
    lesson["cells"][0]["source"] = TEXTS[0] + TEXTS[1]
    assert elements(lesson).scripts != clean.scripts or elements(lesson).active != clean.active


def test_fences_are_longer_than_any_run_inside():
    assert notebooks.fenced("a").startswith("```\n")
    assert notebooks.fenced("x `````` y").startswith("```````\n") and notebooks.fenced("x `````` y").endswith(
        "\n```````"
    )


def test_a_config_that_a_person_made_stays(empty_term):
    path = empty_term.folder / config_file.NAME
    assert not config_file.write(empty_term.folder)
    path.write_text("# Made by Timing Mark for nbgrader; an earlier one\n")
    assert config_file.write(empty_term.folder) and "course.formgrader" in path.read_text()
    path.write_text("# mine\n")
    assert not config_file.write(empty_term.folder) and path.read_text() == "# mine\n"
