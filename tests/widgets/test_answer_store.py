"""Nothing that was typed is lost, and no file is written where none may be."""

import asyncio
import itertools
import json
import shutil
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta

import pytest

from grader import catalogue, clock, files, paths
from grader.bench import cases, session
from grader.errors import CannotWrite
from grader.exercise import issued, practice
from grader.exercise import sheet as sheets
from grader.widgets.answer_store import PRACTISED, Store
from tests.widgets.conftest import issue_of

ARC, TIME = "m01.mark_arc.arc", "m01.angle_time.time"


def raw(folder, path=ARC):
    return sheets.read(folder / "answers.json").answers[path].raw


@pytest.mark.parametrize("content", [b"", b"{", b'{"format": "timing-mark answers"', b"\xff\xfe\x00", b"[]"])
def test_damaged_sheet_is_set_aside_whole(practice_folder, module, content):
    (practice_folder / "answers.json").write_bytes(content)
    store = Store(module, practice_folder)
    assert store.problem
    assert (practice_folder / "answers.json").read_bytes() == content, "display alone touches nothing"
    store.put(ARC, "12", "mm")
    assert (practice_folder / "answers.json.damaged-1").read_bytes() == content
    assert raw(practice_folder) == "12"


def test_second_damage_does_not_overwrite_the_first(practice_folder, module):
    for number, content in enumerate((b"{first", b"{second"), start=1):
        (practice_folder / "answers.json").write_bytes(content)
        Store(module, practice_folder).put(ARC, str(number), "mm")
    assert (practice_folder / "answers.json.damaged-1").read_bytes() == b"{first"
    assert (practice_folder / "answers.json.damaged-2").read_bytes() == b"{second"


