"""A month of writing commands, each stopped where a machine can stop it: killed at any moment, at each disk call, on a full disk.

Whatever happened, the term is whole afterwards, and the same command said again brings it to where
an undisturbed run would have brought it. Each command runs in a process of its own.
"""

import gc
import os
import pickle
import re
import resource
import shutil
import signal
import sys
from contextlib import contextmanager
from pathlib import Path
from random import Random
from types import SimpleNamespace

from sqlalchemy import select

from grader import catalogue, clock
from grader.course.attempts.standing import Whom
from grader.course.audit import deletion, verify
from grader.course.grading import adjust, due_time, mark_class, observations, received, resit, written_answers
from grader.course.issue import assign
from grader.course.submissions import collect, transcribe
from grader.course.vehicles import store
from grader.desk import change
from grader.desk.page import Desk
from grader.errors import Refused, TimingMarkError, Unknown
from grader.records import database, head, ledger, schema
from grader.records.gradebook import setup
from grader.records.term import policy, policy_in_force, roster
from grader.records.term import term as terms
from grader.reports.export import package
from grader.reports.export.oneroster import writer
from tests.course import vehicles
from tests.desk import driving
from tests.work import issue_of, put_in_inbox, right_answers, right_sheet, sheet_of

MODULE, SECOND = "m01_timing", "m02_dwell"
CLASS = "id,last_name,first_name,group\nT01,Arundell,Bea,A\nT02,Null,Cass,A\nT03,Zeal,Dov,B\n"
# Calls of the machine that change what lies on a disk, and the database's own.
DISK = {"open", "write", "rename", "replace", "unlink", "rmdir", "mkdir", "fsync", "chmod", "link", "symlink", "utime",
        "ftruncate", "truncate", "execute", "executemany", "commit", "backup"}  # fmt: skip
_TIMES = {
    "at",
    "assigned_at",
    "issued_at",
    "marked_at",
    "applied_at",
    "handed_in_at",
    "received_at",
    "arrival",
    "source",
}


def _take(term):
    collect.collect(term, received_at=clock.parse("2026-03-30 12:00", "UTC"))


def _read(term):
    given = [
        (answer.code, [f"{most:g}" for _, most in answer.rubric], "Well said.")
        for answer in written_answers.answers(term, MODULE)
    ]
    written_answers.give_all(term, MODULE, given)


def _policy(term):
    path = term.folder.parent / "policy.toml"
    path.write_text(policy.written(policy.DEFAULT, {MODULE: "95"}, "70", ["T3"]), encoding="utf-8")
    policy_in_force.adopt([term], path, reason="agreed for this year")


def _transcribed(term):
    opened = transcribe.begin(term, "T03", MODULE)
    answer = sheet_of(issue_of(term, "t03"), {"m01.mark_arc.arc": "12.3"}).answers
    transcribe.keep(term, opened, answer, received_at=clock.parse("2026-03-30 13:00", "UTC"))


def _desk(term):
    (term.folder.parent / "home").mkdir(exist_ok=True)
    return Desk(term.folder, term.folder.parent / "home")


def _desk_takes(term):
    desk = _desk(term)
    desk.go("inbox")
    packed = (term.folder.parent / "later.zip").read_bytes()
    desk.screen.drop.take([("later.zip", packed)])
    driving.do_it(desk, agree=True)


def _desk_marks(term):
    desk = _desk(term)
    desk.go("marks", module=MODULE)
    driving.press(
        desk,
        next(
            b.description
            for b in driving.every(desk.box)
            if getattr(b, "description", "").startswith(("Mark what came in", "Mark again"))
        ),
    )
    driving.do_it(desk)


def _desk_returns(term):
    desk = _desk(term)
    desk.go("give_back", module=MODULE)
    driving.press(desk, "See who gets a page …")
    driving.do_it(desk)


