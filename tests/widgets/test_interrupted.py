"""A kernel that is restarted is interrupted first, in the middle of whatever it does.

Then nothing may stand on the page that is not on disk, or the page would not ask the next kernel.
"""

import json
import os
import random
import re
import sys
from urllib.parse import unquote

import pytest

from grader.exercise.truth import Truth
from grader.widgets.lesson import Lesson
from tests.seed.draws import SEED

pytestmark = pytest.mark.campaign

MOMENTS = int(os.environ.get("INTERRUPT_MOMENTS", "60"))  # of each act
EXERCISE, PATH = "m01.mark_arc", "m01.mark_arc.arc"


def holds_the_gate(frame):
    """Inside the lock's own package, whose gate stays shut for the whole process if it is interrupted there."""
    while frame is not None:
        if f"{os.sep}filelock{os.sep}" in frame.f_code.co_filename:
            return True
        frame = frame.f_back
    return False


def interrupted(work, at):
    """Interrupt work at its n-th call, or the next that may be, as Ctrl-C would; returns the number of calls made.

    A kernel that is restarted ends with its gates; this process goes on to other tests.
    """
    calls, due = 0, False

    def count(frame, _event, _what):
        nonlocal calls, due
        calls += 1
        due = due or calls == at
        if due and not holds_the_gate(frame):
            due = False
            raise KeyboardInterrupt

    try:
        sys.setprofile(count)
        work()
    except KeyboardInterrupt:
        pass
    finally:
        sys.setprofile(None)
    return calls


def on_disk(folder):
    path = folder / "answers.json"
    found = json.loads(path.read_text(encoding="utf-8"))["answers"].get(PATH, {}) if path.exists() else {}
    return found.get("raw", ""), found.get("tries", 0)


def told(part):
    """(the text the page takes for saved, or None; checks the page takes for answered; the verdict)."""
    pieces = dict(re.findall(r'(data-\w+)="([^"]*)"', part.beacon.value))
    text = unquote(pieces["data-text"]) if pieces["data-saved"] == "yes" else None
    return text, int(pieces["data-clicks"]), part.verdict.value


def form_of(folder):
    """(the form of one part as a page shows it, its right answer) on what the folder holds."""
    lesson = Lesson("m01_timing", folder)
    lesson.top()
    lesson.show(EXERCISE)
    truth = Truth(lesson.module, lesson.store.issue.numbers)
    return lesson.forms[EXERCISE].parts["arc"], f"{truth.answer(PATH):.1f}"


def look_after_typing(part, folder, right):
    text, _, _ = told(part)
    assert text != right or on_disk(folder)[0] == right, "the page would not send the text again"
    return text == right


def look_after_checking(part, folder, _):
    _, answered, verdict = told(part)
    tries = on_disk(folder)[1]
    assert answered <= tries, "the page would not ask again"
    assert "Right" not in verdict or tries == 1, "a verdict stands that no later look at the sheet gives"
    return answered == 1


# Python drops what is raised while it clears an object: then that moment interrupts nothing.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("act", ["type", "check"])
def test_page_tells_nothing_that_is_not_on_disk(practice_folder, act):
    def page_before():
        """A page newly opened on the state before the act, and the act."""
        for left in practice_folder.glob("answers.json*"):
            left.unlink()
        part, right = form_of(practice_folder)
        if act == "type":
            return part, right, lambda: setattr(part.field, "value", right)
        part.field.value = right
        return part, right, part.check.click

    look = look_after_typing if act == "type" else look_after_checking
    part, right, work = page_before()
    total = interrupted(work, 0)
    assert look(part, practice_folder, right), "not interrupted, it is done"
    moments = sorted(random.Random(f"{SEED} {act}").sample(range(1, total), min(MOMENTS, total - 1)))
    print(f"seed {SEED}, {act}: interrupted at calls {moments} of {total}")
    done = set()
    for moment in moments:
        part, right, work = page_before()
        interrupted(work, moment)
        done.add(look(part, practice_folder, right))
        # Run again, by the same kernel or the next: the page types and asks again what was not told.
        again, _ = form_of(practice_folder)
        again.field.value = right
        again.check.click()
        assert "Right" in again.verdict.value, f"call {moment}"
        assert on_disk(practice_folder) == (right, 1), f"call {moment}"
    assert False in done, "no moment was early enough to stop the work"
