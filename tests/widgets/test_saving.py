"""Saving: two windows lose nothing of each other, a slow disk stops no key, and a key reads no file that stayed."""

import asyncio
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from grader import files
from grader.exercise import sheet as sheets
from grader.marking.mark import Marking
from grader.widgets.answer_store import LOCK, VERSION, Store

ARC, TIME = "m01.mark_arc.arc", "m01.angle_time.time"
ONE = """
import sys
from grader import catalogue
from grader.widgets.answer_store import Store
folder, word, rounds = sys.argv[1], sys.argv[2], int(sys.argv[3])
module = catalogue.module("m01_timing")
mine = [path for place, (_, _, path) in enumerate(module.parts()) if place % 2 == (word == "b")][:5]
store = Store(module, folder)
print("ready", flush=True)
sys.stdin.readline()
for number in range(rounds):
    for path in mine:
        store.put(path, f"{word}{number}")
print(*mine)
"""


def on_disk(folder):
    return sheets.read(folder / sheets.NAME)


def in_a_kernel(work):
    """Run a coroutine on an event loop of its own, as a kernel's callbacks run on one."""
    with ThreadPoolExecutor(1) as pool:  # the browser tests leave a loop running in this thread
        return pool.submit(asyncio.run, work()).result()


def test_two_windows_at_the_same_instant_lose_nothing(practice_folder):
    """Two kernels, as a browser without a lock of its own lets them be: a hundred answers, all there."""
    windows = [
        subprocess.Popen([sys.executable, "-c", ONE, str(practice_folder), word, "10"], stdin=subprocess.PIPE,
                         stdout=subprocess.PIPE, text=True)
        for word in "ab"
    ]  # fmt: skip
    for window in windows:
        assert window.stdout.readline() == "ready\n"
    for window in windows:
        window.stdin.write("go\n")
        window.stdin.flush()
    paths = [window.communicate()[0].split() for window in windows]
    assert [window.returncode for window in windows] == [0, 0]
    sheet = on_disk(practice_folder)
    for word, mine in zip("ab", paths, strict=True):
        assert {path: sheet.answers[path].raw for path in mine} == dict.fromkeys(mine, f"{word}9")
    assert sheet.rest[VERSION] == 100, "each save went on from the one before it"


def test_who_is_overruled_is_told_and_the_later_answer_counts(practice_folder, module, opened):
    page = opened(practice_folder)
    part = page.part("mark_arc.arc")
    part.field.value = "12"
    Store(module, practice_folder).put(ARC, "13", "mm")
    page.part("angle_time.time").field.value = "3"
    assert part.field.value == "13" and on_disk(practice_folder).answers[ARC].raw == "13"
    assert "Another window changed this answer from “12 mm” to “13 mm”, and that one counts." in part.echo.value
    part.field.value = "12"
    assert "Another window" not in part.echo.value and on_disk(practice_folder).answers[ARC].raw == "12"


def test_an_answer_typed_while_another_window_saved_the_same_part_is_joined_by_time(practice_folder, module):
    one, two = Store(module, practice_folder), Store(module, practice_folder)
    one.put(ARC, "12", "mm")
    one.count_try(ARC)
    two.put(ARC, "13", "mm")  # has not seen the first, and comes later
    assert on_disk(practice_folder).answers[ARC].raw == "13" and on_disk(practice_folder).answers[ARC].tries == 1
    assert one.told == {} and two.told == {}
    one.put(TIME, "3", "ms")
    assert "from “12 mm” to “13 mm”" in one.told[ARC] and one.answers[ARC].raw == "13"


def test_what_one_window_did_not_touch_never_undoes_the_other(practice_folder, module):
    one, two = Store(module, practice_folder), Store(module, practice_folder)
    one.put(ARC, "12", "mm")
    two.put(TIME, "3", "ms")
    two.put(ARC, "", "mm")  # emptied, on purpose
    one.put(TIME, "4", "ms")
    assert {path: answer.raw for path, answer in on_disk(practice_folder).answers.items()} == {ARC: "", TIME: "4"}


def test_a_slow_disk_never_stops_the_typing(practice_folder, module, monkeypatch):
    """The disk takes its time over the first write; meanwhile a whole answer is typed, and only its end is written."""
    disk, writes, write = threading.Event(), [], sheets.write

    def slow(path, sheet):
        writes.append({path: answer.raw for path, answer in sheet.answers.items()})
        assert disk.wait(60)
        write(path, sheet)

    monkeypatch.setattr(sheets, "write", slow)

    async def work():
        store = Store(module, practice_folder, behind=True)
        heard = []
        store.listen(heard.append)
        for end in range(1, 11):
            store.put(ARC, "1234567890"[:end], "mm")
            await asyncio.sleep(0)
        assert store.saving == {ARC} and not store.unsaved and not (practice_folder / sheets.NAME).exists()
        store.put(TIME, "3", "ms")
        disk.set()
        while store.saving:
            await asyncio.sleep(0.005)
        assert store.unsaved == set() and heard[-1] == ""
        store.close()

    in_a_kernel(work)
    assert {path: answer.raw for path, answer in on_disk(practice_folder).answers.items()} == {
        ARC: "1234567890", TIME: "3",
    }  # fmt: skip
    assert [len(written[ARC]) for written in writes] == [1, 10], "while it was busy the newest waited"


