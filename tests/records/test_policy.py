"""The policy file of a class: what it may say, what it is told where it is wrong, and how it is put in force."""

import json

import pytest
from typer.testing import CliRunner

from grader.cli.main import app
from grader.course.attempts import overview
from grader.course.audit import verify
from grader.errors import BadFile
from grader.records import database, ledger
from grader.records.term import policy, policy_in_force
from grader.records.term import term as terms
from grader.reports.export import package
from grader.tables import rows
from tests.work import state

HEAD = 'format = "timing-mark policy"\nschema = 1\n'
WHOLE = (
    HEAD
    + """
[totals]
weights = "given"
[modules.m01_timing]
pass_percent = 62.5
weight = 33.3
[modules.m02_dwell]
weight = 33.3
[modules.m03_heat_range]
weight = 33.4
[objectives]
threshold = 75
[objectives.T8]
threshold = 100
must_pass = true
"""
)


def parsed(text):
    return policy.parse(text.encode(), "policy.toml")


def test_without_a_file_all_is_as_it_was(empty_term):
    assert empty_term.policy == policy.DEFAULT
    assert empty_term.pass_percent("m01_timing") == empty_term.settings.pass_percent == 60
    assert {policy.DEFAULT.threshold_of(row["code"]) for row in rows("objectives.csv", ("code", "uuid", "module", "text", "unit_standards"))} == {70}  # fmt: skip
    assert policy.DEFAULT.must_pass_in("m01_timing") == ()


def test_the_example_changes_nothing_until_its_lines_are_used():
    assert parsed(policy.EXAMPLE) == policy.DEFAULT
    used = policy.EXAMPLE.replace("\n# [", "\n[").replace("\n# pass", "\npass").replace("\n# thr", "\nthr").replace("\n# must", "\nmust")  # fmt: skip
    found = parsed(used)
    assert found.must_pass_in("m01_timing") == ("T8",) and found.threshold_of("T8") == 80
    assert found.pass_percents == {"m01_timing": 60}


@pytest.mark.parametrize("limit", ["0", "100", "62.5"])
def test_a_pass_mark_may_lie_anywhere_from_nothing_to_everything(limit):
    """A module that everybody passes who handed it in, and one that asks for all of it."""
    assert parsed(f"{HEAD}[modules.m01_timing]\npass_percent = {limit}\n").pass_percents["m01_timing"] == float(limit)


@pytest.mark.parametrize("limit", ["-0.1", "100.1", "inf", "true"])
def test_no_pass_mark_lies_outside(limit):
    with pytest.raises(BadFile, match="allowed is 0 to 100"):
        parsed(f"{HEAD}[modules.m01_timing]\npass_percent = {limit}\n")


@pytest.mark.parametrize(("threshold", "good"), [("0", False), ("1", True), ("100", True), ("101", False)])
def test_a_threshold_lies_from_one_to_all(threshold, good):
    text = f"{HEAD}[objectives]\nthreshold = {threshold}\n"
    if good:
        assert parsed(text).threshold == int(threshold)
        return
    with pytest.raises(BadFile, match="a whole number from 1 to 100"):
        parsed(text)


def test_all_that_it_may_say():
    found = parsed(WHOLE)
    assert (found.threshold_of("T8"), found.threshold_of("T1"), found.threshold) == (100, 75, 75)
    assert found.must_pass_in("m01_timing") == ("T8",) and found.must_pass_in("m02_dwell") == ()
    assert sum(found.weights.values()) == 100  # 33.3 + 33.3 + 33.4 is not 100 in binary numbers
    assert float(found.pass_percents["m01_timing"]) == 62.5


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("x = = 1", "cannot be read"),
        ("", "must say format"),
        (HEAD.replace("schema = 1", "schema = 2"), "must say format"),
        (HEAD + "[object]\n", "is 'object'; allowed is format, schema, totals, modules, objectives"),
        (HEAD + "objectives = 70\n", "a table of its own"),
        (HEAD + '[totals]\nweights = "marks"\n', '"points", "equal" or "given"'),
        (HEAD + "[totals]\nweight = 1\n", "is 'weight'; allowed is weights"),
        (HEAD + "[modules.m99_none]\nweight = 1\n", "is 'm99_none'; allowed is m01_timing"),
        (HEAD + "[modules.m01_timing]\npass_percent = 101\n", "pass_percent is 101; allowed is 0 to 100"),
        (HEAD + "[modules.m01_timing]\npass_percent = nan\n", "pass_percent is NaN; allowed is 0 to 100"),
        (HEAD + "[modules.m01_timing]\npass_percent = true\n", "pass_percent is True"),
        (HEAD + "[modules.m01_timing]\nweight = 100\n", 'weights is "points"'),
        (WHOLE.replace("33.4", "33.3"), r"add to 99.9 \(m01_timing 33.3 \+ m02_dwell 33.3 \+ m03_heat_range 33.3\)"),
        (HEAD + '[totals]\nweights = "given"\n', "no module has one"),
        (HEAD + "[objectives]\nthreshold = 0\n", "a whole number from 1 to 100"),
        (HEAD + "[objectives]\nthreshold = 70.5\n", "threshold is 70.5; allowed is a whole number"),
        (HEAD + "[objectives.T8]\nthreshold = true\n", "threshold is True"),
        (HEAD + '[objectives.T8]\nmust_pass = "yes"\n', "must_pass is 'yes'; allowed is true or false"),
        (HEAD + "[objectives.T8]\nmust = true\n", "allowed is threshold, must_pass"),
        (HEAD + "[objectives.T99]\nmust_pass = true\n", "is 'T99'; allowed is threshold, T1"),
    ],
)
def test_what_is_wrong_is_answered_by_one_sentence(text, said):
    with pytest.raises(BadFile, match=said) as told:
        parsed(text)
    assert "policy.toml" in str(told.value) and "\n" not in str(told.value)


