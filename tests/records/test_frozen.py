"""Terms made by earlier versions: this one opens them, proves them and marks them the same."""

import json
import shutil
import zipfile

import pytest

from grader.course.audit import verify
from grader.course.grading import mark_class
from grader.records import database, schema
from grader.records.term import term as terms
from grader.reports.export import package
from tests import freeze

FROZEN = sorted(freeze.PLACE.glob("*.zip"))


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


def test_one_spoilt_answer_is_noticed(tmp_path):
    """The comparison is worth something: other bytes in a kept hand-in do not pass."""
    with zipfile.ZipFile(FROZEN[-1]) as archive:
        archive.extractall(tmp_path / "term")
    term = terms.open_term(tmp_path / "term")
    database.upgrade(term)
    kept = next(path for path in (term.folder / "handed_in").rglob("*") if path.is_file())
    shutil.copy(term.folder / "term.toml", kept)
    assert verify.verify(term).findings != []
