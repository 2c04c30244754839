"""Hand-ins as they really arrive: folders, archives, attachments; and tricks, each refused with a sentence."""

import io
import json
import os
import stat
import zipfile
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import select

from grader import clock
from grader.course.grading import mark_class
from grader.course.submissions import archives, collect, incoming
from grader.errors import BadFile
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.records import database, schema
from grader.records.gradebook import exchange
from tests.work import issue_of, put_in_inbox, right_sheet, sheet_of

MODULE = "m01_timing"


def zipped(entries, method=zipfile.ZIP_DEFLATED):
    """An archive of (name or ZipInfo, content) pairs."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", method) as archive:
        for name, content in entries:
            archive.writestr(name, content)
    return packed.getvalue()


def put(term, name, content):
    path = term.folder / "inbox" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return path


def taken(term):
    """(trainee, usable, received) of every hand-in in the records."""
    with database.transaction(term) as connection:
        rows = connection.execute(select(schema.hand_in).order_by(schema.hand_in.c.id)).all()
    return [(row.trainee, row.usable, row.received_at) for row in rows]


def answers(term, trainee="t01"):
    return sheets.dump(right_sheet(issue_of(term, trainee)))


class TestForms:
    @pytest.mark.parametrize(
        ("name", "wrap"),
        [
            ("t01/answers.json", lambda a: a),
            ("ATT00017.bin", lambda a: a),
            ("noname", lambda a: a),
            ("answers (1).json", lambda a: a),
            ("answers.json.txt", lambda a: b"\xef\xbb\xbf" + a),
            ("Bea A_48213_file/work.zip", lambda a: zipped([("answers.json", a)])),
            ("download.dat", lambda a: zipped([("x/y/z/answers.json", a), ("x/y/z/photo.png", b"\x89PNG")])),
            ("nested.zip", lambda a: zipped([("inner.zip", zipped([("answers.json", a)]))])),
            (
                "other_system.zip",
                lambda a: zipped([("m01_timing\\answers.json", a), ("m01_timing\\Übung.ipynb", b"{}")]),
            ),
            ("mac.zip", lambda a: zipped([("answers.json", a), ("__MACOSX/._answers.json", b"\0\5\26\7")])),
            ("stored.zip", lambda a: zipped([("answers.json", a)], zipfile.ZIP_STORED)),
            ("lzma.zip", lambda a: zipped([("answers.json", a)], zipfile.ZIP_LZMA)),
            ("renamed.zip", lambda a: zipped([("meine Antworten", a)])),
        ],
        ids=lambda value: value if isinstance(value, str) else "",
    )
    def test_known_by_what_is_in_them(self, assigned_term, name, wrap):
        put(assigned_term, name, wrap(answers(assigned_term)))
        done = collect.collect(assigned_term)
        assert (done.taken, done.findings) == (1, [])
        assert [row[:2] for row in taken(assigned_term)] == [("t01", True)]

    def test_names_in_both_encodings(self):
        """A name in UTF-8 without the flag, as some systems write it, and one in code page 437."""
        content = zipped([("Übung/a.json", b"{}")])
        unflagged = content.replace("Übung".encode(), b"\x9abung", 2)  # cp437, same meaning
        assert archives.members(content)[0].parts == ("Übung", "a.json")
        info = zipfile.ZipInfo("\u251c\u00a3bung.json")  # "Übung" in UTF-8, read as code page 437
        info.flag_bits = 0
        assert archives._name(info) == "Übung.json"
        assert unflagged != content

    def test_a_whole_class_in_one_archive(self, assigned_term):
        """Downloads from a college's platform hold everybody's archives, each under a name of its own."""
        everybody = [(f"{t} name_{n}_x/{MODULE}.zip", zipped([("answers.json", answers(assigned_term, t))])) for n, t in enumerate(("t01", "t02", "t03"))]  # fmt: skip
        put(assigned_term, "class.zip", zipped(everybody))
        assert collect.collect(assigned_term).taken == 3

    def test_one_spoilt_archive_in_a_class_archive_stops_nobody(self, assigned_term):
        put(assigned_term, "class.zip", zipped([("t01/a.zip", b"PK\x03\x04spoilt"), ("t02/a.zip", zipped([("answers.json", answers(assigned_term, "t02"))]))]))  # fmt: skip
        done = collect.collect(assigned_term)
        assert done.taken == 1 and "class.zip/t01/a.zip: The hand-in is no readable zip" in done.findings[0]

    def test_many_attachments_in_one_folder(self, assigned_term):
        """Issues of numbers and receipts lie mixed with answers, all under random names."""
        for number, trainee in enumerate(("t01", "t02", "t03")):
            record = issue_of(assigned_term, trainee)
            content = answers(assigned_term, trainee)
            put(assigned_term, f"ATT{number}.dat", content)
            put(assigned_term, f"ATT{number}b.dat", issued.dump(record))
            put(assigned_term, f"ATT{number}c.dat", receipt(content, trainee))
        put(assigned_term, "photo.jpg", b"\xff\xd8\xff")
        put(assigned_term, "lesson.ipynb", b'{"cells": [], "nbformat": 4}')
        done = collect.collect(assigned_term)
        assert (done.taken, done.findings) == (3, [])
        assert sorted(note.partition(" ")[0] for note in done.notes if note.startswith("inbox/")) == [
            "inbox/lesson.ipynb", "inbox/photo.jpg",
        ]  # fmt: skip
        left = [path.name for path in (assigned_term.folder / "inbox").iterdir() if path.is_file()]
        assert sorted(left) == ["lesson.ipynb", "photo.jpg"], "it may be all that somebody else sent"

    def test_the_backup_beside_a_sheet_is_not_a_second_hand_in(self, assigned_term):
        put(assigned_term, "t01/answers.json", answers(assigned_term))
        put(assigned_term, "t01/answers.json.bak", sheets.dump(sheet_of(issue_of(assigned_term, "t01"), {})))
        assert collect.collect(assigned_term).taken == 1
        put(assigned_term, "t02/answers.json.bak", answers(assigned_term, "t02"))
        assert collect.collect(assigned_term).taken == 1

    def test_of_two_that_came_together_the_later_saved_counts(self, assigned_term):
        record = issue_of(assigned_term, "t01")
        early = sheet_of(record, {}).but(saved="2026-03-01T10:00:00Z")
        late = right_sheet(record).but(saved="2026-03-01T11:00:00Z")
        put(assigned_term, "t01/z.json", sheets.dump(early))
        put(assigned_term, "t01/a.json", sheets.dump(late))
        collect.collect(assigned_term, received_at=clock.parse("2026-03-20", "UTC"))
        mark_class.mark(assigned_term, MODULE)
        with database.transaction(assigned_term) as connection:
            assert connection.execute(select(schema.mark.c.mark)).scalar_one() == 2800


class TestSubmitted:
    def submit(self, term, stamp, trainee="t01"):
        folder = term.folder / "submitted" / trainee / MODULE
        folder.mkdir(parents=True)
        (folder / "answers.json").write_bytes(answers(term, trainee))
        (folder / f"{MODULE}.ipynb").write_text("{}")
        if stamp is not None:
            (folder / "timestamp.txt").write_text(stamp)

    @pytest.mark.parametrize(
        ("stamp", "utc"),
        [
            ("2026-03-30 11:00:00 UTC", "2026-03-30T11:00:00.000Z"),
            ("2026-03-30 11:00:00.948203 UTC\n", "2026-03-30T11:00:00.000Z"),
            ("2026-03-30 11:00:00", "2026-03-30T11:00:00.000Z"),
            ("2026-03-30 13:00:00 +0200", "2026-03-30T11:00:00.000Z"),
            ("2026-03-30 13:00:00 Europe/Berlin", "2026-03-30T11:00:00.000Z"),
        ],
    )
    def test_the_exchange_stamp_is_the_time(self, assigned_term, stamp, utc):
        """jupyter/nbgrader 1932, 1834: a stamp is UTC or says its zone; "+0200" is no 200 seconds."""
        self.submit(assigned_term, stamp)
        done = collect.collect(assigned_term, received_at=clock.parse("2026-04-20", "UTC"))
        assert (done.taken, done.findings, taken(assigned_term)) == (1, [], [("t01", True, utc)])

    @pytest.mark.parametrize("stamp", ["01/03/2026 10:00", "2026-03-30 11:00:00 CEST", "yesterday", "2999-01-01 00:00:00 UTC", ""])  # fmt: skip
    def test_a_doubtful_stamp_is_not_used(self, assigned_term, stamp):
        self.submit(assigned_term, stamp)
        done = collect.collect(assigned_term, received_at=clock.parse("2026-03-20 12:00", "UTC"))
        assert taken(assigned_term)[0][2] == "2026-03-20T12:00:00.000Z"
        assert any("timestamp.txt was not used" in note for note in done.notes)

    def test_a_stamp_in_a_trainees_own_files_is_only_a_claim(self, assigned_term):
        put(assigned_term, "t01/x/answers.json", answers(assigned_term))
        put(assigned_term, "t01/x/timestamp.txt", b"2001-01-01 00:00:00 UTC")
        collect.collect(assigned_term)
        assert abs(clock.now() - clock.from_text(taken(assigned_term)[0][2])) < timedelta(minutes=5)


def receipt(content, trainee):
    import hashlib

    said = {
        "format": "timing-mark receipt",
        "trainee": trainee,
        "module": MODULE,
        "sha256": hashlib.sha256(content).hexdigest(),
    }
    return json.dumps(said).encode()


class TestCompany:
    def collect_zip(self, term, *entries):
        put(term, "t01/work.zip", zipped([("answers.json", answers(term)), *entries]))
        done = collect.collect(term)
        assert done.taken == 1  # whatever lies beside them, the answers count
        return done.findings

    def test_an_issue_that_fits(self, assigned_term):
        assert self.collect_zip(assigned_term, ("issued.json", issued.dump(issue_of(assigned_term, "t01")))) == []

    def test_other_numbers(self, assigned_term):
        """A trainee who swaps in an easy colleague's numbers is marked by his own."""
        record = issue_of(assigned_term, "t01")
        forged = replace(record, exercises=issue_of(assigned_term, "t02").exercises)
        said = self.collect_zip(assigned_term, ("issued.json", issued.dump(forged)))
        assert len(said) == 1 and "other numbers than were issued" in said[0]
        mark_class.mark(assigned_term, MODULE)
        with database.transaction(assigned_term) as connection:
            assert connection.execute(select(schema.mark.c.raw)).scalar_one() == 2800

    @pytest.mark.parametrize("change", [{"token": "0" * 64}, {"due": "2027-01-01T00:00:00.000Z"}, {"mode": "practice"}])
    def test_a_changed_issue(self, assigned_term, change):
        said = self.collect_zip(assigned_term, ("issued.json", issued.dump(replace(issue_of(assigned_term, "t01"), **change))))  # fmt: skip
        assert len(said) == 1 and "token does not fit" in said[0]

    def test_a_damaged_issue(self, assigned_term):
        assert "own record of numbers counts" in self.collect_zip(assigned_term, ("issued.json", b'{"format"'))[0]

    def test_receipts(self, assigned_term):
        content = answers(assigned_term)
        assert self.collect_zip(assigned_term, ("receipt.json", receipt(content, "t01"))) == []

    @pytest.mark.parametrize("shape", [lambda d: {"sha256": d}, lambda d: {"format": "a receipt", "files": [{"name": "answers.json", "sha256": d}]}, lambda d: {"format": "a receipt", "answers_sha256": d[:12]}])  # fmt: skip
    def test_receipts_of_any_shape_for_other_answers(self, assigned_term, shape):
        said = self.collect_zip(assigned_term, ("receipt.json", json.dumps(shape("ab" * 32)).encode()))
        assert len(said) == 1 and "receipt beside it was given for other answers" in said[0]


