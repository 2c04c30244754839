"""What a trainee sees while typing and checking."""

import json
import re
from dataclasses import replace
from html import unescape
from urllib.parse import unquote

import pytest

from grader.errors import CannotWrite
from grader.exercise import issued, practice
from grader.marking.feedback import shown
from tests.widgets.conftest import issue_of


def saved(folder):
    return json.loads((folder / "answers.json").read_text(encoding="utf-8"))["answers"]


def test_echo_says_what_is_read_while_typing(practice_folder, opened):
    page = opened(practice_folder)
    part = page.part("mark_arc.arc")
    for text, echo in (
        ("12,5", "Read as <strong>12.5 mm</strong>. Saved."),
        ("12.50", "Read as <strong>12.50 mm</strong>. Saved."),
        ("1,250", "Read as <strong>1.250 mm</strong>. Saved."),
        ("0.5 in", "in is typed and mm is chosen"),
        ("3/4", "Read as <strong>3/4 mm</strong>. Saved."),
        ("9 mm", "Read as <strong>9 mm</strong>. Saved."),
        ("9 to 10", "A range is written"),
        ("twelve", "does not begin with a number"),
        ("1_000", "underscore"),
        ("", ""),
    ):
        part.field.value = text
        assert (echo in part.echo.value) if echo else part.echo.value == ""


def test_unit_chosen_beside_the_field_counts(practice_folder, opened):
    part = opened(practice_folder).part("mark_arc.arc")
    part.field.value = "0.49"
    part.unit.value = "in"
    assert "Read as <strong>0.49 in</strong>" in part.echo.value
    assert saved(practice_folder)["m01.mark_arc.arc"]["unit"] == "in"
    assert saved(practice_folder)["m01.mark_arc.arc"]["read_as"] == "0.49 in"


def test_every_key_is_on_disk_at_once(practice_folder, opened):
    page = opened(practice_folder)
    assert not (practice_folder / "answers.json").exists(), "nothing is written on display alone"
    for text in ("1", "12", "12,", "12,5"):
        page.part("mark_arc.arc").field.value = text
        assert saved(practice_folder)["m01.mark_arc.arc"]["raw"] == text
    before = json.loads((practice_folder / "answers.json.bak").read_text(encoding="utf-8"))
    assert before["answers"]["m01.mark_arc.arc"]["raw"] == "12,"


def test_beacon_tells_what_the_kernel_has(practice_folder, opened):
    page = opened(practice_folder)
    part = page.part("mark_arc.arc")
    part.field.value = '5" <&'
    pieces = dict(re.findall(r'(data-\w+)="([^"]*)"', part.beacon.value))
    assert pieces["data-part"] == "m01.mark_arc.arc"
    assert unquote(pieces["data-text"]) == '5" <&'
    assert (pieces["data-unit"], pieces["data-saved"], pieces["data-why"]) == ("mm", "yes", "")


def test_reopened_page_shows_what_was_typed(practice_folder, opened):
    page = opened(practice_folder)
    page.type("mark_arc.arc", "12,5")
    choice = page.part("line_test.finding").field
    choice.value = "seized"
    again = opened(practice_folder)
    assert again.part("mark_arc.arc").field.value == "12,5"
    assert again.part("line_test.finding").field.value == "seized"
    assert again.part("angle_time.time").field.value == ""


def test_choice_starts_empty_in_the_drawn_order(practice_folder, opened):
    page = opened(practice_folder)
    part = page.part("line_test.finding")
    order = page.store.issue.numbers["m01.line_test"]["order_finding"]
    assert part.field.value is None
    assert [key for _, key in part.field.options] == order
    assert sorted(order) == sorted(part.part.options)


def test_two_views_stay_in_step(practice_folder, opened):
    page = opened(practice_folder)
    first = page.part("mark_arc.arc")
    page.lesson.show("m01.mark_arc")
    second = page.part("mark_arc.arc")
    assert first is not second
    first.field.value = "77"
    assert second.field.value == "77" and second.beacon.value == first.beacon.value
    second.unit.value = "in"
    assert first.unit.value == "in"
    second.check.click()
    assert first.verdict.value == second.verdict.value != ""
    first.field.value = "78"
    assert second.verdict.value == ""


def test_verdict_names_the_slip_and_never_the_answer(tmp_path, module, opened):
    tried = 0
    for exercise, part, path in module.parts():
        for slip in part.slips:
            folder = tmp_path / f"{path}-{slip.key}"
            practice.write(folder / practice.NAME, practice.Marker("Ana", f"{slip.key} 7"))
            page = opened(folder)
            value = page.truth.slip(path, slip)
            if value is None:
                continue
            given = page.truth.given_at(path)
            text = f"{value:.3f}" if isinstance(value, (int, float)) else part.typed(value, given)
            form = page.part(path.partition(".")[2])
            form.entry.follow(text, "")
            form.check.click()
            verdict = unescape(form.verdict.value)
            assert slip.says in verdict and verdict.startswith('<div class="tm-say tm-wrong">Not yet.')
            right = shown(part, page.truth.answer(path), given).removesuffix(f" {getattr(part, 'unit', '')}")
            assert right not in verdict
            assert page.form(exercise.name).route.value == ""
            tried += 1
    assert tried >= 16


