"""Witnessed tasks: recorded with whoever saw them, apart from marks, and gone with the person."""

import csv
import io
import re

import pytest
from sqlalchemy import update

from grader.course.audit import deletion, verify
from grader.course.grading import observations
from grader.errors import BadFile, Refused, Unknown
from grader.records import database, ledger, witnessed
from grader.reports.export import package, pseudonym
from grader.reports.export.pages import evidence

SAW = observations.Seen(
    "T01", "t2", "Satisfactory", "blue van, four cylinders", "2026-03-12", "R. Quillfeather", "with light"
)


def rows(term, name, **how):
    return list(csv.DictReader(io.StringIO(package.write([term], name, **how).path.read_text("utf-8"))))


def said(term):
    with database.transaction(term) as connection:
        return [entry for _, _, entry in ledger.entries(connection, "witnessed")]


def spoil(term, **values):
    with database.transaction(term) as connection:
        connection.execute(update(witnessed.table).values(**values))


def test_a_task_is_recorded_with_all_that_was_said(assigned_term):
    person, task = observations.record(assigned_term, SAW)
    assert (person.id, task.objective, task.result, task.day) == ("t01", "T2", "satisfactory", "2026-03-12")
    assert (task.vehicle, task.seen_by, task.note) == ("blue van, four cylinders", "R. Quillfeather", "with light")
    assert observations.listed(assigned_term) == [(person, task)] == observations.listed(assigned_term, "T01")
    assert observations.listed(assigned_term, "T02") == []
    [entry] = said(assigned_term)
    assert (entry["trainee"], entry["module"], entry["exercise"]) == ("t01", "m01_timing", "T2")
    assert entry["new"] == "task 1: satisfactory on 2026-03-12; blue van, four cylinders; seen by R. Quillfeather"
    assert verify.verify(assigned_term).findings == []


@pytest.mark.parametrize(
    ("change", "kind", "words"),
    [
        ({"trainee": "T09"}, Unknown, "'T09'"),
        ({"objective": "T99"}, Unknown, "'T99'; there are T1, T2"),
        ({"result": "good"}, Refused, "'good'"),
        ({"on": "12/3/2026"}, Refused, "Write 2026-03-12 or 2026-12-03"),
        ({"on": "2026-02-30"}, Refused, "Write it as 2026-03-12"),
        ({"on": "2999-01-01"}, Refused, "still to come"),
        ({"vehicle": " \n "}, Refused, "The vehicle is empty"),
        ({"seen_by": ""}, Refused, "Who saw it is empty"),
        ({"note": "x" * 2001}, Refused, "2,001 letters"),
    ],
)
def test_what_cannot_be_stored_is_refused_in_one_sentence(assigned_term, change, kind, words):
    with pytest.raises(kind) as refusal:
        observations.record(
            assigned_term, observations.Seen(**{**{n: getattr(SAW, n) for n in SAW.__slots__}, **change})
        )
    assert words in str(refusal.value) and observations.listed(assigned_term) == [] and said(assigned_term) == []


def test_the_same_task_is_not_recorded_twice(assigned_term):
    observations.record(assigned_term, SAW)
    with pytest.raises(Refused, match="recorded already"):
        observations.record(assigned_term, SAW)
    assert len(observations.listed(assigned_term)) == 1


def test_a_table_is_stored_whole_or_not_at_all(assigned_term, tmp_path):
    path = tmp_path / "seen.csv"
    good = "T01,T1,satisfactory,van,2026-03-12,R. Q.\n"
    path.write_text(
        "trainee,objective,result,vehicle,on,seen_by\n" + good + "T77,T1,satisfactory,van,2026-03-12,R. Q.\n"
        "T02,T1,satisfactory\nT02,T1,maybe,van,2026-03-12,R. Q.\n" + good,
        encoding="utf-8",
    )
    with pytest.raises(BadFile) as refusal:
        observations.record_table(assigned_term, path)
    lines = str(refusal.value).splitlines()
    assert [line.partition(":")[0] for line in lines[1:-1]] == ["line 3", "line 4", "line 5", "line 6"]
    assert "'T77'" in lines[1] and "3 cells under 6" in lines[2] and "'maybe'" in lines[3] and "already" in lines[4]
    assert observations.listed(assigned_term) == [] and said(assigned_term) == []
    path.write_text(
        "﻿objective,trainee,result,vehicle,on,seen_by,note\nT1,T01,not-yet,van,2026-03-12,R. Q.,again\n\n"
        "T3,t02,satisfactory,lorry,2026-03-13,R. Q.,\n",
        encoding="utf-8",
    )
    assert [(p.id, t.result) for p, t in observations.record_table(assigned_term, path)[0]] == [
        ("t01", "not yet"),
        ("t02", "satisfactory"),
    ]
    assert verify.verify(assigned_term).findings == []


@pytest.mark.parametrize(
    "content", ["", "trainee,objective\n", "trainee,objective,result,vehicle,on,seen_by\n", "\xff"]
)
def test_a_table_of_another_kind_is_refused(assigned_term, tmp_path, content):
    (tmp_path / "seen.csv").write_bytes(content.encode("latin-1"))
    with pytest.raises(BadFile):
        observations.record_table(assigned_term, tmp_path / "seen.csv")
    assert observations.listed(assigned_term) == []


