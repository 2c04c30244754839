"""Random words that anybody with the key draws the same.

A word is 64 bits of HMAC-SHA-512 (RFC 2104) over the length-prefixed names of what
is drawn. Only integers take part, so every machine and language agrees.
"""

import hmac
import struct
from collections.abc import Iterator, Sequence
from itertools import count, islice

_EIGHT_WORDS = struct.Struct(">8Q")  # of one digest


def word(key: bytes, names: Sequence[str], index: int) -> int:
    """The 64-bit word number `index` under the names of what is drawn.

    Parameters
    ----------
    key : bytes
    names : sequence of str
    index : int

    Returns
    -------
    int
        From 0 to 2**64 - 1.
    """
    return next(islice(stream(key, named(*names)), index, None))


def stream(key: bytes, names: bytes) -> Iterator[int]:
    """The words one after the other, without end.

    Parameters
    ----------
    key : bytes
    names : bytes
        As `named` gives them; the number of eight words follows as the last name.
    """
    for eight in count():
        yield from _EIGHT_WORDS.unpack(hmac.digest(key, names + named(str(eight)), "sha512"))


def named(*names: str) -> bytes:
    """Names as bytes, each behind its length, so that none can run into the next."""
    return b"".join(len(text).to_bytes(4, "big") + text for text in (name.encode() for name in names))