def test_right_answer_is_told_and_kept_on_reload(practice_folder, opened):
    page = opened(practice_folder)
    right = page.truth.answer("m01.mark_arc.arc")
    assert "Right." in page.check("mark_arc.arc", f"{right:.1f}")
    assert "Right." in opened(practice_folder).part("mark_arc.arc").verdict.value
    page.part("mark_arc.arc").field.value = "1"
    assert opened(practice_folder).part("mark_arc.arc").verdict.value == ""


def test_carried_answer_is_right(practice_folder, opened):
    page = opened(practice_folder)
    page.part("centrifugal.advance").field.value = "20"
    initial = page.store.issue.numbers["m01.total"]["initial_deg"]
    assert "worked on from your earlier answer" in page.check("total.line_off", f"{initial + 20:g}")


def test_third_try_opens_the_route_then_fresh_numbers(practice_folder, opened):
    page = opened(practice_folder)
    form = page.form("mark_arc")
    right = shown(form.exercise.parts[0], page.truth.answer("m01.mark_arc.arc")).split(" ")[0]
    for number, text in enumerate(("501", "502", "503"), start=1):
        assert form.route.value == "" and form.fresh not in form._foot.children
        verdict = page.check("mark_arc.arc", text)
        page.part("mark_arc.arc").check.click()  # the same answer again is no new try
        assert saved(practice_folder)["m01.mark_arc.arc"]["tries"] == number
        assert right not in verdict
    assert f"{right} mm" in form.route.value
    assert form.fresh in form._foot.children
    reopened = opened(practice_folder).form("mark_arc")
    assert f"{right} mm" in reopened.route.value
    old = page.store.issue.numbers
    reopened.fresh.click()
    again = opened(practice_folder)
    numbers = again.store.issue.numbers
    assert numbers["m01.mark_arc"] != old["m01.mark_arc"]
    assert {key: value for key, value in numbers.items() if key != "m01.mark_arc"} == {
        key: value for key, value in old.items() if key != "m01.mark_arc"
    }
    assert again.part("mark_arc.arc").field.value == "" and again.form("mark_arc").route.value == ""
    copies = list(practice_folder.glob("answers-*.json"))
    assert json.loads(copies[0].read_text())["answers"]["m01.mark_arc.arc"]["raw"] == "503"


def test_route_keeps_back_what_another_part_still_asks(practice_folder, opened):
    page = opened(practice_folder)
    form = page.form("total")
    on = shown(form.exercise.parts[1], page.truth.answer("m01.total.line_on")).split(" ")[0]
    page.check("centrifugal.advance", f"{page.truth.answer('m01.centrifugal.advance'):.1f}")
    for text in ("85", "86", "87"):
        page.check("total.line_off", text)
    assert "Line off" in form.route.value and f"Line on: {on}" not in form.route.value
    assert "The rest is shown when “Total advance, line on” is right or tried three times." in form.route.value
    for text in ("111", "112", "113"):
        page.check("total.line_on", text)
    assert f"Line on: {on}" in form.route.value


def test_linked_exercises_get_fresh_numbers_together(practice_folder, opened):
    page = opened(practice_folder)
    page.part("total.line_off").field.value = "20"
    page.part("angle_time.time").field.value = "2"
    for text in ("51", "52", "53"):
        page.check("centrifugal.advance", text)
    page.form("centrifugal").fresh.click()
    assert page.part("total.line_off").field.value == "", "its numbers are drawn with the weights"
    assert page.part("angle_time.time").field.value == "2"
    numbers = page.store.issue.numbers
    assert numbers["m01.total"]["speed_rpm"] == numbers["m01.centrifugal"]["speed_rpm"]


@pytest.mark.parametrize("text", ["", "  ", "many", "9 ms", "1 2 3"])
def test_what_cannot_be_read_is_no_try(practice_folder, opened, text):
    page = opened(practice_folder)
    assert "tm-wrong" in page.check("mark_arc.arc", text)
    answer = page.store.answers.get("m01.mark_arc.arc")
    assert answer is None or answer.tries == 0


def test_assessed_form_confirms_and_judges_nothing(assessed_folder, opened):
    page = opened(assessed_folder)
    right = page.truth.answer("m01.mark_arc.arc")
    seen = set()
    for text in (f"{right:.1f}", f"{right / 2:.1f}", "700"):
        part = page.part("mark_arc.arc")
        part.field.value = text
        assert part.verdict.value == "" and part.check is None
        seen.add(part.echo.value.replace(text, "…"))
    assert seen == {"Read as <strong>… mm</strong>. Saved."}
    form = page.form("mark_arc")
    assert form.route.value == "" and form._foot.children == ()
    page.part("line_test.finding").field.value = "seized"
    assert page.part("line_test.finding").echo.value == "Saved."


