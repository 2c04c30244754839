"""What can go wrong, by the decision the caller can take.

    TimingMarkError
    ├── OutOfRange      a number no real ignition has: ask for another
    ├── Unreadable      typed text that is not one value: ask again
    ├── BadFile         a file that cannot be used: report it, go on with the next
    │   ├── BadSheet    an answer sheet
    │   ├── BadRoster   a class list
    │   └── BadTable    a table of ours under datasets/
    ├── Unknown         a module, trainee or exercise that does not exist
    ├── Refused         the request is understood and would do harm: nothing was changed
    │   └── Stopped     an act in the bay that would hurt somebody: it counts against safety
    └── CannotWrite     the disk is full, read-only or closed to us: nothing was changed

Every message says what was found, where, what is allowed and what to do next.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager


class TimingMarkError(Exception):
    """Root of all errors that a person, not a programmer, can put right."""


class OutOfRange(TimingMarkError, ValueError):
    """A quantity outside the range for which a reference function is valid."""


class Unreadable(TimingMarkError, ValueError):
    """Typed text from which no single value can be read."""


class BadFile(TimingMarkError):
    """A file that cannot be used as what it should be."""


class BadSheet(BadFile):
    """An answer sheet that cannot be marked."""


class BadRoster(BadFile):
    """A class list with at least one row that cannot be stored."""


class BadTable(BadFile):
    """One of the project's own data tables is not as its README entry says."""


class Unknown(TimingMarkError, LookupError):
    """Nothing of that name exists."""


class Refused(TimingMarkError):
    """A request that was understood and not carried out."""


class Stopped(Refused):
    """An unsafe act, stopped before it was done."""


class CannotWrite(TimingMarkError, OSError):
    """A file could not be written; the old one is still there."""


@contextmanager
def afterwards(*steps: Callable[[], object]) -> Iterator[None]:
    """Take steps after a piece of work, whether it failed or not, but never after an interrupt.

    A kernel that is restarted is interrupted first, in the middle of any line. What a step
    would then tell the page may not be on disk; untold, the page asks the next kernel.
    """
    try:
        yield
    except Exception:
        for step in steps:
            step()
        raise
    for step in steps:
        step()
