"""What a check has to say, and what it has to remember of the rows that it has read."""

from array import array

import numpy as np

MOST = 50  # sentences; whoever has so many looks for one cause


class Findings:
    """The first sentences of those said."""

    def __init__(self):
        self.said = []

    def say(self, sentence):
        if len(self.said) < MOST:
            self.said.append(sentence)


class Once:
    """Something that each row of a file may say once.

    A first reading keeps a digest of eight bytes of each; only where two are the same a
    second reading compares the texts themselves.

    Parameters
    ----------
    columns : tuple of str
        What may be there once.
    sentence : str
        With {name}, {line} and {id} of the row that says it again.
    only : (str, str) or None
        Column and its value in the rows concerned.
    """

    def __init__(self, columns, sentence, only=None):
        self._columns, self._sentence, self._only = columns, sentence, only
        self._digests, self._twice, self._seen = array("q"), frozenset(), set()

    def note(self, row):
        """In the first reading."""
        if self._concerns(row):
            self._digests.append(hash(self._what(row)))

    def is_doubtful(self):
        """Whether a second reading is needed."""
        values, counts = np.unique(np.frombuffer(self._digests, dtype=np.int64), return_counts=True)
        self._twice = frozenset(values[counts > 1].tolist())
        self._digests = array("q")
        return bool(self._twice)

    def again(self, name, line, row, findings):
        """In the second reading."""
        what = self._what(row)
        if not self._concerns(row) or hash(what) not in self._twice:
            return
        if what in self._seen:
            findings.say(self._sentence.format(name=name, line=line, id=row["sourcedId"]))
        self._seen.add(what)

    def _concerns(self, row):
        return self._only is None or row[self._only[0]] == self._only[1]

    def _what(self, row):
        return tuple(row[column] for column in self._columns)
