"""What belongs together wherever marks are looked at or changed: the term, its database, and the module worked on."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from sqlalchemy import Connection

from grader.exercise.model import Module
from grader.records.adjustments import Adjustments
from grader.records.session import Session
from grader.records.term.term import Term


@dataclass(frozen=True, slots=True)
class Work:
    """A session on the marks of one module; `findings` are what was changed in formgrader and cannot be taken over."""

    session: Session
    module: Module
    findings: list = field(default_factory=list)

    @property
    def term(self) -> Term:
        return self.session.term

    @property
    def connection(self) -> Connection:
        return self.session.connection

    @property
    def read_only(self) -> bool:
        return self.session.read_only

    def decisions(self) -> Adjustments:
        """What people decided about single trainees, as it stands now."""
        return self.session.decisions()

    def keep(self) -> None:
        """Let what was done so far stand, whatever comes afterwards."""
        self.session.keep()

    def on(self, module: Module) -> Work:
        """The same session on another module."""
        return replace(self, module=module)
