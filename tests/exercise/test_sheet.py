"""Answer sheets: what is read, what is refused with one sentence, and that nothing typed is lost."""

import json
import os
import re
import sys

import pytest

from grader import files
from grader.errors import BadSheet, CannotWrite
from grader.exercise import sheet as sheets

GOOD = {
    "format": "timing-mark answers", "schema": 1, "term": "spring", "module": "m01_timing", "trainee": "t01", "attempt": 1,
    "saved": "2026-03-01T10:00:00Z", "made_with": "grader 0.1",
    "answers": {"m01.total.line_on": {"version": 1, "raw": "34,5", "unit": "° crank", "read_as": "34.5", "at": "", "tries": 2}},
}  # fmt: skip


def with_(**changes):
    return json.dumps({**GOOD, **changes}).encode()


def with_answer(**changes):
    return with_(answers={"m01.total.line_on": {**GOOD["answers"]["m01.total.line_on"], **changes}})


TEXT = json.dumps(GOOD)
BAD = {
    "zero bytes": (b"", "empty"),
    "blanks": (b"  \n ", "empty"),
    "nulls": (b"\0" * 40, "empty"),
    "cut in half": (TEXT[: len(TEXT) // 2].encode(), "damaged"),
    "last brace missing": (TEXT[:-1].encode(), "damaged"),
    "utf-16": (TEXT.encode("utf-16"), "UTF-16"),
    "latin-1": (TEXT.replace("34,5", "34½").encode("latin-1", "replace").replace(b"\\u00b0", b"\xb0"), "not UTF-8"),
    "a zip": (b"PK\x03\x04rest", "zip archive"),
    "merge marks": (b"<<<<<<< mine\n{}\n=======\n{}\n>>>>>>> theirs\n", "merge"),
    "trailing comma": (b'{"format": 1,}', "damaged"),
    "single quotes": (b"{'format': 1}", "damaged"),
    "two documents": (TEXT.encode() * 2, "damaged"),
    "nan": (with_answer(raw=1).replace(b'"raw": 1', b'"raw": NaN'), "NaN"),
    "10,000 digits": (with_answer(raw=1).replace(b'"raw": 1', b'"raw": ' + b"9" * 10_000), "damaged"),
    "nested deep": (b"[" * 200_000, "nested too deep"),
    "duplicate key": (b'{"format": 1, "format": 2}', "twice"),
    "top-level list": (b"[]", "list"),
    "top-level null": (b"null", r"nothing \(null\) where an object"),
    "a notebook": (b'{"cells": [], "nbformat": 4}', "notebook"),
    "foreign format": (with_(format="other"), "format 'other'"),
    "schema absent": (with_(schema=None), "schema nothing"),
    "schema text": (with_(schema="1"), "whole number"),
    "schema true": (with_(schema=True), "whole number"),
    "future schema": (with_(schema=2), "later version"),
    "trainee a number": (with_(trainee=7), "trainee 7"),
    "attempt negative": (with_(attempt=-1), "attempt -1"),
    "attempt nought": (with_(attempt=0), "attempt 0"),
    "version nought": (with_answer(version=0), "version 0"),
    "answers a list": (with_(answers=[]), "list, not an object"),
    "entry a string": (with_(answers={"m01.x.y": "5"}), "a text, not an object"),
    "raw an object": (with_answer(raw={}), "an object where text"),
    "raw a bool": (with_answer(raw=True), "true or false where text"),
    "1 MB raw": (with_answer(raw="9" * 1_000_000), "1,000,000 characters"),
    "unit a list": (with_answer(unit=[]), "unit that is no text"),
    "version text": (with_answer(version="1"), "whole number"),
}


def calls(work):
    """How many calls some work makes, of functions of ours and of Python's."""
    count = 0

    def one_more(_frame, event, _what):
        nonlocal count
        count += event in ("call", "c_call")

    sys.setprofile(one_more)
    try:
        work()
    finally:
        sys.setprofile(None)
    return count


def refused(content):
    """The sentence that refuses a sheet."""
    with pytest.raises(BadSheet) as caught:
        sheets.parse(content)
    return str(caught.value)


@pytest.mark.parametrize("name", BAD)
def test_a_bad_sheet_gets_one_sentence(name):
    content, said = BAD[name]
    sentence = refused(content)
    assert re.search("(?s)" + said, sentence) and "\n" not in sentence and len(sentence) < 250


@pytest.mark.parametrize("name", ["10,000 digits", "nested deep", "1 MB raw"])
def test_the_work_does_not_grow_with_a_bad_sheet(name):
    """However long or deep the file, it is refused in as few steps: one spoilt file must not hold up a class."""
    content, _ = BAD[name]
    longest = max((run.group() for run in re.finditer(rb"(.)\1*", content)), key=len)
    small, large = content.replace(longest, longest[: len(longest) // 2]), content.replace(longest, longest * 2)
    assert refused(small)[:20] == refused(large)[:20]
    steps = calls(lambda: refused(small))
    assert calls(lambda: refused(large)) <= steps + 5 and steps < 2000


@pytest.mark.parametrize("content", [TEXT.encode(), b"\xef\xbb\xbf" + TEXT.encode()], ids=["plain", "byte order mark"])
def test_a_good_sheet_is_read(content):
    sheet = sheets.parse(content)
    assert (sheet.trainee, sheet.attempt) == ("t01", 1)
    assert sheet.answers["m01.total.line_on"] == sheets.Answer("34,5", "° crank", 1, "34.5", "", 2)


def test_a_number_without_quotes_is_taken_as_text():
    assert sheets.parse(with_answer(raw=34.5)).answers["m01.total.line_on"].raw == "34.5"


def test_what_a_later_version_added_survives(tmp_path):
    sheet = sheets.parse(with_(later={"a": [1]}, answers={"m01.x.y": {"raw": "5", "sure": "know"}}))
    sheets.write(tmp_path / "answers.json", sheet)
    back = json.loads((tmp_path / "answers.json").read_text(encoding="utf-8"))
    assert back["later"] == {"a": [1]} and back["answers"]["m01.x.y"]["sure"] == "know"


def test_the_former_sheet_stays_beside_the_new_one(tmp_path):
    path = tmp_path / "answers.json"
    first = sheets.parse(TEXT.encode())
    sheets.write(path, first)
    sheets.write(path, first.with_answer("m01.x.y", sheets.Answer("7")))
    assert sheets.read(path).answers["m01.x.y"].raw == "7"
    assert sheets.read(tmp_path / "answers.json.bak") == first


def test_things_in_the_place_of_a_sheet(tmp_path):
    with pytest.raises(BadSheet, match="missing"):
        sheets.read(tmp_path / "answers.json")
    (tmp_path / "folder").mkdir()
    with pytest.raises(BadSheet, match="folder"):
        sheets.read(tmp_path / "folder")
    (tmp_path / "real").write_bytes(TEXT.encode())
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(BadSheet, match="link"):
        sheets.read(tmp_path / "link")
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(BadSheet, match="no ordinary file"):
        sheets.read(tmp_path / "pipe")
    with (tmp_path / "large").open("wb") as stream:
        stream.truncate(5_000_000_000)
    with pytest.raises(BadSheet, match="5,000,000,000 bytes"):
        sheets.read(tmp_path / "large")


def test_a_full_disk_leaves_the_old_sheet(tmp_path, monkeypatch):
    """The disk fills up between the first byte and the last: /dev/full answers as such a disk does."""
    path = tmp_path / "answers.json"
    sheet = sheets.parse(TEXT.encode())
    sheets.write(path, sheet)
    monkeypatch.setattr("tempfile.mkstemp", lambda **_: (os.open("/dev/full", os.O_WRONLY), str(tmp_path / "never")))
    with pytest.raises(CannotWrite, match="No space left"):
        sheets.write(path, sheet.with_answer("m01.x.y", sheets.Answer("7")))
    assert sheets.read(path) == sheet


def test_an_answer_changed_in_the_file_is_seen():
    """Somebody opened answers.json in an editor and put another figure in: the file's own digest no longer fits."""
    sheet = sheets.Sheet("spring", "m01_timing", "t01", 1, {"m01.a.b": sheets.Answer("12.5", "mm")})
    content = sheets.dump(sheet)
    assert not sheets.parse(content).altered and sheets.parse(content) == sheet
    assert sheets.parse(content.replace(b"12.5", b"13.5")).altered
    assert sheets.parse(content.replace(b'"t01"', b'"t02"')).altered
    old = json.loads(content)
    del old["answers_sha256"]
    assert not sheets.parse(json.dumps(old).encode()).altered, "sheets of earlier versions have no digest"
    with pytest.raises(BadSheet, match=r"holds nothing \(null\) where text is needed"):
        sheets.parse(content.replace(b'"12.5"', b"null"))


def test_what_a_killed_writer_left_is_swept(tmp_path):
    """A part of a file from yesterday goes; one that is being written now, and anything of somebody's own, stays."""
    old, fresh, own = tmp_path / ".a.json.abcd1234.part", tmp_path / ".b.json.abcd1234.part", tmp_path / "mine.part"
    for path in (old, fresh, own):
        path.write_text("x")
    for path in (old, own):
        os.utime(path, (0, 0))
    assert files.sweep(tmp_path) == 1 and not old.exists() and fresh.exists() and own.exists()
