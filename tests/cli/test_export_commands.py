"""The coordinator's commands: what they write, what they refuse, and which code they leave with."""

import pytest


@pytest.mark.parametrize(
    ("words", "file"),
    [
        (["items"], "items.csv"), (["objectives"], "objectives.csv"), (["analysis"], "analysis.csv"),
        (["modules"], "modules.csv"), (["changes"], "changes.csv"), (["grades", "--spreadsheet"], "grades.csv"),
        (["tables"], "datapackage.json"), (["tables", "--pseudonymous"], "pseudonymous/policy.json"),
        (["workbook"], "programme.xlsx"), (["report"], "programme.html"), (["oneroster"], "oneroster-delta.zip"),
        (["evidence", "Q0101"], "evidence/q0101.html"), (["moderation", "m01_timing"], "moderation-m01_timing.zip"),
    ],
)  # fmt: skip
def test_each_command_writes_its_file(call, demo_term, words, file):
    code, out, err = call("export", *words, "--term", demo_term.folder)
    assert (code, err) == (0, "") and "Written" in out
    assert (demo_term.folder / "exports" / file).stat().st_size > 100


def test_a_whole_programme(call, demo_term, assigned_term, tmp_path):
    plan, package = tmp_path / "programme.toml", tmp_path / "all.zip"
    terms = ["--term", demo_term.folder, "--term", assigned_term.folder]
    assert call("export", "programme", plan, "--centre", "Quay", *terms)[0] == 0
    assert call("export", "oneroster", package, "--programme", plan, "--bulk")[0] == 0
    assert call("export", "check-oneroster", package)[:2] == (0, "all.zip: no findings.\n")
    package.write_bytes(package.read_bytes()[:-40])
    code, out, _ = call("export", "check-oneroster", package)
    assert code == 1 and "no readable zip" in out


def test_a_layout(call, assigned_term, tmp_path):
    saved = tmp_path / "mine.toml"
    assert call("export", "layout", saved, "--example")[0] == 0
    assert call("export", "layout", saved, "--term", assigned_term.folder)[0] == 0
    assert (assigned_term.folder / "exports" / "mine.csv").is_file()
    code, _, err = call("export", "layout", saved, "--example")
    assert code == 2 and "is there already" in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["export", "oneroster", "--bulk"], "Name the whole programme"),
        (["export", "grades", "--separator", ";"], "--spreadsheet"),
        (["export", "moderation", "m01_timing"], "is marked"),
        (["export", "evidence", "T99"], "Nobody on the roster"),
        (["export", "layout", "/nowhere.toml"], "The layout is missing"),
        (["export", "workbook", "--layout", "/nowhere.toml"], "The layout is missing"),
        (["term", "delete-class", "--reason", "over"], "--everybody"),
        (["term", "delete-person", "T99", "--reason", "over"], "Nobody on the roster"),
        (["term", "delete-person", "T01", "--reason", " "], "needs a reason"),
    ],
)
def test_refusals(call, assigned_term, words, said):
    before = sorted(str(path) for path in assigned_term.folder.rglob("*") if path.name != ".busy")
    there = [] if "--bulk" in words else ["--term", assigned_term.folder]
    code, out, err = call(*words, *there)
    assert code == 2 and said in err and "Traceback" not in err and out == ""
    assert sorted(str(path) for path in assigned_term.folder.rglob("*") if path.name != ".busy") == before


def test_deleting_and_retention(call, assigned_term):
    code, out, _ = call("term", "retention", "--term", assigned_term.folder)
    assert code == 0 and "3 years after the term" in out
    code, out, _ = call(
        "term", "delete-person", "T02", "--reason", "asked for it", "--yes-id", "T03", "--term", assigned_term.folder
    )
    assert (
        code == 2
        and "T02  O’Neil, Jr., Cass  (A)" in out
        and "T02" in call("roster", "list", "--term", assigned_term.folder)[1]
    )
    code, out, _ = call(
        "term", "delete-person", "T02", "--reason", "asked for it", "--yes-id", "t02", "--term", assigned_term.folder
    )
    assert code == 0 and "1 deleted" in out
    assert "T02" not in call("roster", "list", "--term", assigned_term.folder)[1]
    assert call("term", "delete-class", "--everybody", "--reason", "over", "--term", assigned_term.folder)[0] == 0
    assert call("roster", "list", "--term", assigned_term.folder)[1] == ""


def test_retention_that_has_passed(call, assigned_term):
    path = assigned_term.folder / "term.toml"
    path.write_text(path.read_text("utf-8").replace("years = 3", "years = 0"), encoding="utf-8")
    from sqlalchemy import update

    from grader.records import database, schema

    with database.transaction(assigned_term) as connection:
        connection.execute(update(schema.ledger).values(at="2020-02-29T12:00:00.000Z"))
        connection.execute(update(schema.issue).values(due="2020-02-29T12:00:00.000Z"))
    code, out, _ = call("term", "retention", "--term", assigned_term.folder)
    assert code == 1 and "kept until 2020-02-29" in out and "That day has passed" in out
