"""README and guides keep their word: their commands run in their order, their tables and messages are the program's own."""

import csv
import os
import re
import shlex
from contextlib import chdir
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
import typer
from typer.main import get_command
from typer.testing import CliRunner

from grader import catalogue, clock, paths
from grader.cli.guide import Role
from grader.cli.main import app
from grader.exercise.kinds import Written
from grader.published_checks import checks, summary
from grader.records.gradebook import release
from grader.records.term import term as terms
from tests import work

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDES = {role.value: paths.guide(role.value).read_text(encoding="utf-8") for role in Role}
PEOPLE = ("trainee", "instructor", "coordinator")  # each has his commands in the README; "machine" is a guide alone
CLASS = "id,last_name,first_name,group\nT01,Arundell,Bea,A\nT02,Castellan,Rufus,A\nT03,Null,Dov,B\n"
DUE = date(2026, 3, 31)  # the guide's
A_FEW_DAYS = timedelta(days=3)
BIGGEST_README = 7 * 1024
Misuse = typer.BadParameter.__base__  # its base in the click that typer carries


def blocks(text):
    """Lines of the command blocks."""
    return [line for block in re.findall(r"```sh\n(.*?)```", text, re.S) for line in block.splitlines()]


def commands(text):
    """Everything in a text that is to be typed, in blocks and in sentences."""
    inline = re.findall(r"`(timing-mark [^`]+)`", text)
    return [line for line in (*blocks(text), *inline) if line.startswith("timing-mark ")]


def test_the_job_comes_first_and_it_is_short():
    lines = [line for line in README.splitlines() if line.strip()]
    assert lines[0].startswith("# ") and len(lines[1]) > 300 and lines[2].startswith("## ")
    assert len(README.encode()) <= BIGGEST_README


def test_two_commands_do_all_the_setting_up():
    set_up = [line for line in blocks(README) if "-m venv" in line]
    assert [line.rsplit("-m ", 1)[1] for line in set_up] == ["grader demo", "pytest -n 2 --dist loadfile"]
    files = [line.split("-r ")[1].split()[0] for line in set_up]
    assert all((ROOT / name).is_file() for name in files)


def test_the_readme_has_five_commands_for_each_and_the_guides_have_them_too():
    for role in PEOPLE:
        shown = blocks(README.split(f"{role}\n\n", 1)[1].split("\n## ")[0])
        assert len(shown) == 5, role
        known = set(commands(GUIDES[role])) | {f"timing-mark guide {role}", "timing-mark study --help"}
        others = {line for other in GUIDES.values() for line in commands(other)}
        assert [line for line in shown if line not in known | others] == []


@pytest.mark.parametrize("name", ["README", *GUIDES])
def test_every_command_that_is_named_can_be_typed(name):
    """A word of it that the program does not know would be found here, also in the middle of a sentence."""
    for line in commands(README if name == "README" else GUIDES[name]):
        command, words = get_command(app), shlex.split(line)[1:]
        while hasattr(command, "commands") and words:
            assert words[0] in command.commands, line
            command = command.commands[words.pop(0)]
        if "--help" in words:
            continue
        filled = ["x" if word == "…" else word for word in words]
        try:
            command.make_context(line, filled)
        except Misuse as problem:
            # `timing-mark assign` and the like, named without what goes with them
            assert not words and "issing" in str(problem), f"{line}: {problem}"


class TypedBySomebody:
    """A person who types a guide's lines, one after the other, in a terminal of his own."""

    def __init__(self, home, monkeypatch):
        self.home, self.folder, self.patch = home, home, monkeypatch
        self.today = datetime.now(clock.zone("Europe/Lisbon")).date()
        self.done = []
        monkeypatch.setenv("HOME", str(home))

    def types(self, line, answers=""):
        """One line, its dates moved so that the guide's due time lies tomorrow; returns what came to be looked at."""
        line = re.sub(r"\b2026-\d\d-\d\d\b", self._moved, line.replace("~", str(self.home)))
        words = shlex.split(line)
        if words[0] == "cd":
            self.folder = Path(words[1])
            return []
        with chdir(self.folder):
            ran = CliRunner().invoke(app, words[1:], input=answers)
        findings = [text for text in ran.output.splitlines() if text.startswith("  ! ")]
        assert ran.exit_code == bool(findings), f"{line}\n{ran.output}\n{ran.exception!r}"
        self.done.append(" ".join(words[1:3]))
        return findings

    def _moved(self, found):
        return str(date.fromisoformat(found[0]) - DUE + self.today + timedelta(days=1))

    def waits(self, time):
        """Everything from here on happens so much later."""
        later = clock.now() + time
        self.patch.setattr(clock, "now", lambda: later)


def hand_in(folder):
    """T01 has all right and a letter; T02 knows nothing of one objective's exercises; T03 does nothing."""
    term, module = terms.open_term(folder), catalogue.module("m01_timing")
    for trainee in ("t01", "t02"):
        record = work.issue_of(term, trainee)
        answers = work.right_answers(module, record)
        letters = [path for _, part, path in module.parts() if isinstance(part, Written)]
        answers |= dict.fromkeys(letters, "We moved the spark back to where it belongs.")
        if trainee == "t02":
            answers = {path: raw for path, raw in answers.items() if ".check_order." not in path}
        work.put_in_inbox(term, work.sheet_of(record, answers))


def fill_in(table):
    """The spreadsheet of written answers as an instructor fills it in: full points."""
    with table.open(encoding="utf-8-sig", newline="") as stream:
        head, *rows = csv.reader(stream)
    for row in rows:
        for column, name in enumerate(head):
            if name.startswith("points"):
                row[column] = row[head.index(name.replace("points", "at most"))]
    with table.open("w", encoding="utf-8-sig", newline="") as stream:
        csv.writer(stream).writerows([head, *rows])