def test_backup_stands_in_for_a_damaged_sheet(practice_folder, module):
    store = Store(module, practice_folder)
    store.put(TIME, "3", "ms")
    store.put(ARC, "12", "mm")
    content = (practice_folder / "answers.json").read_bytes()
    (practice_folder / "answers.json").write_bytes(content[: len(content) // 2])
    again = Store(module, practice_folder)
    assert again.answers[TIME].raw == "3" and "last change" in again.problem
    again.put(ARC, "13", "mm")
    assert (raw(practice_folder), raw(practice_folder, TIME)) == ("13", "3")


@pytest.mark.parametrize(("who", "attempt"), [("t08", 1), ("t07", 2)])
def test_sheet_of_other_numbers_is_neither_shown_nor_overwritten(assessed_folder, module, who, attempt):
    theirs = sheets.Sheet("spring", module.key, who, attempt, {ARC: sheets.Answer("99", "mm")})
    sheets.write(assessed_folder / "answers.json", theirs)
    store = Store(module, assessed_folder)
    assert store.answers == {} and who in store.problem or str(attempt) in store.problem
    store.put(ARC, "12", "mm")
    assert sheets.read(assessed_folder / "answers.json.damaged-1") == theirs
    assert raw(assessed_folder) == "12"


def test_newer_file_is_kept_and_told(practice_folder, module):
    newer = {"format": sheets.FORMAT, "schema": 99, "term": "x"}
    files.write_text(practice_folder / "answers.json", files.to_json(newer))
    store = Store(module, practice_folder)
    assert "later version" in store.problem
    store.put(ARC, "1", "mm")
    assert json.loads((practice_folder / "answers.json.damaged-1").read_text()) == newer


def test_two_windows_on_one_folder_do_not_undo_each_other(practice_folder, module):
    one, two = Store(module, practice_folder), Store(module, practice_folder)
    heard = []
    two.listen(heard.append)
    one.put(ARC, "12", "mm")
    two.put(TIME, "3", "ms")
    assert (raw(practice_folder), raw(practice_folder, TIME)) == ("12", "3")
    assert heard == [ARC, TIME]
    one.put(ARC, "13", "mm")
    assert (raw(practice_folder), raw(practice_folder, TIME)) == ("13", "3")


@pytest.fixture
def ticking(monkeypatch):
    """A clock that goes on by a second each time it is asked, so that one answer is later than another."""
    seconds = itertools.count()
    begun = clock.parse("2026-03-02 10:00", "UTC")
    monkeypatch.setattr(clock, "now", lambda: begun + timedelta(seconds=next(seconds)))


def test_what_could_not_be_saved_stands_against_a_newer_window(ticking, practice_folder, module):
    """Two windows show one lesson. What was typed here and is on no disk is not thrown away for what the other wrote later."""
    one, two = Store(module, practice_folder), Store(module, practice_folder)
    one.put(ARC, "12", "mm")
    moved = practice_folder.rename(practice_folder.with_name("moved"))
    with pytest.raises(CannotWrite):
        one.put(ARC, "13", "mm")
    moved.rename(practice_folder)
    two.put(ARC, "44", "mm")
    assert raw(practice_folder) == "44" and one.unsaved == {ARC}
    one.put(TIME, "3", "ms")
    assert one.answers[ARC].raw == raw(practice_folder) == "13" and not one.unsaved


def test_of_two_windows_the_later_answer_stands(ticking, practice_folder, module):
    """What this window saved gives way to what the other window saved later, and not to what it saved before."""
    one, two = Store(module, practice_folder), Store(module, practice_folder)
    one.put(ARC, "12", "mm")
    two.put(ARC, "44", "mm")
    one.put(TIME, "3", "ms")
    assert one.answers[ARC].raw == raw(practice_folder) == "44"
    older = two.sheet.with_answer(ARC, two.answers[ARC].but(raw="1", at="2026-03-01T10:00:00.000Z"))
    sheets.write(practice_folder / "answers.json", older)
    one.put(TIME, "4", "ms")
    assert one.answers[ARC].raw == raw(practice_folder) == "44"
    same_moment = one.sheet.with_answer(ARC, one.answers[ARC].but(raw="1"))
    sheets.write(practice_folder / "answers.json", same_moment)
    one.put(TIME, "5", "ms")
    assert one.answers[ARC].raw == raw(practice_folder) == "44", "of one moment, what stands on this page"


def test_same_answer_again_writes_nothing(practice_folder, module):
    store = Store(module, practice_folder)
    store.put(ARC, "12", "mm")
    before = (practice_folder / "answers.json").read_bytes()
    store.put(ARC, "12", "mm")
    assert (practice_folder / "answers.json").read_bytes() == before


def test_entries_of_a_later_version_survive(practice_folder, module):
    store = Store(module, practice_folder)
    store.put(ARC, "12", "mm")
    content = json.loads((practice_folder / "answers.json").read_text())
    content["new"], content["answers"][ARC]["sure"] = {"a": 1}, "guess"
    files.write_text(practice_folder / "answers.json", files.to_json(content))
    Store(module, practice_folder).put(ARC, "13", "mm")
    after = json.loads((practice_folder / "answers.json").read_text())
    assert after["new"] == {"a": 1} and after["answers"][ARC]["sure"] == "guess"


@pytest.mark.parametrize("home", [paths.lessons, paths.solutions])
def test_project_folders_are_never_written(module, home):
    folder = home() / module.key
    store = Store(module, folder)
    store.put(ARC, "12", "mm")
    assert not store.place.may_save and "own copy" in store.why and ARC in store.unsaved
    assert not list(folder.glob("answers*"))


def test_bare_folder_is_never_written(tmp_path, module):
    store = Store(module, tmp_path)
    store.put(ARC, "12", "mm")
    assert list(tmp_path.iterdir()) == [] and "No numbers were issued" in store.why
    with pytest.raises(CannotWrite, match="No numbers were issued"):
        store.save()
    assert list(tmp_path.iterdir()) == []


def test_renamed_folder_is_told_and_no_new_one_made(practice_folder, module):
    store = Store(module, practice_folder)
    store.put(ARC, "12", "mm")
    moved = practice_folder.with_name("moved")
    practice_folder.rename(moved)
    with pytest.raises(CannotWrite, match="no longer where it was"):
        store.put(ARC, "13", "mm")
    assert not practice_folder.exists() and store.answers[ARC].raw == "13" and ARC in store.unsaved
    moved.rename(practice_folder)
    store.save()
    assert raw(practice_folder) == "13" and not store.unsaved


def test_open_notebook_follows_its_renamed_folder(practice_folder, module, monkeypatch):
    monkeypatch.chdir(practice_folder)
    store = Store(module)
    store.put(ARC, "12", "mm")
    moved = practice_folder.with_name("moved")
    practice_folder.rename(moved)
    store.put(ARC, "13", "mm")
    assert raw(moved) == "13" and store.place.folder == moved and not store.unsaved


def test_folder_of_somebody_else_in_its_place_is_not_taken(assessed_folder, module):
    store = Store(module, assessed_folder)
    (assessed_folder / issued.NAME).write_bytes(issued.dump(issue_of(module, trainee="t08")))
    with pytest.raises(CannotWrite):
        store.put(ARC, "12", "mm")
    assert not (assessed_folder / "answers.json").exists()


def test_what_could_not_be_saved_outlives_a_reload_of_the_page(practice_folder, module, opened):
    page = opened(practice_folder)
    moved = practice_folder.with_name("moved")
    practice_folder.rename(moved)
    page.part("mark_arc.arc").field.value = "13"
    assert "Not saved" in page.part("mark_arc.arc").echo.value
    shutil.copytree(moved, practice_folder)
    again = opened(practice_folder)
    assert again.part("mark_arc.arc").field.value == "13"
    again.part("angle_time.time").field.value = "3"
    assert raw(practice_folder) == "13"


def test_unsaved_answers_are_tried_again_by_the_kernel(practice_folder, module, monkeypatch):
    monkeypatch.setattr("grader.widgets.answer_store.RETRY_S", 0.02)

    async def work():
        store = Store(module, practice_folder)
        moved = practice_folder.with_name("moved")
        practice_folder.rename(moved)
        with pytest.raises(CannotWrite):
            store.put(ARC, "13", "mm")
        await asyncio.sleep(0.06)
        assert store.unsaved
        moved.rename(practice_folder)
        for _ in range(100):
            await asyncio.sleep(0.02)
            if not store.unsaved:
                break
        return store

    with ThreadPoolExecutor(1) as pool:  # the browser tests leave a loop running in this thread
        store = pool.submit(asyncio.run, work()).result()
    assert not store.unsaved and raw(practice_folder) == "13"


def test_answers_to_earlier_draws_are_never_taken_for_new_ones(practice_folder, module, monkeypatch):
    """Power fails between the new numbers and the emptied sheet."""
    store = Store(module, practice_folder)
    store.put(ARC, "12", "mm")
    store.put(TIME, "3", "ms")
    assert store.marker is not None
    marker = practice.with_fresh_numbers(module, store.marker, "m01.mark_arc")
    practice.write(practice_folder / practice.NAME, marker)
    again = Store(module, practice_folder)
    assert ARC not in again.answers and again.answers[TIME].raw == "3"


def test_practice_numbers_come_from_installation_and_counter(module, practice_folder, tmp_path):
    one = Store(module, practice_folder).issue.numbers
    assert Store(module, practice_folder).issue.numbers == one
    other = tmp_path / "other"
    practice.write(other / practice.NAME, practice.new("Ana"))
    assert Store(module, other).issue.numbers != one


@pytest.mark.parametrize(
    "change", [{"counter": 0}, {"counter": "2"}, {"installation": ""}, {"name": 3}, {"drawn": {"a": 0}}, {"schema": 2}]
)
def test_bad_practice_file_is_refused_in_a_sentence(practice_folder, change):
    from grader.errors import BadFile

    path = practice_folder / practice.NAME
    files.write_text(path, files.to_json({**json.loads(path.read_text()), **change}))
    with pytest.raises(BadFile) as problem:
        practice.read(path)
    assert str(problem.value).endswith(".")


def test_practice_file_without_draws_is_read(tmp_path, module):
    path = tmp_path / practice.NAME
    files.write_text(path, files.to_json({"format": practice.FORMAT, "schema": 1, "name": "", "installation": "ab",
                                          "counter": 3, "later": [1]}))  # fmt: skip
    marker = practice.read(path)
    assert marker.draw_of("m01.mark_arc") == 3
    fresh = practice.with_fresh_numbers(module, marker, "m01.total")
    assert (fresh.counter, fresh.draw_of("m01.centrifugal"), fresh.draw_of("m01.mark_arc")) == (4, 4, 3)
    practice.write(path, fresh)
    assert practice.read(path) == fresh and json.loads(path.read_text())["later"] == [1]


def test_fresh_numbers_of_another_window_are_taken_over(practice_folder, module):
    one, two = Store(module, practice_folder), Store(module, practice_folder)
    one.put(ARC, "12", "mm")
    one.fresh("m01.mark_arc")
    one.put(ARC, "44", "mm")
    two.put(TIME, "3", "ms")
    assert two.issue.numbers == one.issue.numbers
    assert (raw(practice_folder), raw(practice_folder, TIME)) == ("44", "3")


def test_fresh_cars_are_of_the_family_that_is_due(practice_folder):
    """What was never worked comes first, then what went worst; what was worked last does not come twice running."""
    bench = catalogue.module("m06_diagnosis")
    key, path = "m06.third", "m06.third.car"
    store = Store(bench, practice_folder)

    def family():
        return cases.from_plain(store.issue.numbers[key]).family

    dealt = [family()]
    for _ in range(2):
        store.put(path, session.EMPTY)
        store.fresh(key)
        dealt.append(family())
    assert store.marker is not None
    assert len(set(dealt)) == 3, "every family of this car, before one comes again"
    assert [entry[0] for entry in store.marker.rest[PRACTISED]] == dealt[:2]
    today = clock.now().timestamp() / 86_400
    worst, best = dealt[0], dealt[1]
    done = [[family, today - 10, 0.9] for family in dealt] + [[best, today - 9, 0.95], [worst, today - 8, 0.1]]
    rest = {**store.marker.rest, PRACTISED: [*done, [dealt[2], today - 7, 0.9], "not an entry"]}
    practice.write(practice_folder / practice.NAME, replace(store.marker, rest=rest))
    store.reload()
    store.fresh(key)
    assert family() == worst
    assert Store(bench, practice_folder).issue.numbers == store.issue.numbers
