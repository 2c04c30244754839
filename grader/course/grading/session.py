"""The one way to work on the marks of a term: it is held, a transaction is open, and formgrader's changes are taken over."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from grader import catalogue
from grader.course.grading import reconcile
from grader.course.grading.work import Work
from grader.records import session as records
from grader.records.term.term import Term


@contextmanager
def session(
    term: Term, module_key: str, doing: str, *, read_only: bool = False, rehearse: bool = False
) -> Iterator[Work]:
    """Work on the marks of one module while a block runs; what the block did is kept, or nothing of it if it fails.

    Parameters
    ----------
    term : Term
    module_key : str
    doing : str
        For whoever has to wait, with the module behind it: "marking".
    read_only : bool
        Write nothing at all. What formgrader shows is looked at as if it had been taken over.
    rehearse : bool
        As `records.session.begin`.

    Yields
    ------
    Work

    Raises
    ------
    Unknown
        No such module.
    Refused, CannotWrite, BadFile
        As `records.session.begin`.
    """
    module = catalogue.module(module_key)
    with records.begin(term, f"{doing} {module.key}", read_only=read_only, rehearse=rehearse) as held:
        work = Work(held, module)
        work.findings.extend(reconcile.reconcile(work))
        yield work


@contextmanager
def session_on_all(term: Term, doing: str, *, read_only: bool = False) -> Iterator[tuple[records.Session, list]]:
    """The same for all modules together: (session, what was changed in formgrader and cannot be taken over)."""
    with records.begin(term, doing, read_only=read_only) as held:
        findings = []
        for module in catalogue.all_modules().values():
            findings += reconcile.reconcile(Work(held, module))
        yield held, findings
