"""Terms made by earlier versions: this one opens them, proves them and marks them the same."""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing

import pytest
from sqlalchemy import select

from grader.course.audit import verify
from grader.course.formgrader import notebooks
from grader.course.grading import mark_class
from grader.marking.verdict import UNREADABLE
from grader.paths import checkout
from grader.records import config_file, database, schema
from grader.records.gradebook import gradebook
from grader.records.term import term as terms
from grader.reports.export import package
from tests import freeze

FROZEN = sorted(freeze.PLACE.glob("*.zip"))
# As versions before 5 wrote them.
CONFIG_BEFORE = """\
# Made by Timing Mark for nbgrader; settings belong into term.toml.
import os

from grader.course.second_road import config

config.configure(get_config(), os.path.dirname(os.path.abspath(__file__)))
"""
BARRED_BEFORE = (
    "It arrived after the sheet with the right answers was returned. It is kept and does not count; to accept it, run "
    "'extend' with a later time and a reason."
)
ACCEPTED_BEFORE = "It arrived after the return and was accepted with an extension."


def test_there_is_one_of_this_version():
    assert f"records-{schema.VERSION}" in [path.stem for path in FROZEN], "python -m tests.freeze records-<version>"


@pytest.mark.parametrize("path", FROZEN, ids=[path.stem for path in FROZEN])
def test_a_frozen_term_is_opened_and_marked_the_same(path, tmp_path):
    with zipfile.ZipFile(path) as archive:
        archive.extractall(tmp_path / "term")
    expected = json.loads((tmp_path / "term" / "expected.json").read_text("utf-8"))
    term = terms.open_term(tmp_path / "term")
    database.upgrade(term)
    assert freeze.marks(term) == expected and len(expected["marks"]) == 12
    assert verify.verify(term).findings == []
    modules = sorted({mark[0] for mark in expected["marks"]})
    for module in modules:
        run = mark_class.mark(term, module, preview=True)
        # A later engine writes its own name to every mark; no mark and no part may come out differently.
        assert [change for change in run.changes if change.old != change.new or change.parts] == []
        assert run.findings == []
        # Marked afresh: nothing of the old rows may be needed to find the same marks again.
        with database.transaction(term) as connection:
            for table in (schema.mark, schema.answer):
                connection.execute(table.delete().where(table.c.module == module))
        run = mark_class.mark(term, module)
        assert run.marked == 3  # the one mark by hand is found in the gradebook first, and says so
        assert all("formgrader has a mark" in finding for finding in run.findings)
    assert freeze.marks(term) == expected
    assert package.write([term], "items").path.is_file()


def opened(name, folder):
    """A frozen term by its name, unpacked as it was kept."""
    with zipfile.ZipFile(freeze.PLACE / f"{name}.zip") as archive:
        archive.extractall(folder)
    return terms.open_term(folder)


@pytest.mark.parametrize("name", ["records-3", "records-4"])
@pytest.mark.campaign
def test_nbgrader_works_in_a_term_made_before_its_settings_moved(name, tmp_path):
    """An older term's nbgrader_config.py names a module that is gone; after the upgrade nbgrader marks in it as we do."""
    term = opened(name, tmp_path / "term")
    (term.folder / config_file.NAME).write_text(CONFIG_BEFORE, encoding="utf-8")
    module = "m01_timing"
    database.upgrade(term)
    assert "second_road" not in (term.folder / config_file.NAME).read_text("utf-8")
    assert notebooks.write_class(term, module) == (3, [])
    with gradebook._nbgrader() as api, api.Gradebook(term.database_url) as book:
        ours = {work.student.id: work.score for work in book.assignment_submissions(module)}
    shutil.rmtree(term.folder / "autograded")
    env = {**os.environ, "PYTHONPATH": str(checkout())}
    done = subprocess.run(
        [sys.executable, "-m", "nbgrader", "autograde", module], cwd=term.folder, env=env, capture_output=True, text=True,
        timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    assert len(list((term.folder / "autograded").glob(f"*/{module}/{module}.ipynb"))) == 3
    with gradebook._nbgrader() as api, api.Gradebook(term.database_url) as book:
        assert {work.student.id: work.score for work in book.assignment_submissions(module)} == ours


@pytest.mark.parametrize("name", ["records-3", "records-4"])
def test_what_earlier_versions_said_in_words_stands_in_columns(name, tmp_path):
    """Hand-ins, deliveries and the reasons of verdicts of an older term are as this version would have kept them."""
    term = opened(name, tmp_path / "term")
    with closing(sqlite3.connect(term.folder / "gradebook.db")) as raw:  # two came after the return
        words = [f"{BARRED_BEFORE} The receipt beside it fits.", ACCEPTED_BEFORE]
        for number, (finding, usable) in enumerate(zip(words, (False, True), strict=True), 1):
            raw.execute("UPDATE tm_hand_in SET finding = ?, usable = ? WHERE id = ?", (finding, usable, number))
        raw.commit()
    database.upgrade(term)
    with database.reading(term) as connection:
        rows = connection.execute(select(schema.hand_in).order_by(schema.hand_in.c.id)).all()
        deliveries = connection.execute(select(schema.delivery)).all()
        kept = {(row.trainee, row.module, row.part): row for row in connection.execute(select(schema.answer))}
    assert [(row.kind, row.finding) for row in rows[:3]] == [
        (schema.AFTER_RETURN, "The receipt beside it fits."), (schema.ACCEPTED, ""), (schema.COUNTS, ""),
    ]  # fmt: skip
    assert all(row.arrival == row.received_at for row in rows)
    assert {row.channel for row in deliveries} == {"zips"} and len(deliveries) == len(
        {(r.trainee, r.module) for r in rows}
    )
    with database.transaction(term) as connection:
        connection.execute(schema.hand_in.update().values(usable=True, kind=schema.COUNTS))
        for table in (schema.mark, schema.answer):
            connection.execute(table.delete())
    for module in sorted({module for _, module, _ in kept}):
        mark_class.mark(term, module)
    with database.reading(term) as connection:
        for row in connection.execute(select(schema.answer)):
            before = kept[row.trainee, row.module, row.part]
            if before.own:  # what did not come out again keeps no reason
                found = [(r.own, r.target, r.width) for r in (before, row)]
                assert found[0] == found[1], row.part
                if row.verdict != UNREADABLE:  # of which nobody knows any more which unit was chosen beside it
                    assert before.why == row.why and before.chosen in ("", row.chosen), row.part
    explained = sum(bool(row.target) for row in kept.values())
    assert explained > 0.9 * len(kept)


def test_one_spoilt_answer_is_noticed(tmp_path):
    """The comparison is worth something: other bytes in a kept hand-in do not pass."""
    with zipfile.ZipFile(FROZEN[-1]) as archive:
        archive.extractall(tmp_path / "term")
    term = terms.open_term(tmp_path / "term")
    database.upgrade(term)
    kept = next(path for path in (term.folder / "handed_in").rglob("*") if path.is_file())
    shutil.copy(term.folder / "term.toml", kept)
    assert verify.verify(term).findings != []