def linked(name):
    info = zipfile.ZipInfo(name)
    info.create_system, info.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
    return info


def device(name):
    info = zipfile.ZipInfo(name)
    info.create_system, info.external_attr = 3, (stat.S_IFCHR | 0o666) << 16
    return info


TRICKS = {
    "parent": ([("../answers.json", b"{}")], "leads out of it"),
    "parent, other slash": ([("..\\..\\answers.json", b"{}")], "leads out of it"),
    "absolute": ([("/etc/answers.json", b"{}")], "leads out of it"),
    "drive": ([("C:\\answers.json", b"{}")], "leads out of it"),
    "link": ([(linked("answers.json"), b"/etc/passwd")], "holds a link"),
    "device": ([(device("answers.json"), b"")], "a device or pipe"),
    "twice in capitals": ([("answers.json", b"{}"), ("ANSWERS.json", b"{}")], "twice"),
    "no answers": ([("notes.txt", b"hello")], "no answers.json"),
    "empty": ([], "no answers.json"),
}


class TestTricks:
    @pytest.mark.parametrize("name", TRICKS)
    def test_refused_with_a_sentence_and_kept(self, assigned_term, name):
        entries, said = TRICKS[name]
        content = zipped(entries)
        path = put(assigned_term, f"t01/{MODULE}.zip", content)
        put(assigned_term, "t02/answers.json", answers(assigned_term, "t02"))
        done = collect.collect(assigned_term)
        assert len(done.findings) == 1 and said in done.findings[0] and "\n" not in done.findings[0]
        assert taken(assigned_term)[0][:2] == ("t01", False) and taken(assigned_term)[1][:2] == ("t02", True)
        assert path.read_bytes() == content
        assert not (assigned_term.folder.parent / "answers.json").exists()

    @pytest.mark.filterwarnings("ignore:Duplicate name")
    def test_one_member_twice(self, assigned_term):
        put(
            assigned_term,
            f"t01/{MODULE}.zip",
            zipped([("answers.json", b"{}"), ("answers.json", answers(assigned_term))]),
        )
        assert "twice" in collect.collect(assigned_term).findings[0]

    def test_archives_that_unpack_without_end(self, monkeypatch):
        bomb = zipped([(f"{n}.json", b" " * 1_000_000) for n in range(30)])
        assert len(bomb) < 100_000
        monkeypatch.setattr(archives, "MOST_UNPACKED", 10_000_000)
        with pytest.raises(BadFile, match="unpacks to more than 10,000,000"):
            archives.members(bomb)
        with pytest.raises(BadFile, match="unpacks to more"):
            archives.members(zipped([("inner.zip", bomb)]))
        monkeypatch.setattr(archives, "MOST_MEMBERS", 20)
        with pytest.raises(BadFile, match="more than 20 files"):
            archives.members(bomb)

    def test_archives_in_archives_in_archives(self):
        content = zipped([("answers.json", b"{}")])
        for _ in range(6):
            content = zipped([("a.zip", content)])
        assert "archives more than 3 deep" in archives.members(content)[0].problem

    def test_a_password(self, assigned_term):
        content = bytearray(zipped([("answers.json", b"{}")]))
        for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
            content[content.index(mark) + offset] |= 1
        with pytest.raises(BadFile, match="password"):
            archives.members(bytes(content))

    def test_an_archive_with_a_spoilt_middle(self):
        content = bytearray(zipped([("answers.json", os.urandom(500))]))
        content[80] ^= 0xFF
        with pytest.raises(BadFile, match="no readable zip"):
            archives.members(bytes(content))

    @pytest.mark.parametrize("magic", archives._OTHER_PACKERS)
    def test_other_packers(self, assigned_term, magic):
        put(assigned_term, "t01/work.bin", magic + b"rest")
        assert "is packed as" in collect.collect(assigned_term).findings[0]

    def test_links_pipes_and_folders_in_the_place_of_files(self, assigned_term, tmp_path):
        secret = tmp_path / "secret"
        secret.mkdir()
        (secret / "answers.json").write_bytes(answers(assigned_term))
        inbox = assigned_term.folder / "inbox"
        (inbox / "folder_link").symlink_to(secret)
        (inbox / "file_link.json").symlink_to(secret / "answers.json")
        (inbox / "dangling.zip").symlink_to(tmp_path / "nothing")
        os.mkfifo(inbox / "pipe.json")
        (inbox / "t01" / "answers.json").mkdir(parents=True)
        with (inbox / "large.zip").open("wb") as stream:
            stream.truncate(5_000_000_000)
        done = collect.collect(assigned_term)
        said = "\n".join(done.findings)
        assert done.taken == 0 and taken(assigned_term) == [] and len(done.findings) == 6
        for words in ("folder_link: It is a link to another folder", "file_link.json: It is a link", "dangling.zip: It is a link",
                      "pipe.json: It is no ordinary file", "answers.json: The answer sheet is a folder",
                      "large.zip: The hand-in has 5,000,000,000 bytes"):  # fmt: skip
            assert words in said, words

    def test_names_that_no_screen_can_show(self, assigned_term):
        folder = os.fsencode(assigned_term.folder / "inbox" / "t01")
        os.makedirs(folder)
        with open(folder + b"/bad\xff\nname.json", "wb") as stream:
            stream.write(answers(assigned_term))
        with open(folder + b"/worse\xfe\n.json", "wb") as stream:
            stream.write(b"{")
        done = collect.collect(assigned_term)
        assert done.taken == 1 and len(done.findings) == 1
        done.findings[0].encode()
        assert "\n" not in done.findings[0]


