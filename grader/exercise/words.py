"""Random words that anybody with the key draws the same.

A word is 64 bits of HMAC-SHA-512 over the length-prefixed names of what is drawn.
Only integers take part, so every machine and language agrees.
"""

import hashlib
import struct
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import chain
from typing import TypeAlias

A_BLOCK = 8  # words that one digest gives
_SHA512_BLOCK = 128  # bytes
_EIGHT_WORDS = struct.Struct(">8Q")
Halves: TypeAlias = tuple["hashlib._Hash", "hashlib._Hash"]  # of HMAC: the inner and the outer digest


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
    return block(keyed(key), named(*names) + numbered(index // A_BLOCK))[index % A_BLOCK]


def block(halves: Halves, names: bytes) -> tuple[int, ...]:
    """The words of one block, whose number is the last of its names.

    Parameters
    ----------
    halves : Halves
        As `keyed` or `under` gives them.
    names : bytes
        As `named` and `numbered` give them.

    Returns
    -------
    tuple of int
    """
    inside, outside = halves[0].copy(), halves[1].copy()
    inside.update(names)
    outside.update(inside.digest())
    return _EIGHT_WORDS.unpack(outside.digest())


def stream(halves: Halves, names: bytes, wanted: int) -> Iterator[int]:
    """So many words one after the other, and perhaps a few more."""
    if wanted <= A_BLOCK:
        return iter(block(halves, names + FIRST))
    blocks = (block(halves, names + numbered(number)) for number in range(-(-wanted // A_BLOCK)))
    return chain.from_iterable(blocks)


def under(halves: Halves, names: bytes) -> Halves:
    """The halves with the first names taken in, where many draws share them."""
    inside = halves[0].copy()
    inside.update(names)
    return inside, halves[1]


@lru_cache(maxsize=8)
def keyed(key: bytes) -> Halves:
    """The two halves of HMAC (RFC 2104) with the key taken in: a third of the time where one key draws thousands."""
    key = (hashlib.sha512(key).digest() if len(key) > _SHA512_BLOCK else key).ljust(_SHA512_BLOCK, b"\0")
    inside, outside = (hashlib.sha512(bytes(byte ^ pad for byte in key)) for pad in (0x36, 0x5C))
    return inside, outside


def named(*names: str) -> bytes:
    """Names as bytes, each behind its length, so that none can run into the next."""
    return b"".join(map(_prefixed, names))


@lru_cache(maxsize=4096)
def numbered(number: int) -> bytes:
    """A number as the last name."""
    return _prefixed(str(number))


@lru_cache(maxsize=4096)  # the names of terms and exercises come again for every trainee
def _prefixed(name: str) -> bytes:
    text = name.encode()
    return len(text).to_bytes(4, "big") + text


FIRST = numbered(0)
