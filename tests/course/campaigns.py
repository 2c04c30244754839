"""Campaigns for what handles many trainees at once, each beside a plain way of doing the same."""

import csv
import io
import re
from random import Random

from grader.errors import BadFile
from grader.reports.export.oneroster.check import lines
from grader.reports.feedback import similarity_chance
from tests.reports.test_similarity_plain import plain, random_class

_SCRAPS = ('"', '""', ",", "\r\n", "\r\n", "\n", "\r", "a", "b c", ',"', '",', '"\r\n"', "ä", '"x","y"\r\n', "")
_QUOTED = re.compile(r'(?<![^,\r\n])"(?:[^"]|"")*"(?![^,\r\n])')


def copy_screen(seed, size):
    """The copy screen names the pairs of a plain one, in `size` random classes."""
    failed = []
    for number in range(size):
        items, trainees = random_class(Random(seed + number))
        if similarity_chance.judge(items, trainees) != plain(items, trainees):
            failed.append(f"class of seed {seed + number}: other pairs than by the plain screen")
    return failed


def package_lines(seed, size):
    """A file of a package is read row by row as it is when it is taken whole, or refused as it is then."""
    random, failed = Random(seed), []
    for _ in range(size):
        text = "".join(random.choices(_SCRAPS, k=random.randint(0, 14)))
        try:
            found = list(lines.rows(_Archive(text), "a.csv"))
        except BadFile:
            found = None
        if found != _whole(text):
            failed.append(f"{text!r} gave {found}, not {_whole(text)}")
    return failed


class _Archive:
    """As much of an archive as a reader of one file needs."""

    def __init__(self, text):
        self._content = text.encode()

    def open(self, _):
        return io.BytesIO(self._content)


def _whole(text):
    """The rows of a text, None where RFC 4180 does not allow it."""
    bare = _QUOTED.sub("q", text)
    if '"' in bare or re.search(r"\r(?!\n)|(?<!\r)\n", bare):
        return None
    try:
        return list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error:
        return None
