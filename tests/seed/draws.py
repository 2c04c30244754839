"""One seed for all that the tests draw: keys of terms, ids, salts, tokens, answers, moments.

The product takes its keys and ids from `secrets` and `uuid`, which ask the machine. While the tests run, both
draw from streams of this seed instead: one for each test and each shared fixture, so that a test has the same
numbers alone, in another order or in another process. A child process gets a stream of its own, and hands
others on to its children. The product itself is left as it is.

Only what starts with Python and is started through `subprocess` is reached, and what is forked; the children of
`multiprocessing` draw from the machine, as two users at two desks do.
"""

import os
import random
import secrets
import subprocess
import sys
import uuid
from contextlib import contextmanager
from pathlib import Path

NAME = "TIMING_MARK_SEED"
SEED = int(os.environ.get(NAME) or 20260301)
_PLACE = "TIMING_MARK_DRAWS"  # tells a child whose stream is its own
_HERE = str(Path(__file__).parent)

_places = ["start"]
_streams = {}
_children = {}


@contextmanager
def at(place):
    """Draw from the streams of a place while a block runs: the name of a test or of a shared fixture."""
    _places.append(place)
    try:
        yield
    finally:
        _places.pop()


def forget(place):
    """A test is over: should it run again, it draws the same again."""
    for known in [key for key in _streams if key[0] == place]:
        del _streams[known]
    _children.pop(place, None)


def take_over():
    """From now on `secrets`, `uuid.uuid4` and the children of this process draw from the seed."""
    for name in ("token_bytes", "token_hex", "token_urlsafe", "randbelow", "choice"):
        setattr(secrets, name, globals()[name])
    uuid.uuid4 = uuid4
    if subprocess.Popen.__init__ is not _start:
        subprocess.Popen.__init__ = _start
        os.register_at_fork(before=_count_child, after_in_child=_be_child)


def be_child():
    """In a child: draw from the stream that its parent left for it."""
    _places[:] = [os.environ[_PLACE]]
    take_over()


def _stream():
    """Each module that draws has a stream of its own, so that a library's ids do not move ours."""
    key = (_places[-1], sys._getframe(2).f_globals.get("__name__", ""))
    if key not in _streams:
        _streams[key] = random.Random("\n".join((str(SEED), *key)))
    return _streams[key]


def token_bytes(nbytes=None):
    return _stream().randbytes(32 if nbytes is None else nbytes)


def token_hex(nbytes=None):
    return _stream().randbytes(32 if nbytes is None else nbytes).hex()


def token_urlsafe(nbytes=None):
    drawn = _stream().randbytes(32 if nbytes is None else nbytes)
    return secrets.base64.urlsafe_b64encode(drawn).rstrip(b"=").decode()


def randbelow(exclusive_upper_bound):
    return _stream().randrange(exclusive_upper_bound)


def choice(sequence):
    return _stream().choice(sequence)


def uuid4():
    return uuid.UUID(int=_stream().getrandbits(128), version=4)


# A worker of -n is itself a child, in which this file took over once before, under another name.
_SYSTEMS_OWN = getattr(subprocess.Popen.__init__, "systems_own", subprocess.Popen.__init__)


def _start(self, *words, **how):
    """Start a child with a place of its own in its surroundings, and with the means to draw there."""
    if len(words) < 11:  # the eleventh is env, which nobody gives by place
        env = dict(os.environ if how.get("env") is None else how["env"])
        _count_child()
        before = env.get("PYTHONPATH")
        if before is None or _HERE not in before.split(os.pathsep):
            env["PYTHONPATH"] = f"{_HERE}{os.pathsep}{before}" if before else _HERE
        how["env"] = env | {NAME: str(SEED), _PLACE: _child_place()}
    _SYSTEMS_OWN(self, *words, **how)


_start.systems_own = _SYSTEMS_OWN


def _count_child():
    _children[_places[-1]] = _children.get(_places[-1], 0) + 1


def _child_place():
    return f"{_places[-1]} / child {_children[_places[-1]]}"


def _be_child():
    _places.append(_child_place())
