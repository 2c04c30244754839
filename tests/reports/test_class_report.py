"""The class report: its figures are those of the records, and its pictures say in words what they show."""

import base64
import re
import shutil
from collections import Counter
from html import unescape

import numpy as np
import pytest

from grader import catalogue, clock
from grader.course.attempts import overview
from grader.course.audit import deletion, verify
from grader.course.grading import adjust, mark_class, resit
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.errors import Refused, Unknown
from grader.exercise.model import Choice
from grader.exercise.truth import Truth
from grader.records import database, schema
from grader.records.term import roster
from grader.reports.feedback import charts, class_figures, class_report, return_run
from grader.reports.tables import scope, statistics
from tests.work import NEXT, issue_of, put_in_inbox, right_answers, right_sheet, sheet_of, state

KEY = "m01_timing"


@pytest.fixture(scope="module")
def page(demo, tmp_path_factory):
    """The demo's report, written once."""
    folder = tmp_path_factory.mktemp("report") / "term"
    shutil.copytree(demo.term.folder, folder)
    opened = scope.open_all([folder])
    (path,) = class_report.write(opened, KEY)
    assert path == folder / "reports" / f"{KEY}.html"
    return opened[0], path.read_text(encoding="utf-8")


def test_the_marks_are_those_of_the_records(page, m01):
    term, text = page
    table = overview.marks_table(term, m01)
    assert len(table) == 24
    body = text[text.index("Marks; exercises by their number") :]
    for found, marks in table:
        line = next(row for row in body.split("<tr>") if found.person.last_name in row)
        cells = re.findall(r"<td[^>]*>([^<]*)</td>", line)
        assert len(cells) == len(m01.exercises) + 2
        assert cells[0] == (f"{marks['m01.mark_arc'] / 100:g}" if marks else "")
        assert cells[-2] == (f"{found.mark.mark / 100:g}" if found.mark else "")
        if found.mark is None:
            assert cells[-1] == found.state
        else:  # one attempt was issued and two are allowed
            assert cells[-1].startswith("passed" if found.mark.mark >= 1800 else "sit again")


def test_slips_are_counted_with_what_to_say(page, m01):
    term, text = page
    found = class_figures.slips(term, m01)
    counted = {(slip, path): n for path, slip, n in overview.slips(term, KEY)}
    assert sorted((s.count for s in found), reverse=True) == [s.count for s in found]
    assert sum(s.count for s in found) == sum(counted.values()) > 20
    assert all(s.count <= s.answers <= 22 for s in found)
    assert found[0].says in unescape(text) and f"{found[0].count} of {found[0].answers}" in text


def test_wrong_choices_without_a_slip_are_counted_with_what_speaks_against_them(assigned_term, m01):
    parts = {path: part for _, part, path in m01.parts() if isinstance(part, Choice) and part.signs}
    made = Counter()
    for who in ("t01", "t02", "t03"):
        record = issue_of(assigned_term, who)
        truth, answers = Truth(m01, record.numbers), right_answers(m01, record)
        for path, part in parts.items():
            known = {truth.answer(path), *(truth.slip(path, slip) for slip in part.slips)}
            answers[path] = next(option for option in part.options if option not in known)
            made[path, part.options[answers[path]], part.signs[answers[path]]] += 1
        put_in_inbox(assigned_term, sheet_of(record, answers))
    collect.collect(assigned_term)
    mark_class.mark(assigned_term, KEY)
    found = class_figures.chosen(assigned_term, m01)
    told = Counter({(one.path, one.option, one.says): one.count for one in found})
    assert told == made and len(parts) == 4, (told - made, made - told)
    assert all(one.answers == 3 for one in found) and class_figures.slips(assigned_term, m01) == []
    (path,) = class_report.write([assigned_term], KEY)
    table = unescape(path.read_text(encoding="utf-8")).partition("Wrong answers chosen to which no slip leads")[2]
    rows = [re.findall(r"<td[^>]*>([^<]*)</td>", row) for row in table.partition("</table>")[0].split("<tr>")]
    assert [row for row in rows if row] == [[o.option, f"{o.count} of 3", o.says] for o in found[: class_report.SLIPS]]


def test_facility_and_discrimination_agree_with_the_table_of_marks(page, m01):
    """From the marks themselves, by another road than the report's: numpy on a table read from the records."""
    term, text = page
    paths = [path for _, _, path in m01.parts()]
    with database.transaction(term) as connection:
        rows = {}
        for row in connection.execute(schema.answer.select().order_by(schema.answer.c.trainee)):
            rows.setdefault(row.trainee, {})[row.part] = row.hundredths
    table = np.array([[mine[path] for path in paths] for mine in rows.values() if None not in mine.values()])
    assert len(table) >= statistics.FEW
    body = text[text.index("How the questions worked") :]
    exercise, part = m01.by_path[paths[0]]
    line = next(row for row in body.split("<tr>") if f"{exercise.title}: {part.prompt}" in row)
    n, full, earned, separates, _ = re.findall(r"<td[^>]*>([^<]*)</td>", line)
    most = part.marks * 100
    assert (int(n), int(full)) == (len(table), int((table[:, 0] == most).sum()))
    assert earned == f"{100 * table[:, 0].mean() / most:.0f} %"
    order = np.argsort(-table.sum(axis=1), kind="stable")
    half = len(table) // 2
    upper, lower = table[order[:half], 0].mean(), table[order[-half:], 0].mean()
    assert float(separates) == pytest.approx((upper - lower) / most, abs=0.005)


