"""A second instructor's account on the same machine: a group works in a term folder, and nobody else looks into it."""

import grp
import os
import stat

import pytest
from sqlalchemy import select

from grader import files
from grader.course.issue import assign
from grader.errors import CannotWrite, Refused
from grader.records import database, ledger, schema, session
from grader.records.term import share
from grader.records.term import term as terms


@pytest.fixture
def umask():
    """Opening a shared term changes what this process makes from then on; put back afterwards."""
    before = os.umask(0o022)
    yield
    os.umask(before)


def modes(folder):
    return {path: stat.S_IMODE(path.lstat().st_mode) for path in [folder, *folder.rglob("*")] if not path.is_symlink()}


def test_a_group_works_in_it_and_nobody_else(assigned_term, umask):
    """All that is there, and all that either of them makes later, is the group's; when it ends the folder is shut."""
    group = grp.getgrgid(os.getegid()).gr_name
    share.share(assigned_term, group)
    opened = terms.open_term(assigned_term.folder)
    assert share.group_of(opened.folder) == group and terms.open_to_others(opened.folder) == []
    assign.assign(opened, "m02_dwell")
    files.write_bytes(opened.folder / "handed_in" / "ab" / "abc.json", b"x", mode=files.PRIVATE)
    for path, mode in modes(opened.folder).items():
        assert not mode & 0o007, f"{path} can be read by everybody"
        assert mode & 0o070 == (mode & 0o700) >> 3, f"{path}: the group may not do what its owner may"
        assert mode & stat.S_ISGID or not path.is_dir(), f"what is made in {path} is not the group's"
    assert terms.close(opened.folder) and stat.S_IMODE(opened.folder.stat().st_mode) == 0o700
    assert share.group_of(opened.folder) == "" and not terms.close(opened.folder)


def test_a_group_that_is_not_there_changes_nothing(assigned_term):
    before = modes(assigned_term.folder)
    with pytest.raises(Refused, match="no group 'nobodys-own'.*groupadd"):
        share.share(assigned_term, "nobodys-own")
    assert modes(assigned_term.folder) == before


def test_a_server_that_does_not_answer_gives_its_reason_alone():
    """The driver's own words before the reason help nobody."""
    with pytest.raises(CannotWrite, match="^The database does not answer: connection to server at"):
        database.check_free("postgresql+psycopg://somebody@127.0.0.1:1/none")


def test_records_in_the_folder_need_no_place(assigned_term):
    with pytest.raises(Refused, match="every copy has its own"):
        session.work_from_here(assigned_term)
    with database.reading(assigned_term) as connection:
        assert not [e for _, _, e in ledger.entries(connection, "settings") if e["kind"] == ledger.PLACE]
        assert connection.execute(select(schema.trainee.c.id)).first()