def test_issued_practice_checks_but_draws_nothing(tmp_path, module, opened):
    (tmp_path / issued.NAME).write_bytes(issued.dump(issue_of(module, mode="practice")))
    page = opened(tmp_path)
    for text in ("501", "502", "503"):
        page.check("mark_arc.arc", text)
    assert "worked route" in page.form("mark_arc").route.value
    assert page.form("mark_arc")._foot.children == ()


def test_error_in_a_callback_appears_in_the_form(practice_folder, opened, monkeypatch):
    page = opened(practice_folder)

    def broken(*_):
        raise ZeroDivisionError("of a test")

    monkeypatch.setattr("grader.widgets.answer_store.Store.mark_of", broken)
    verdict = page.check("mark_arc.arc", "12")
    assert "ZeroDivisionError" in verdict and "What you typed stays" in verdict


def test_full_disk_is_said_and_mended_later(practice_folder, opened, monkeypatch):
    page = opened(practice_folder)
    page.part("mark_arc.arc").field.value = "1"
    from grader import files

    write = files.write_bytes

    def full(path, *arguments, **options):
        raise CannotWrite(f"{path} could not be written: no space left. Free the disk, then try again.")

    monkeypatch.setattr(files, "write_bytes", full)
    part = page.part("mark_arc.arc")
    part.field.value = "12"
    assert "<strong>Not saved:</strong>" in part.echo.value and "no space left" in part.echo.value
    assert 'data-saved="no"' in part.beacon.value and "no space left" in unquote(part.beacon.value)
    assert "Not all is saved" in page.head.who.value
    assert "Right" not in part.verdict.value
    monkeypatch.setattr(files, "write_bytes", write)
    page.part("angle_time.time").field.value = "3"
    assert saved(practice_folder)["m01.mark_arc.arc"]["raw"] == "12"
    page.store._again()
    assert 'data-saved="yes"' in page.part("angle_time.time").beacon.value


def test_all_fields_turn_to_saved_once_the_disk_has_room(practice_folder, opened, monkeypatch):
    page = opened(practice_folder)
    with monkeypatch.context() as closed:
        closed.setattr("grader.exercise.sheet.write", lambda *_: (_ for _ in ()).throw(CannotWrite("closed to us")))
        page.part("mark_arc.arc").field.value = "12"
        page.part("angle_time.time").field.value = "3"
    assert page.store.unsaved == {"m01.mark_arc.arc", "m01.angle_time.time"}
    page.store._again()
    for path in ("mark_arc.arc", "angle_time.time"):
        assert 'data-saved="yes"' in page.part(path).beacon.value and "Not saved" not in page.part(path).echo.value


def test_hostile_text_is_shown_as_text(practice_folder, opened):
    page = opened(practice_folder)
    page.part("mark_arc.arc").field.value = "<img src=x onerror=alert(1)>"
    assert "<img" not in page.part("mark_arc.arc").echo.value
    assert "<img" not in page.part("mark_arc.arc").beacon.value


def test_text_beyond_all_measure_is_refused_and_the_former_answer_stands(practice_folder, opened):
    page = opened(practice_folder)
    part = page.part("mark_arc.arc")
    part.field.value = "12"
    part.field.value = "1" * 20_001
    assert "<strong>Not saved:</strong> 20,001 characters" in part.echo.value and 'data-saved="no"' in part.beacon.value
    assert saved(practice_folder)["m01.mark_arc.arc"]["raw"] == "12"
    part.field.value = "13"
    assert 'data-saved="yes"' in part.beacon.value and saved(practice_folder)["m01.mark_arc.arc"]["raw"] == "13"


def test_text_that_no_file_can_hold_is_never_called_saved(practice_folder, opened):
    part = opened(practice_folder).part("mark_arc.arc")
    part.field.value = "12\ud800"
    assert 'data-saved="no"' in part.beacon.value and "Not saved" in part.echo.value


def test_numbers_that_miss_an_exercise_are_told_in_its_place(tmp_path, module, opened):
    record = issue_of(module)
    fewer = {key: entry for key, entry in record.exercises.items() if key != "m01.mark_arc"}
    (tmp_path / issued.NAME).write_bytes(issued.dump(replace(record, exercises=fewer)))
    page = opened(tmp_path)
    assert [child.value for child in page.form("mark_arc").box.children] == [page.form("mark_arc").message.value]
    assert "m01.mark_arc" in page.form("mark_arc").message.value
    page.part("angle_time.time").field.value = "3"
    assert "Saved." in page.part("angle_time.time").echo.value


def test_steps_are_shown_one_below_the_other(practice_folder, opened):
    """As they are to be done: drop-downs stand in the order of the list, not of the work."""
    page = opened(practice_folder)
    part = page.part("check_order.steps")
    part.entry.follow("warm>plug>gap", "")
    items = part.part.items
    assert part.echo.value == (
        f"Your order:<ol><li>{items['warm']}</li><li>{items['plug']}</li><li>{items['gap']}</li></ol> Saved."
    )