# The month, in its order: each begins where the one before it ended.
MONTH = {
    "roster import": lambda term: roster.import_list(term, term.folder.parent / "list.csv"),
    "vehicle add": lambda term: store.add(term, "hall"),
    "assign": lambda term: assign.assign(term, MODULE, due="2026-03-31 17:00", way="zips"),
    "assign --as folder": lambda term: assign.assign(term, MODULE, way="folder"),
    "collect": _take,
    "mark": lambda term: mark_class.mark(term, MODULE),
    "transcribe": _transcribed,
    "desk: take": _desk_takes,
    "desk: mark": _desk_marks,
    "received": lambda term: received.correct(term, MODULE, Whom(("T02",)), at="2026-04-02 12:00", reason="by post"),
    "extend": lambda term: adjust.extend(term, "t02", MODULE, until="2026-04-03 17:00", reason="ill"),
    "read": _read,
    "override": lambda term: adjust.override(term, "t02", MODULE, "mark_arc", "1", reason="misprint"),
    "excuse": lambda term: adjust.excuse(term, "t03", MODULE, reason="elsewhere"),
    "desk: return": _desk_returns,
    "assign --change-due": lambda term: due_time.change_due(term, MODULE, "2026-04-01 17:00", Whom(everybody=True), reason="snow"),
    "term policy": _policy,
    "resit": lambda term: resit.resit(term, "t02", MODULE, reason="once more"),
    "witness": lambda term: observations.record(
        term, observations.Seen("t01", "T3", "satisfactory", "hall four", "2026-03-12", "Q. Z.", "")
    ),
    "export tables": lambda term: package.write_all([term]),
    "export oneroster": lambda term: writer.write([term]),
    "term delete-person": lambda term: deletion.delete_person(term, "t01", reason="asked for it"),
}  # fmt: skip


def _between(name, term):
    """What happens before a command that no command does: files come."""
    if name == "roster import":
        (term.folder.parent / "list.csv").write_text(CLASS, encoding="utf-8")
    elif name == "vehicle add":
        vehicles.put(term, "hall")
    elif name == "collect":
        for who in ("t01", "t02"):
            put_in_inbox(term, _with_letter(term, who))
        put_in_inbox(
            term, right_sheet(issue_of(term, "t01")).but(saved="2026-03-29T10:00:00+00:00"), folder="t01/first"
        )
    elif name == "desk: take":
        path = put_in_inbox(term, _with_letter(term, "t03"))
        shutil.move(path, term.folder.parent / "later.zip")


def _with_letter(term, who):
    record = issue_of(term, who)
    answers = right_answers(catalogue.module(MODULE), record)
    if who == "t02":  # who has something to sit again
        answers = {path: text for path, text in answers.items() if not path.startswith(("m01.mark_arc", "m01.angle"))}
    return sheet_of(record, answers | {"m01.letter.text": f"Dear owner, {who}."}).but(saved="2026-03-30T10:00:00+00:00")


class Campaign:
    """Snapshots of a term before and after each command of the month, made once by an undisturbed run."""

    def __init__(self, top, names=tuple(MONTH)):
        self.top, self.names = Path(top), names
        work = self.top / "month"
        (work / "data").mkdir(parents=True)
        with _machine(work):
            setup.new_term(work / "term", term_id="spring-a", title="A", zone="Europe/Lisbon")
            for number, name in enumerate(MONTH):
                _between(name, terms.open_term(work / "term"))
                shutil.copytree(work, self.top / f"{number}", symlinks=True)
                MONTH[name](terms.open_term(work / "term"))
                (self.top / f"{number}.after").write_bytes(pickle.dumps(state_of(terms.open_term(work / "term"))))
                if name not in names and set(names) <= set(list(MONTH)[: number + 1]):
                    break

    @contextmanager
    def before(self, name):
        """A fresh copy of the term as it is before a command."""
        number = list(MONTH).index(name)
        work = self.top / "now"
        shutil.rmtree(work, ignore_errors=True)
        shutil.copytree(self.top / f"{number}", work, symlinks=True)
        # The month was made in another place; nothing in it may remember which.
        with _machine(work):
            yield work

    def after(self, name):
        return pickle.loads((self.top / f"{list(MONTH).index(name)}.after").read_bytes())