def test_who_needs_help_is_named(page, m01):
    term, _ = page
    found = class_figures.needs(term, overview.marks_table(term, m01))
    said = {person.name: what for person, what, _ in found}
    assert said["Hallorsen, Pia"].startswith("has handed in nothing this term; due was ")
    assert said["Marchetto, Livio"] == "handed in a file that is not marked"
    table = overview.marks_table(term, m01)
    assert sum("is stuck" in what for what in said.values()) == sum(class_figures.stuck(marks) for _, marks in table)
    limit, close = 1800, 150  # 60 % of 30 marks, and 5 % of them
    for one, _ in table:
        if one.mark is None:
            assert one.person.name in said
        else:
            assert (one.person.name in said) == (one.mark.mark < limit + close + 1), "failed, or hardly passed"
            if limit - close <= one.mark.mark < limit and "stuck" not in said[one.person.name]:
                assert said[one.person.name].startswith("missed the pass mark by ")


def test_each_who_needs_the_instructor_is_told_with_the_next_step(assigned_term, m01):
    """T01 failed and has a resit to hand in, T02's extension has passed, T03 has left."""
    record = issue_of(assigned_term, "t01")
    put_in_inbox(assigned_term, sheet_of(record, {"m01.mark_arc.arc": "1"}))
    record = issue_of(assigned_term, "t03")
    put_in_inbox(assigned_term, sheet_of(record, {"m01.mark_arc.arc": "1"}))
    collect.collect(assigned_term, received_at=clock.parse("2026-03-30 12:00", "Europe/Lisbon"))
    mark_class.mark(assigned_term, KEY)
    adjust.extend(assigned_term, "t02", KEY, until="2026-04-20 17:00", reason="ill")
    listed = assigned_term.folder / "rosters" / "fewer.csv"
    listed.write_text("id,last_name,first_name\nT01,Arundell,Bea\nT02,Arundell,Bea\n", encoding="utf-8")
    roster.import_list(assigned_term, listed)

    def told():
        text = unescape(class_report.write([assigned_term], KEY)[0].read_text(encoding="utf-8"))
        part = text[text.index("People to speak to") : text.index("Commonest slips")]
        names = re.findall(r'<th scope="row">([^<]*)', part)
        return dict(zip(names, re.findall(r"<td>([^<]*)</td><td>([^<]*)</td>", part), strict=True)), text

    rows, text = told()
    assert set(rows) == {"Arundell, Bea (T01)", "Arundell, Bea (T02)"}, (
        "same names are told apart; who left is not listed"
    )
    assert rows["Arundell, Bea (T02)"][0].endswith("the extension passed on 2026-04-20 17:00 Europe/Lisbon")
    assert "extend again or excuse" in rows["Arundell, Bea (T02)"][1]
    assert (
        rows["Arundell, Bea (T01)"][0].startswith("is stuck") and "then give a resit" in rows["Arundell, Bea (T01)"][1]
    )
    assert "2 trainees had this module: 1 not handed in, 1 marked; 1 more has left" in text
    assert "sit again, has left" in text
    return_run.give_back(assigned_term, KEY, trainee="T01")
    resit.resit(assigned_term, "T01", KEY, due=f"{NEXT}-01-01 12:00", reason="once more")
    rows, _ = told()
    assert rows["Arundell, Bea (T01)"][0] == f"has attempt 2 to hand in, due {NEXT}-01-01 12:00 Europe/Lisbon"


def test_only_those_count_who_had_the_module(assigned_term):
    """Three are on the roster and two had it; nobody reads of three."""
    assign.assign(assigned_term, "m02_dwell", group="A", due="2026-03-31 17:00")
    text = class_report.write([assigned_term], "m02_dwell")[0].read_text(encoding="utf-8")
    assert "2 trainees had this module" in text and "Null, Dov" not in text
    (dwell,) = (month for month in class_figures.months([assigned_term]) if month.module == "m02_dwell")
    assert dwell.people == 2


def test_full_marks_are_all_of_an_exercise(m01):
    """Who has every hundredth of an exercise has it in full; one less is a part, nought is none."""
    key, most = m01.exercises[0].key, 100 * m01.exercises[0].marks
    rows = [(None, {key: value}) for value in (most, most, most - 1, 1, 0, None)] + [(None, {})]
    assert class_figures.by_exercise(m01, rows)[0][1:] == (2, 2, 1, 1)


