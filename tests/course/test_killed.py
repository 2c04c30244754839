"""Collect and mark killed in the middle: nothing lost, nothing double, the next run goes on."""

import gc
import os
import random
import shutil
import signal
import sys

import pytest
from sqlalchemy import select

from grader import clock
from grader.course.audit import verify
from grader.course.grading import mark_class
from grader.course.submissions import collect
from grader.records import database, head, ledger, schema
from grader.records.term import term as terms
from tests.seed.draws import SEED
from tests.work import issue_of, put_in_inbox, right_sheet

pytestmark = pytest.mark.campaign

MODULE = "m01_timing"
MOMENTS = int(os.environ.get("KILL_MOMENTS", "10"))  # of each command
WHEN = clock.parse("2026-03-30 12:00", "UTC")


def in_a_child(work, kill_at):
    """Run work in a process of its own, killed without warning at its n-th call; returns the number of calls it made.

    Every call of a function, of Python's own too, is a moment: before and after each
    statement to the database, each write, each renaming.
    """
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            calls = 0

            def count(_frame, event, _what):
                nonlocal calls
                calls += 1
                if calls == kill_at:
                    os.kill(os.getpid(), signal.SIGKILL)

            gc.disable()  # what earlier tests left behind would be cleared at some moment, and its calls counted
            sys.setprofile(count)
            work()
            sys.setprofile(None)
            os.write(writer, str(calls).encode())
            code = 0
        finally:
            os._exit(code)
    os.close(writer)
    said = os.read(reader, 100)
    os.close(reader)
    status = os.waitpid(child, 0)[1]
    if kill_at:
        assert os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL, "it ended before the moment came"
        return None
    assert os.WEXITSTATUS(status) == 0 and os.WIFEXITED(status)
    return int(said)


@pytest.fixture
def handed_in(assigned_term):
    """Three trainees, of whom the first handed in twice."""
    for trainee in ("t01", "t02", "t03"):
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, trainee)))
    put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")).but(saved="before"), folder="t01/first")
    return assigned_term


def collecting(term):
    return lambda: collect.collect(term, received_at=WHEN)


def marking(term):
    return lambda: mark_class.mark(term, MODULE)


def copies(term, tmp_path):
    number = 0
    while True:
        number += 1
        folder = tmp_path / f"copy{number}"
        shutil.copytree(term.folder, folder)
        head.path_of(term).unlink(missing_ok=True)  # each copy goes its own way, as on a machine of its own
        yield terms.open_term(folder)
        shutil.rmtree(folder)


def counts(term):
    with database.transaction(term) as connection:
        assert ledger.first_broken(connection) is None
        events = [entry["event"] for _, _, entry in ledger.entries(connection, "handed-in", "marked", "re-marked")]
        hand_ins = connection.execute(select(schema.hand_in)).all()
        marks = {row.trainee: row.mark for row in connection.execute(select(schema.mark))}
    return len(hand_ins), events.count("handed-in"), marks, events.count("marked"), events.count("re-marked")


@pytest.mark.parametrize("command", ["collect", "mark"])
def test_killed_at_seeded_moments(handed_in, tmp_path, monkeypatch, command):
    monkeypatch.setattr(mark_class, "TOGETHER", 2)  # three trainees then need two transactions
    make = collecting if command == "collect" else marking
    if command == "mark":
        collecting(handed_in)()
    fresh = copies(handed_in, tmp_path)
    make(next(fresh))()  # loads what is loaded once: a later run then makes the same calls
    total = in_a_child(make(next(fresh)), 0)
    random_ = random.Random(f"{SEED} {command}")
    # The last hundredth may not come twice at the same count, so it is left out.
    moments = sorted(random_.randrange(1, int(total * 0.99)) for _ in range(MOMENTS))
    print(f"seed {SEED}, {command}: killed at calls {moments} of {total}")
    half_done = set()
    for moment in moments:
        term = next(fresh)
        in_a_child(make(term), moment)
        before = counts(term)
        half_done.add(str(before))
        assert before[0] == before[1], f"call {moment}: records and ledger disagree after the kill"
        assert len(before[2]) == before[3], f"call {moment}: marks and ledger disagree after the kill"
        collecting(term)()
        run = marking(term)()
        assert run.findings == [] and run.held == []
        assert counts(term) == (4, 4, dict.fromkeys(("t01", "t02", "t03"), 2800), 3, 0), f"call {moment} of {total}"
        assert verify.verify(term).findings == [], f"call {moment} of {total}"
    assert len(half_done) > 1, "no kill fell between two transactions"