def test_a_withdrawn_task_counts_nowhere_and_stays_on_record(assigned_term):
    _, task = observations.record(assigned_term, SAW)
    with pytest.raises(Refused, match="needs a reason"):
        observations.withdraw(assigned_term, task.id, reason=" ")
    with pytest.raises(Unknown, match="no witnessed task 9"):
        observations.withdraw(assigned_term, 9, reason="wrong trainee")
    observations.withdraw(assigned_term, task.id, reason="wrong trainee")
    with pytest.raises(Refused, match="withdrawn already: wrong trainee"):
        observations.withdraw(assigned_term, task.id, reason="again")
    assert [t.withdrawn for _, t in observations.listed(assigned_term)] == ["wrong trainee"]
    assert rows(assigned_term, "witnessed") == []
    assert [(e["old"], e["new"], e["reason"]) for e in said(assigned_term)][1] == (
        task.line, "task 1: withdrawn", "wrong trainee",
    )  # fmt: skip
    observations.record(assigned_term, SAW)  # and can be recorded rightly
    assert verify.verify(assigned_term).findings == []


@pytest.mark.parametrize(
    "values", [{"result": "not yet"}, {"seen_by": "T. Other"}, {"note": "other"}, {"withdrawn": "gone"}, {"at": "x"}]
)
def test_verify_sees_what_was_changed_past_the_ledger(assigned_term, values):
    observations.record(assigned_term, SAW)
    spoil(assigned_term, **values)
    [finding] = verify.verify(assigned_term).findings
    assert "t01, witnessed task 1" in finding


def test_verify_sees_a_row_that_was_taken_out_or_put_in(assigned_term):
    observations.record(assigned_term, SAW)
    with database.transaction(assigned_term) as connection:
        [task] = witnessed.tasks(connection)
        connection.execute(witnessed.table.delete())
    [finding] = verify.verify(assigned_term).findings
    assert "the records hold “none”" in finding
    with database.transaction(assigned_term) as connection:
        row = {name: getattr(task, name) for name in task.__slots__} | {"id": 7}
        connection.execute(witnessed.table.insert().values(**row))
    assert len(verify.verify(assigned_term).findings) == 2


def test_it_stands_apart_from_calculated_work(demo_term):
    before = rows(demo_term, "objectives")
    observations.record(
        demo_term, observations.Seen("Q0101", "T1", "satisfactory", "<b>van</b>", "2026-03-12", "=R. Q.")
    )
    observations.record(demo_term, observations.Seen("Q0101", "T1", "not yet", "van", "2026-03-10", "R. Q."))
    after = rows(demo_term, "objectives")
    calculated = [name for name in before[0] if not name.startswith("witnessed")]
    assert [[row[n] for n in calculated] for row in after] == [[row[n] for n in calculated] for row in before]
    mine = [row for row in after if row["witnessed"]]
    assert [(r["trainee_id"], r["objective"], r["witnessed"], r["witnessed_on"]) for r in mine] == [
        ("Q0101", "T1", "satisfactory", "2026-03-12")
    ]
    [path] = evidence.write([demo_term], trainee="Q0101")
    text = path.read_text("utf-8")
    assert "<b>van" not in text
    assert "satisfactory on 2026-03-12, &lt;b&gt;van&lt;/b&gt;, seen by =R. Q." in text
    assert len(re.findall(r"<dt>Witnessed</dt><dd>none recorded", text)) == text.count('class="objective"') - 1


def test_a_trainee_with_nothing_but_a_witnessed_task_has_a_page(assigned_term):
    observations.record(assigned_term, SAW)
    [path] = evidence.write([assigned_term])
    assert path.name == "t01.html" and "R. Quillfeather" in path.read_text("utf-8")


def test_without_names_there_is_no_vehicle_and_nobody_who_saw_it(demo_term):
    for trainee in ("Q0101", "Q0102"):
        observations.record(
            demo_term, observations.Seen(trainee, "T1", "satisfactory", "blue van", "2026-03-12", "R. Q.", "hm")
        )
    found = rows(demo_term, "witnessed", pseudonymous=True)
    assert sorted(row["trainee_id"] for row in found) == sorted(
        pseudonym.code(demo_term, t) for t in ("q0101", "q0102")
    )
    assert {(row["vehicle"], row["seen_by"], row["note"], row["on"]) for row in found} == {("", "", "", "2026-03-12")}
    assert [row["seq"] for row in found] == ["1", "2"]
    changes = [row for row in rows(demo_term, "changes", pseudonymous=True) if row["event"] == "witnessed"]
    assert len(changes) == 2 and {(row["new"], row["reason"]) for row in changes} == {("", "")}


def test_it_goes_with_the_person(demo_term):
    observations.record(
        demo_term, observations.Seen("Q0117", "T1", "satisfactory", "blue van", "2026-03-12", "R. Quillfeather")
    )
    observations.record(
        demo_term, observations.Seen("Q0118", "T1", "satisfactory", "red van", "2026-03-12", "R. Other")
    )
    done = deletion.delete_person(demo_term, "Q0117", reason="asked for it")
    assert done.findings == []
    assert b"Quillfeather" not in (demo_term.folder / "gradebook.db").read_bytes()
    assert [person.id for person, _ in observations.listed(demo_term)] == ["q0118"]
    assert verify.verify(demo_term).findings == []
    deletion.delete_class(demo_term, reason="kept long enough")
    assert b"R. Other" not in (demo_term.folder / "gradebook.db").read_bytes()