@contextmanager
def _machine(work):
    before = os.environ.get(head.PLACE)
    os.environ[head.PLACE] = str(work / "data")
    try:
        yield
    finally:
        if before is None:
            del os.environ[head.PLACE]
        else:
            os.environ[head.PLACE] = before


def state_of(term):
    """What the records say, without moments, and which files there are."""
    rows = {}
    with database.reading(term) as connection:
        for table in schema.metadata.sorted_tables:
            if table.name in ("tm_ledger", "tm_schema"):
                continue
            found = connection.execute(select(table)).mappings().all()
            rows[table.name] = sorted(
                repr({key: value for key, value in row.items() if key not in _TIMES}) for row in found
            )
    names = {
        re.sub(r"dropped [^/]*|rosters/\d+", "…", str(path.relative_to(term.folder)))
        for path in term.folder.rglob("*")
        if path.is_file() and not path.name.startswith(".") and not path.name.endswith(("-journal", "-wal", "-shm"))
    }
    return rows, names


def in_a_child(work, *, watch=None, kill_at=0, limit=None):
    """Run work in a process of its own.

    `watch` tells of a profiling event whether it is counted; the process is killed at the one of number
    `kill_at`. `limit` is the greatest size in bytes that any file may have, as on a full disk.

    Returns
    -------
    SimpleNamespace
        `killed`; `calls`, how many were counted; `problem`, the sentence it refused with; `fault`, what no
        lower floor foresaw.
    """
    reader, writer_ = os.pipe()
    child = os.fork()
    if child == 0:
        told = {"calls": 0, "problem": "", "fault": ""}
        try:
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            os.dup2(1, 2)
            if limit is not None:
                signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
            calls = 0

            def count(_frame, event, what):
                nonlocal calls
                if watch(event, what):
                    calls += 1
                    if calls == kill_at:
                        os.kill(os.getpid(), signal.SIGKILL)

            gc.disable()
            if watch is not None:
                sys.setprofile(count)
            try:
                work()
            except (TimingMarkError, OSError) as problem:  # a command says OSError in a sentence, too
                told["problem"] = str(problem)
            except BaseException as fault:
                told["fault"] = f"{type(fault).__name__}: {fault}"[:500]
            sys.setprofile(None)
            told["calls"] = calls
            os.write(writer_, pickle.dumps(told))
        finally:
            os._exit(0)
    os.close(writer_)
    content = b""
    while piece := os.read(reader, 65536):
        content += piece
    os.close(reader)
    status = os.waitpid(child, 0)[1]
    if os.WIFSIGNALED(status):
        return SimpleNamespace(killed=True, calls=0, problem="", fault="")
    return SimpleNamespace(killed=False, **pickle.loads(content))


def _any_call(_event, _what):
    return True


def disk_call(event, what):
    return event in ("c_call", "c_return") and getattr(what, "__name__", "") in DISK


def _again(campaign, name, work, label):
    """Say the command again after it was stopped; sentences about what is not as an undisturbed run leaves it."""
    wrong = []
    term = terms.open_term(work / "term")
    with database.reading(term) as connection:
        if ledger.first_broken(connection) is not None:
            wrong.append(f"{label}: the ledger's chain is broken")
    try:
        MONTH[name](term)
    except (Refused, Unknown):
        pass  # it was done already: what follows shows whether that is so
    except AssertionError:  # the desk had nothing left to do
        if not name.startswith("desk"):
            raise
    except Exception as fault:
        return [*wrong, f"{label}: said again it ends with {type(fault).__name__}: {str(fault)[:200]}"]
    term = terms.open_term(work / "term")
    rows, names = state_of(term)
    wanted_rows, wanted_names = campaign.after(name)
    for table, wanted in wanted_rows.items():
        if rows[table] != wanted:
            wrong.append(f"{label}: {table} is not as after an undisturbed run")
    if names != wanted_names and not _harmless(names ^ wanted_names):
        wrong.append(f"{label}: other files: {sorted(names ^ wanted_names)[:4]}")
    wrong += [f"{label}: {finding}"[:300] for finding in verify.verify(term).findings[:2]]
    return wrong