def test_until_the_disk_has_it_the_form_says_saving(practice_folder, monkeypatch, opened):
    disk, write = threading.Event(), sheets.write

    def slow(path, sheet):
        assert disk.wait(60)
        write(path, sheet)

    monkeypatch.setattr("grader.widgets.lesson._in_kernel", lambda: True)
    monkeypatch.setattr(sheets, "write", slow)

    async def work():
        page = opened(practice_folder)
        part = page.part("mark_arc.arc")
        part.field.value = "12"
        assert part.echo.value.endswith("Saving …") and 'data-saved="waits"' in part.beacon.value
        assert f"Saved as you type in {practice_folder / sheets.NAME}." in page.head.who.value
        disk.set()
        while page.store.saving:
            await asyncio.sleep(0.005)
        assert part.echo.value.endswith("Saved.") and 'data-saved="yes"' in part.beacon.value
        page.store.close()

    in_a_kernel(work)


def test_a_disk_that_refuses_behind_the_typing_is_told_and_tried_again(practice_folder, module, monkeypatch):
    from grader.errors import CannotWrite

    monkeypatch.setattr("grader.widgets.answer_store.RETRY_S", 0.02)
    write, full = sheets.write, [True]

    def perhaps(path, sheet):
        if full[0]:
            raise CannotWrite("no space left.")
        write(path, sheet)

    monkeypatch.setattr(sheets, "write", perhaps)

    async def work():
        store = Store(module, practice_folder, behind=True)
        store.put(ARC, "12", "mm")
        while not store.unsaved:
            await asyncio.sleep(0.005)
        assert store.why == "no space left."
        full[0] = False
        while store.unsaved or store.saving:
            await asyncio.sleep(0.005)
        store.close()

    in_a_kernel(work)
    assert on_disk(practice_folder).answers[ARC].raw == "12"


def test_what_is_on_its_way_when_the_page_opens_anew_is_there(practice_folder, module):
    async def work():
        store = Store(module, practice_folder, behind=True)
        store.put(ARC, "1", "mm")
        store.put(ARC, "12", "mm")
        store.close()
        assert Store(module, practice_folder).answers[ARC].raw == "12"

    in_a_kernel(work)


def test_a_window_that_waits_too_long_for_another_is_told(practice_folder, module, monkeypatch):
    from filelock import FileLock

    from grader.errors import CannotWrite

    monkeypatch.setattr("grader.widgets.answer_store.LOCK_S", 0.05)
    store = Store(module, practice_folder)
    held = threading.Event()

    def hold(released):
        with FileLock(practice_folder / LOCK):
            held.set()
            released.wait(60)

    released = threading.Event()
    with ThreadPoolExecutor(1) as pool:
        pool.submit(hold, released)
        held.wait(60)
        with pytest.raises(CannotWrite, match="Another window has been saving"):
            store.put(ARC, "12", "mm")
        released.set()
    assert ARC in store.unsaved
    store.save()
    assert on_disk(practice_folder).answers[ARC].raw == "12"


@pytest.fixture
def reads(monkeypatch):
    """Names of the files that are read, one after the other."""
    names, reading = [], files.reading

    def noted(path, **options):
        names.append(path.name)
        return reading(path, **options)

    monkeypatch.setattr(files, "reading", noted)
    return names


def test_a_key_reads_no_file_that_did_not_change(practice_folder, opened, reads):
    page = opened(practice_folder)
    page.part("mark_arc.arc").field.value = "1"
    reads.clear()
    page.type("mark_arc.arc", "123")
    page.type("angle_time.time", "4")
    assert reads == []


def test_nor_after_a_hand_in(assessed_folder, opened, reads):
    page = opened(assessed_folder)
    page.part("mark_arc.arc").field.value = "1"
    page.head.hand_in.click()
    page.type("mark_arc.arc", "12")
    reads.clear()
    page.type("angle_time.time", "345")
    assert set(reads) <= {sheets.NAME}, "the receipt is held against the sheet that was just written"
    assert len(reads) <= 3 and "hand in again" in page.head.who.value


@pytest.fixture
def marked(monkeypatch):
    """Keys of the exercises that are marked, one after the other."""
    keys, mark = [], Marking._mark

    def noted(self, step, *rest):
        keys.append(step.exercise.key)
        return mark(self, step, *rest)

    monkeypatch.setattr(Marking, "_mark", noted)
    return keys


def test_a_check_marks_the_one_exercise_once(practice_folder, opened, marked):
    page = opened(practice_folder)
    assert marked == []
    page.check("mark_arc.arc", "12")
    assert marked == ["m01.mark_arc"]
    page.check("angle_time.time", "3")
    page.part("mark_arc.arc").check.click()
    assert marked == ["m01.mark_arc", "m01.angle_time"]


def test_a_lesson_opened_again_marks_each_exercise_once_at_most(practice_folder, opened, marked):
    page = opened(practice_folder)
    for exercise, part, path in page.lesson.module.parts():
        given = page.truth.given(exercise.key)
        page.form(exercise.name).parts[part.key].entry.follow(part.typed(page.truth.answer(path), given), "")
        page.form(exercise.name).parts[part.key].check.click()
    marked.clear()
    opened(practice_folder)
    assert marked and len(marked) == len(set(marked))
