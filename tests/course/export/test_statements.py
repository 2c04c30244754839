"""xAPI statements: a validator that is not ours accepts them, and a changed mark is voided and issued afresh."""

import json
import os
import shutil
import subprocess

import pytest

from grader import paths
from grader.course.export.xapi import statements
from grader.course.records import database, ledger, schema
from grader.course.work import adjust
from grader.errors import Refused

VOIDED = "http://adlnet.gov/expapi/verbs/voided"
VALIDATE = """
const validate = require("xapi-validation").default;
const lines = require("fs").readFileSync(0, "utf8").trim().split("\\n");
console.log(JSON.stringify(lines.map(line => validate(JSON.parse(line)).map(String))));
"""


def findings(lines):
    """What xapi-validation says of each statement."""
    room = paths.checkout() / ".ci"
    if shutil.which("node") is None or not (room / "node_modules" / "xapi-validation").is_dir():
        words = "statements are checked by node and xapi-validation ('npm ci' in .ci)"
        if os.environ.get("CI") == "true":
            pytest.fail(words, pytrace=False)
        pytest.skip(words)
    done = subprocess.run(
        ["node", "-e", VALIDATE],
        input="\n".join(lines),
        cwd=room,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    return json.loads(done.stdout)


def written(opened, **options):
    return statements.write(opened, **options).path.read_text("utf-8").splitlines()


def parsed(opened, **options):
    return [json.loads(line) for line in written(opened, **options)]


def split(found):
    """(statements that stand, by id; ids of statements that are voided)."""
    voids = [s["object"]["id"] for s in found if s["verb"]["id"] == VOIDED]
    live = {s["id"]: s for s in found if s["verb"]["id"] != VOIDED}
    assert len({s["id"] for s in found}) == len(found) and len(set(voids)) == len(voids)
    return live, set(voids)


@pytest.mark.parametrize("pseudonymous", [False, True])
def test_a_validator_that_is_not_ours_accepts_all(classes, pseudonymous):
    written(classes, pseudonymous=pseudonymous)
    adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
    lines = written(classes, pseudonymous=pseudonymous)
    assert VOIDED in "".join(lines)
    assert [found for found in findings(lines) if found] == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda s: s.pop("actor"),
        lambda s: s.update(id="one"),
        lambda s: s.update(timestamp="yesterday"),
        lambda s: s["result"]["score"].update(raw=1000),
        lambda s: s["object"].update(id="no address"),
        lambda s: s["actor"].update(mbox="mailto:a@example.invalid"),
        lambda s: s.update(colour="red"),
    ],
)
def test_it_refuses_what_is_spoiled(classes, spoil):
    good = next(s for s in parsed(classes) if s.get("result", {}).get("score"))
    spoiled = json.loads(json.dumps(good))
    spoil(spoiled)
    found = findings([json.dumps(good), json.dumps(spoiled)])
    assert found[0] == [] and found[1] != []


def test_one_for_each_part_exercise_and_module_with_its_marks(demo_term):
    found = parsed([demo_term])
    with database.transaction(demo_term) as connection:
        answers = connection.execute(schema.answer.select()).all()
        marks = connection.execute(schema.mark.select()).all()
    exercises = {(row.trainee, row.attempt, row.exercise) for row in answers}
    assert len(found) == len(answers) + len(exercises) + len(marks)
    of = {}
    for s in found:
        kind = s["object"]["definition"]["type"].rpartition("/")[2]
        of.setdefault(kind, []).append(s.get("result", {}).get("score", {}).get("raw", 0))
    raws = sum(row.raw for row in marks) / 100
    assert sum(of["cmi.interaction"]) == pytest.approx(raws) == pytest.approx(sum(of["assessment"]))
    assert sum(of["module"]) == pytest.approx(sum(row.mark for row in marks if not row.pending) / 100)
    assert all(set(s["actor"]["account"]) == {"homePage", "name"} and "name" not in s["actor"] for s in found)


def test_two_runs_give_the_same_bytes(classes, tmp_path):
    assert written(classes, path=tmp_path / "one") == written(classes, path=tmp_path / "two")
    adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
    assert written(classes, path=tmp_path / "three") == written(classes, path=tmp_path / "four")


class TestVoidAndReissue:
    def test_a_changed_mark(self, classes):
        before, none = split(parsed(classes))
        adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
        after, voided = split(parsed(classes))
        gone = {key for key in before if key not in after}
        assert none == set() and voided == gone and gone
        assert {before[key]["actor"]["account"]["name"] for key in gone} == {"0042"}
        fresh = [after[key] for key in after if key not in before]
        assert len(fresh) == len(gone)
        by_hand = [s for s in fresh if s["context"]["extensions"].get(f"{statements.BASE}extensions/by-hand")]
        assert [(s["object"]["id"], s["result"]["score"]["raw"]) for s in by_hand] == [
            (f"{statements.BASE}exercises/m01.mark_arc", 0.5)
        ]

    def test_what_was_never_sent_is_not_voided(self, classes):
        adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
        assert split(parsed(classes))[1] == set()

    def test_each_base_has_its_own_memory(self, classes):
        mine, _ = split(parsed(classes))
        adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
        other, voided = split(parsed(classes, base="https://store.example/activities"))
        assert voided == set() and not set(mine) & set(other)

    def test_an_excuse_and_its_withdrawal(self, classes):
        before, _ = split(parsed(classes))
        adjust.excuse(classes[0], "0042", "m01_timing", reason="done elsewhere")
        during, voided = split(parsed(classes))
        assert voided == set(before) - set(during) != set()
        adjust.excuse(classes[0], "0042", "m01_timing", reason="a mistake", withdraw=True)
        after, still = split(parsed(classes))
        assert still == voided and len(after) == len(before) and not voided & set(after)


def test_without_names(classes):
    text = "\n".join(written(classes, pseudonymous=True))
    for private in ("0042", "0043", "0046", "B0", "O’Neil", "Nguyễn", "Marr", "=1+1", "expected-low", "T17:00"):
        assert private not in text
    assert {s["timestamp"][10:] for s in parsed(classes, pseudonymous=True)} == {"T00:00:00.000Z"}


@pytest.mark.parametrize(
    "base", ["", "timing", "ftp://a/", "https://", "https://a b/", "https://a/?x=", "https://a/#x"]
)
def test_a_base_that_is_no_address(classes, base):
    with pytest.raises(Refused, match="is no address"):
        statements.write(classes, base=base)
    with database.transaction(classes[0]) as connection:
        assert list(ledger.entries(connection, "export")) == []
