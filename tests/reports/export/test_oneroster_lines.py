"""The checker reads a package row by row: nothing is lost by it, and a large one takes hardly more memory."""

import tracemalloc
import zipfile

import pytest

from grader.errors import BadFile
from grader.reports.export.oneroster.check import checker, lines
from tests.reports.export.test_oneroster import pack, table


def _rows(tmp_path, content):
    with zipfile.ZipFile(pack(tmp_path / "one.zip", {"a.csv": content})) as archive:
        return list(lines.rows(archive, "a.csv"))


def test_fields_in_quotes_may_hold_lines_and_quotes(tmp_path):
    text = 'a,"b\r\nc\n""d""\re","f,g"\r\n\r\n"",h,"""i"""\r\nlast,without,end'
    assert _rows(tmp_path, text) == [['a', 'b\r\nc\n"d"\re', 'f,g'], [], ['', 'h', '"i"'], ['last', 'without', 'end']]  # fmt: skip


@pytest.mark.parametrize(
    "text",
    [
        'a,b\r\nc,d"e\r\nf,g\r\n',
        'a,"b\r\nc,d\r\n',
        'a,"b" \r\n',
        'a, "b"\r\n',
        'a,"b\r\nc"d,e\r\n',
        'a,"b""\r\n',
        "a,b\nc,d\r\n",
        "a,b\rc,d\r\n",
        "a,b\n\r",
        'a,"b"\nc\r\n',
        '\r"\r\n"\n',
    ],
)
def test_what_is_no_table_is_refused(tmp_path, text):
    with pytest.raises(BadFile, match="no CSV table after RFC 4180"):
        _rows(tmp_path, text)


def test_a_quote_that_is_never_closed_does_not_fill_the_memory(tmp_path, monkeypatch):
    monkeypatch.setattr(lines, "LONGEST_ROW", 5000)
    with pytest.raises(BadFile, match="more than 5,000 characters"):
        _rows(tmp_path, 'a,"b\r\n' + "c,d\r\n" * 2000)


def test_the_first_bad_byte_is_named(tmp_path):
    with pytest.raises(BadFile, match=r"byte 20\)"):
        _rows(tmp_path, "ä,b\r\n".encode() * 3 + b"cc\xe9,d\r\n" + b"e,f\r\n" * 5000)


def test_what_is_there_twice_is_named_with_its_line_also_far_apart(good, tmp_path):
    name = "resultLearningObjectiveIds.csv"
    first, count = good[name].split("\r\n")[1], len(table(good[name]))
    found = checker.check(pack(tmp_path / "p.zip", {**good, name: f"{good[name]}{first}\r\n"}))
    id_ = first.partition(",")[0]
    assert f"{name} line {count + 2}: sourcedId {id_} is there twice." in found
    assert f"{name}: {id_} says again what another row says." in found


def test_memory_hardly_grows_with_the_package(good, tmp_path):
    """Twenty thousand more rows that nothing refers to: of each, two digests are kept."""
    name = "resultLearningObjectiveIds.csv"
    result = table(good["results.csv"])[0]["sourcedId"]
    more = "".join(f"x{n},,,{result},unknown,code{n},,\r\n" for n in range(20_000))
    peaks = []
    for files in (good, {**good, name: good[name] + more}):
        path = pack(tmp_path / "p.zip", files)
        tracemalloc.start()
        try:
            assert checker.check(path) == []
            peaks.append(tracemalloc.get_traced_memory()[1])
        finally:
            tracemalloc.stop()
    assert peaks[1] - peaks[0] < 2_500_000, peaks