def say_which_manual(vehicle):
    """What `vehicle new` leaves empty, as somebody fills it in with an editor."""
    text, filled = re.subn(
        r'^(manual|page|entered_by)( *= )""', r'\1\2"The grey binder"', vehicle.read_text("utf-8"), flags=re.M
    )
    assert filled == 3
    vehicle.write_text(text, encoding="utf-8")


@pytest.mark.campaign
def test_the_instructors_and_the_coordinators_month(tmp_path, monkeypatch):
    """Every line of both guides as it stands, in order, in a fresh home; `study` is tried in the browser tests."""
    (tmp_path / "class.csv").write_text(CLASS, encoding="utf-8")
    monkeypatch.delenv("NBGRADER_EXECUTION", raising=False)
    somebody = TypedBySomebody(tmp_path, monkeypatch)
    term = tmp_path / "spring-a"
    for line in (*blocks(GUIDES["instructor"]), *blocks(GUIDES["coordinator"])):
        match line.removeprefix("timing-mark ").split():
            case ["demo"]:
                continue  # tests/test_wheel.py runs it
            case ["desk", _] | ["desk", _, "--office"]:
                continue  # tests/browser/test_desk.py opens it, and goes through the month
            case ["collect"]:
                hand_in(term)
            case ["read", _, "--from", table]:
                fill_in(term / table)
            case ["vehicle", "check", key]:
                say_which_manual(term / "vehicles" / f"{key}.toml")
            case ["return", _]:
                somebody.waits(A_FEW_DAYS)
        findings = somebody.types(line, answers="T02\n" if "delete-person" in line else "q\n")
        if "delete-person" in line:
            assert len(findings) == 2 and "record store" in findings[0] and "letters.csv" in findings[1]
        else:
            assert findings == [], line
    assert {"term new", "roster import", "assign m01_timing", "collect", "mark", "read m01_timing", "return m01_timing",
            "resit T02", "witness T01", "vehicle new", "export grades", "term delete-person"} <= set(somebody.done)  # fmt: skip
    assert (term / "returned" / "t01" / "m01_timing.html").is_file() and not (term / "returned" / "t02").exists()
    with (term / "exports" / "grades.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = {(row["trainee_id"], row["module"]): row for row in csv.DictReader(stream)}
    assert rows["T01", "m01_timing"]["mark"] == rows["T01", "m01_timing"]["max"] and ("T02", "m01_timing") not in rows


@pytest.mark.parametrize("role", GUIDES)
def test_a_guide_can_be_read_in_the_terminal(role):
    """All its words and commands, in lines that fit."""
    shown = CliRunner().invoke(app, ["guide", role])
    assert shown.exit_code == 0
    *lines, _, path = shown.output.rstrip("\n").splitlines()
    assert max(map(len, lines)) <= 100 and path.endswith(str(paths.guide(role)))
    plain = " ".join(shown.output.split())
    for line in blocks(GUIDES[role]):
        assert line in plain, line
    assert "![" not in plain and "```" not in plain


def test_messages_that_the_guides_explain_are_the_programs_own():
    """Who looks a message up finds the words that stood on his screen."""
    sources = "\n".join(
        path.read_text(encoding="utf-8") for path in (ROOT / "grader").rglob("*") if path.suffix in (".py", ".js")
    ).replace("${page.what}", "lesson")  # the page says lesson or desk
    for text in GUIDES.values():
        trouble = text.split("## If something goes wrong")[1]
        told = [
            words for row in re.findall(r"^\| (.*?) \|", trouble, re.M) for words in re.findall(r"\*([^*]+)\*", row)
        ]
        assert told and [words for words in told if words.rstrip(" …") not in sources] == []


def test_sentences_name_one_way_to_call_the_program():
    """`timing-mark` is there after either installation; who reads a page at home has no `python -m`."""
    told = [
        path.name
        for path in (ROOT / "grader").rglob("*.py")
        if "python -m grader" in path.read_text(encoding="utf-8") and path.name != "__main__.py"
    ]
    assert told == []


def test_every_command_is_explained_in_a_guide_or_for_developers():
    told = "\n".join((README, *GUIDES.values(), (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")))
    assert [name for name in get_command(app).commands if not re.search(rf"(timing-mark|grader) {name}\b", told)] == []


def shown_in(path, mark):
    return path.read_text(encoding="utf-8").split(f"<!-- {mark} -->")[1].split(f"<!-- end of {mark} -->")[0].strip()


def test_the_science_table_is_the_one_the_command_makes():
    made = summary.readme_table([checks.run(check) for check in checks.every()]).strip()
    assert shown_in(ROOT / "datasets" / "README.md", summary.README_MARK) == made, (
        "run 'timing-mark check --science --write'"
    )


def test_the_table_of_modules_is_the_one_that_release_makes():
    assert shown_in(ROOT / "lessons" / "README.md", release.README_MARK) == release.readme_table(), (
        "run 'timing-mark release'"
    )


def test_pictures_and_links_lead_to_files():
    texts = {ROOT / "README.md": README} | {paths.guide(role): text for role, text in GUIDES.items()}
    for path, text in texts.items():
        for alt, name in re.findall(r"!?\[([^\]]+)\]\(([^)]+)\)", text):
            assert (path.parent / name).is_file(), f"{path.name}: {name}"
            if name.endswith(".png"):
                assert len(alt) > 20 and (path.parent / name).stat().st_size > 10_000


def test_the_environment_is_not_needed_to_read_a_guide(tmp_path):
    """Nothing is written, wherever one stands."""
    with chdir(tmp_path):
        assert CliRunner().invoke(app, ["guide", "trainee"]).exit_code == 0
    assert os.listdir(tmp_path) == []