def test_a_bad_file_in_the_folder_stops_the_class_and_names_itself(empty_term):
    (empty_term.folder / policy.NAME).write_bytes(b"\xff\xfe")
    with pytest.raises(BadFile, match=r"policy\.toml cannot be read"):
        terms.open_term(empty_term.folder)


def test_put_in_force_it_stands_in_ledger_and_exports(assigned_term, tmp_path):
    saved = tmp_path / "ours.toml"
    saved.write_text(WHOLE)
    policy_in_force.adopt([assigned_term], saved, reason="board of March")
    opened = terms.open_term(assigned_term.folder)
    assert opened.policy == parsed(WHOLE)
    with database.transaction(opened) as connection:
        last = [entry for _, _, entry in ledger.entries(connection, "settings")][-1]
        assert ledger.first_broken(connection) is None
    assert last["old"] == "policy: none" and last["new"].startswith("policy: ") and last["reason"] == "board of March"
    [mine] = json.loads(json.dumps(package.policy([opened])))["classes"]
    assert mine["objectives"] == {"met_from_percent": 75, "met_from_percent_of": {"T8": 100}, "must_be_met": ["T8"]}
    assert mine["totals"] == {
        "weights": "given", "weight_of_modules": {"m01_timing": 33.3, "m02_dwell": 33.3, "m03_heat_range": 33.4},
    }  # fmt: skip
    assert mine["pass_percent_of_modules"] == {"m01_timing": 62.5}
    assert any("term policy" in line for line in overview.lines(opened))


def test_a_policy_changed_by_hand_is_named_until_it_is_put_in_force(assigned_term, tmp_path):
    saved, place = tmp_path / "ours.toml", assigned_term.folder / policy.NAME
    saved.write_text(WHOLE)
    policy_in_force.adopt([assigned_term], saved, reason="board of March")

    def named():
        return verify.verify(terms.open_term(assigned_term.folder)).findings

    assert named() == []
    place.write_text(WHOLE.replace("62.5", "40"))
    [said] = named()
    assert "is not the one that the ledger notes last" in said and "--reason" in said
    policy_in_force.adopt([assigned_term], place, reason="board of April")
    assert named() == []
    with database.transaction(assigned_term) as connection:
        first, second = [entry for _, _, entry in ledger.entries(connection, "settings")][-2:]
    assert second["old"] == first["new"] != second["new"]  # the chain does not begin with what nobody put in force
    place.unlink()
    assert "in the folder policy: none" in named()[0]


def test_a_file_that_cannot_be_used_changes_no_class(assigned_term, tmp_path):
    saved = tmp_path / "ours.toml"
    saved.write_text(WHOLE.replace("33.4", "40"))
    with pytest.raises(BadFile, match="must add to 100"):
        policy_in_force.adopt([assigned_term], saved, reason="ours")
    assert not (assigned_term.folder / policy.NAME).exists()


def test_the_command_writes_takes_and_tells(assigned_term, tmp_path, monkeypatch):
    monkeypatch.chdir(assigned_term.folder)
    saved = str(tmp_path / "ours.toml")

    def run(*words):
        return CliRunner().invoke(app, ["term", "policy", *words])

    assert run(saved, "--example").exit_code == 0 and "must_pass" in (tmp_path / "ours.toml").read_text()
    assert run(saved, "--example").exit_code != 0  # never written over
    assert "Must be met for a pass: none." in run().output
    (tmp_path / "ours.toml").write_text(WHOLE)
    before, shown = state(assigned_term.folder), run(saved)
    assert shown.exit_code == 0 and "then: Must be met for a pass: T8." in shown.output
    assert "now:  Pass from 60 %." in shown.output and "Nobody would pass or fail" in shown.output
    assert state(assigned_term.folder) == before, "looked at, and not put in force"
    assert run(saved, "--reason", "ours").exit_code == 0
    before = state(assigned_term.folder)
    assert "in force already; nothing was written" in run(saved, "--reason", "once more").output
    assert state(assigned_term.folder) == before
    told = run().output
    assert "Must be met for a pass: T8." in told and "m01_timing 33.3 %" in told and "m01_timing from 62.5 %" in told