def test_a_mean_over_the_months_needs_enough_marks(demo, monkeypatch):
    """It is shown from the fewest that say something on, and not with one trainee less."""
    (month,) = class_figures.months([demo.term])
    assert month.mean is not None
    marked = month.marked
    monkeypatch.setattr(statistics, "FEW", marked)
    assert class_figures.months([demo.term])[0].mean == month.mean
    monkeypatch.setattr(statistics, "FEW", marked + 1)
    assert class_figures.months([demo.term])[0].mean is None


def test_stuck_means_nothing_in_half_of_what_was_read():
    assert class_figures.stuck({"a": 0, "b": 100}) and not class_figures.stuck({"a": 0, "b": 100, "c": 50})
    assert (
        not class_figures.stuck({})
        and not class_figures.stuck({"a": None})
        and class_figures.stuck({"a": 0, "b": None})
    )


def test_pictures_are_drawn_and_told_in_words(page):
    _, text = page
    pictures = re.findall(r'<img src="data:image/svg\+xml;base64,([^"]+)" alt="([^"]+)"', text)
    assert len(pictures) == 2
    for content, says in pictures:
        assert b"<svg" in base64.b64decode(content) and len(says) > 40
    assert "<script" not in text and '<html lang="en">' in text and text.count("<h1>") == 1


def test_the_spread_counts_every_tenth():
    assert charts.tenths([0, 9.99, 10, 55, 99, 100]) == [2, 1, 0, 0, 0, 1, 0, 0, 0, 2]


def test_below_ten_trainees_there_are_counts_only(assigned_term, m01):
    path = put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
    collect.collect(assigned_term, [path.parent], received_at=clock.parse("2026-03-30 12:00", "Europe/Lisbon"))
    mark_class.mark(assigned_term, KEY)
    (written,) = class_report.write([assigned_term])
    text = written.read_text(encoding="utf-8")
    assert "counts only" in text and "fewer than ten" in text
    body = text[text.index("How the questions worked") :]
    assert not re.search(r"\d %</td>", body)


def test_months_compare_modules_and_terms_in_order_of_time(demo_term, demo, m01):
    assign.assign(demo_term, "m02_dwell", due="2026-03-31 17:00")
    module = catalogue.module("m02_dwell")
    folder = demo_term.folder / "inbox" / "second"
    for number in range(101, 113):
        who = f"q0{number}"
        put_in_inbox(demo_term, sheet_of(issue_of(demo_term, who, module.key), right_answers(module, issue_of(demo_term, who, module.key))), folder=f"second/{who}")  # fmt: skip
    collect.collect(demo_term, [folder], received_at=clock.parse("2026-03-30 12:00", "Europe/Lisbon"))
    mark_class.mark(demo_term, module.key)
    months = class_figures.months([demo_term, demo.term])
    assert [m.assigned_at for m in months] == sorted(m.assigned_at for m in months) and len(months) == 3
    dwell = months[-1]
    assert (dwell.module, dwell.people, dwell.marked, dwell.missing) == ("m02_dwell", 24, 12, 12)
    with database.transaction(demo_term) as connection:
        rows = connection.execute(schema.mark.select().where(schema.mark.c.module == "m02_dwell")).all()
    assert dwell.mean == pytest.approx(100 * np.mean([row.mark / row.most for row in rows]))
    written = class_report.write([demo_term])
    assert [path.stem for path in written] == [KEY, "m02_dwell"]
    text = written[1].read_text(encoding="utf-8")
    assert "Mean mark of each module, in order of time" in text and f"{dwell.mean:.0f} per cent, n 12" in text


def test_what_is_not_assigned_is_refused(assigned_term):
    with pytest.raises(Refused, match="was not assigned"):
        class_report.write([assigned_term], "m02_dwell")
    with pytest.raises(Unknown):
        class_report.write([assigned_term], "m99")


def test_an_empty_term_has_nothing_to_report(empty_term):
    with pytest.raises(Refused, match="Nothing was assigned"):
        class_report.write([empty_term])


def test_before_anything_is_handed_in_the_report_names_who_waits(assigned_term):
    adjust.extend(assigned_term, "t02", KEY, until=f"{NEXT}-01-01", reason="ill")
    text = class_report.write([assigned_term])[0].read_text(encoding="utf-8")
    assert text.count("has handed in nothing this term") == 3 and f"extended until {NEXT}-01-01" in text
    assert text.count("due was 2026-03-31 17:00") == 2
    assert "Nothing is marked yet." in text


def test_it_writes_its_page_alone_proves_and_goes_with_a_person(demo_term):
    before = state(demo_term.folder)
    (path,) = class_report.write([demo_term], KEY)
    after = state(demo_term.folder)
    assert {name for name in after if after[name] != before.get(name)} <= {f"reports/{KEY}.html"} and path.is_file()
    assert verify.verify(demo_term).findings == []
    deletion.delete_person(demo_term, "Q0101", reason="asked for it")
    assert not path.exists()