class TestSpoiltSheets:
    def test_whose_it_is_can_still_be_read(self, assigned_term):
        """Cut short under a random name: its first lines say whose it is, so it is kept and shows as handed in."""
        put(assigned_term, "ATT1.dat", answers(assigned_term)[:300])
        done = collect.collect(assigned_term)
        assert done.taken == 1 and taken(assigned_term)[0][:2] == ("t01", False)

    def test_whose_it_is_stands_in_the_issue_beside_it(self, assigned_term):
        put(assigned_term, "x.zip", zipped([("answers.json", b""), ("issued.json", issued.dump(issue_of(assigned_term, "t03")))]))  # fmt: skip
        collect.collect(assigned_term)
        assert taken(assigned_term)[0][:2] == ("t03", False)

    def test_practice_work(self, assigned_term):
        put(assigned_term, "a.json", sheets.dump(right_sheet(issue_of(assigned_term, "t01")).but(term="practice")))
        assert "practice work" in collect.collect(assigned_term).findings[0]


@pytest.mark.parametrize("text", ["2026-03-30 11:00:00 UTC", "2026-07-30T11:00:00Z"])
def test_stamps(text):
    assert exchange.read_stamp(text).hour == 11


def test_a_file_that_went_while_its_folder_was_read(tmp_path):
    """Another program may take a file out of the inbox at any moment: one finding, and the others are collected."""
    ((gone,),) = incoming.find(tmp_path / "gone.zip", [])
    assert gone.content is None and gone.problem == "It cannot be read: No such file or directory."


def test_a_folder_that_may_not_be_read_is_named(assigned_term, monkeypatch):
    """Work in a folder that is closed to the instructor is not passed over in silence."""
    put(assigned_term, "open/answers.json", answers(assigned_term))
    put(assigned_term, "shut/answers.json", answers(assigned_term, "t02"))
    look = os.scandir

    def closed(folder):
        if str(folder).endswith("shut"):
            raise PermissionError(13, "Permission denied", str(folder))
        return look(folder)

    monkeypatch.setattr(os, "scandir", closed)
    done = collect.collect(assigned_term)
    assert done.taken == 1
    assert done.findings == [
        "inbox/shut: The folder cannot be read: Permission denied. Allow reading, then collect again."
    ]


def test_a_sheet_in_the_folder_of_another_is_taken_for_neither(assigned_term):
    """Somebody's file under somebody else's name is asked about; nobody gets marks by it."""
    put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")), folder="t02")
    done = collect.collect(assigned_term)
    assert done.taken == 0 and "It lies in the folder of t02 and says it is by t01. Ask both" in done.findings[0]
    with database.transaction(assigned_term) as connection:
        assert connection.execute(select(schema.hand_in)).all() == []