def _harmless(names):
    """A file that was taken twice lies in the inbox twice: once in the place for what is taken, and known."""
    return all(name.startswith(("inbox/", "exports/")) for name in names)


def _loop(campaign, names, moments_of, run_one):
    wrong, tried = [], 0
    for name in names:
        for moment in moments_of(name):
            with campaign.before(name) as work:
                label = f"{name} at {moment}"
                tried += 1
                wrong += run_one(name, moment, work, label)
    return wrong, tried


def _counted(campaign, name, watch):
    with campaign.before(name) as work:
        term = terms.open_term(work / "term")
        MONTH[name](term)  # loads what is loaded once
    with campaign.before(name) as work:
        return in_a_child(lambda: MONTH[name](terms.open_term(work / "term")), watch=watch).calls


def killed(campaign, seed, moments, names, watch=_any_call):
    """Kill each command at so many moments drawn from a seed, or at all that are watched if there are no more."""

    def moments_of(name):
        total = _counted(campaign, name, watch)
        every = range(1, int(total * 0.99) + 1)  # the last hundredth may not come twice at the same count
        return sorted(Random(f"{seed} {name}").sample(every, min(moments, len(every))))

    def run_one(name, moment, work, label):
        in_a_child(lambda: MONTH[name](terms.open_term(work / "term")), watch=watch, kill_at=moment)
        return _again(campaign, name, work, label)

    return _loop(campaign, names, moments_of, run_one)


def full_disk(campaign, seed, moments, names):
    """Let no file grow beyond a size, for sizes at which each file that a command writes is refused."""

    def moments_of(name):
        with campaign.before(name) as work:
            before = _sizes(work)
            MONTH[name](terms.open_term(work / "term"))
            changed = {size for path, size in _sizes(work).items() if before.get(path) != size and size}
            changed |= {_sizes(work)["term/gradebook.db"], 1}
        edges = sorted({max(0, size - 1) for size in changed} | {size // 2 for size in changed})
        return sorted(Random(f"{seed} {name}").sample(edges, min(moments, len(edges))))

    def run_one(name, limit, work, label):
        before = state_of(terms.open_term(work / "term"))[0]
        told = in_a_child(lambda: MONTH[name](terms.open_term(work / "term")), limit=limit)
        wrong = []
        # A desk that cannot go on says why on its page, where the button that is looked for would be.
        if told.fault and not (name.startswith("desk") and told.fault.startswith(("AssertionError", "StopIteration"))):
            wrong.append(f"{label}: no sentence but {told.fault[:200]}")
        if "\n" in told.problem.strip():
            wrong.append(f"{label}: not one sentence: {told.problem[:100]!r}")
        if re.search(r"[Nn]othing was (changed|made|taken)", told.problem):
            if state_of(terms.open_term(work / "term"))[0] != before:
                wrong.append(f"{label}: it says that nothing was changed, and something was: {told.problem[:100]}")
        return wrong + _again(campaign, name, work, label)

    return _loop(campaign, names, moments_of, run_one)


def _sizes(work):
    return {
        str(path.relative_to(work)): path.stat().st_size
        for path in work.rglob("*")
        if path.is_file() and not path.name.endswith(("-journal", ".busy"))
    }


def without_a_loop():
    """A desk without a page takes no loop of a browser that tests opened before."""

    def none():
        raise RuntimeError("no running event loop")

    change.asyncio = SimpleNamespace(get_running_loop=none)
