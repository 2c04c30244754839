"""Troubles that people reported in public about such work, each with an input of ours.

Numbers are threads of jupyter/nbgrader unless another project is named. Held elsewhere:
test_formgrader.py: cells doubled, deleted, edited, renamed (1083, 1682, 1941), notebooks renamed or
broken (1302, 1219), kernels killed or missing (1429, 1033), input() (1844), hostile code (483, 1386,
1324), feedback missing (1712, 1868, 1211), partial credit (1374, 1339); test_killed.py: work lost
in the rush (919); test_work.py: accidental late resubmission (1171), penalty kept (723);
test_adjust.py: due times (723, 1932); test_hand_ins.py: stamps and zones (1834, 1932);
test_term.py and test_class_list.py: paths and ids (912, 928, 1738, 1843), names (pandas-dev/pandas
10647, 50458, 32084).
"""

import csv
import io
import json
import os
import subprocess
import sys
import zipfile
from contextlib import redirect_stderr, redirect_stdout
from importlib.metadata import version
from types import SimpleNamespace
from unittest import mock

import pytest
from packaging.version import Version
from sqlalchemy import event, select

from grader import clock
from grader.cli import main
from grader.course.attempts import standing
from grader.course.audit import verify
from grader.course.formgrader import notebooks
from grader.course.grading import mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.errors import BadRoster
from grader.exercise import sheet as sheets
from grader.paths import checkout
from grader.records import config_file, database, schema
from grader.records.term import class_list, roster
from grader.records.term import term as terms
from grader.reports.tables import grades
from tests.work import export_grades, issue_of, put_in_inbox, right_answers, right_sheet, sheet_of

MODULE = "m01_timing"
ON_TIME = clock.parse("2026-03-30 12:00", "UTC")


def command(term, *arguments):
    """Run a command as from the shell; returns its exit code and what it said."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), mock.patch.object(sys, "argv", ["grader", *arguments, "--term", str(term.folder)]):  # fmt: skip
        try:
            main.run()
            code = 0
        except SystemExit as left:
            code = left.code or 0
    return SimpleNamespace(returncode=code, stdout=out.getvalue(), stderr=err.getvalue())


def rows(term):
    return {r["trainee_id"]: r for r in csv.DictReader(io.StringIO(export_grades(term).read_text("utf-8")))}


def mark_all(term, *trainees, when=ON_TIME):
    for trainee in trainees:
        put_in_inbox(term, right_sheet(issue_of(term, trainee)))
    collect.collect(term, received_at=when)
    return mark_class.mark(term, MODULE)


class TestCollecting:
    def test_work_collected_by_hand(self, assigned_term, tmp_path):
        """1409: files that an instructor copied from a stick are passed over."""
        for trainee in ("t01", "t02"):
            folder = tmp_path / "stick" / f"from {trainee}" / "Desktop"
            folder.mkdir(parents=True)
            (folder / "answers.json").write_bytes(sheets.dump(right_sheet(issue_of(assigned_term, trainee))))
        assert collect.collect(assigned_term, [tmp_path / "stick"], received_at=ON_TIME).taken == 2
        assert mark_class.mark(assigned_term, MODULE).marked == 2

    def test_copies_do_not_pile_up(self, assigned_term):
        """1665: every collecting of the same work makes another copy."""
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        for number in range(20):
            put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")), folder=f"t01/copy{number}")
        done = collect.collect(assigned_term)
        assert (done.taken, done.known) == (1, 20)
        assert len(list((assigned_term.folder / "handed_in").rglob("*.json"))) == 1

    def test_a_second_hand_in_never_replaces_the_first_on_disk(self, assigned_term):
        """919, 1171: a submission vanished, or the later one overwrote it."""
        record = issue_of(assigned_term, "t01")
        first, second = right_sheet(record), right_sheet(record).but(saved="later")
        for sheet in (first, second):
            put_in_inbox(assigned_term, sheet)  # the same name, the same place
            collect.collect(assigned_term, received_at=ON_TIME)
        kept = {path.read_bytes() for path in (assigned_term.folder / "handed_in").rglob("*.json")}
        assert kept == {sheets.dump(first), sheets.dump(second)}

    def test_ids_that_paths_and_patterns_break_on(self, assigned_term, tmp_path):
        """912, 928, 1738, 1843, 1965, 858, 1881: SHOP\\jo, x[1], a+b are enrolled, issued, collected, marked, exported."""
        listed = tmp_path / "list.csv"
        ids = ["SHOP\\jo", "x[1]", "a+b", "c(d)", "e/f", ".x", "Ü 7", "jo.", "CON"]
        body = "".join(f"{one},Name,N{n}\n" for n, one in enumerate(ids))
        listed.write_text("id,last_name,first_name\n" + body, encoding="utf-8")
        roster.import_list(assigned_term, listed, confirmed=True)
        assign.assign(assigned_term, MODULE)
        own = [class_list.folder_id(one) for one in ids]
        assert mark_all(assigned_term, *own).marked == len(ids)
        found = rows(assigned_term)
        assert [found[one]["mark"] for one in ids] == ["28"] * len(ids)
        assert notebooks.write_class(assigned_term, MODULE) == (len(ids), [])
        assert verify.verify(assigned_term).findings == []


class TestMarking:
    def test_no_process_is_started(self, assigned_term):
        """174, 1429, 1033, 1844, 483: a class is marked without a kernel, so none can hang, die or run a trainee's code."""
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        code = (
            "import sys\nfrom grader.records.term import term\nfrom grader.records.gradebook import gradebook\nfrom grader.course.submissions import collect\n"
            "from grader.course.grading import mark_class\n"
            "t = term.open_term(sys.argv[1])\nwith gradebook._nbgrader():\n    pass\nseen = []\n"
            "started = ('subprocess.Popen', 'os.exec', 'os.fork', 'os.posix_spawn', 'os.system')\n"
            "sys.addaudithook(lambda event, args: seen.append(event) if event in started else None)\n"
            "collect.collect(t)\nassert mark_class.mark(t, 'm01_timing').marked == 1\nprint(seen)\n"
            "import os\nos.system('true')\nprint(seen)\n"
        )
        env = {**os.environ, "PYTHONPATH": str(checkout())}
        run = subprocess.run([sys.executable, "-W", "ignore", "-c", code, str(assigned_term.folder)], capture_output=True, text=True, env=env)  # fmt: skip
        assert run.stdout.split("\n")[:2] == ["[]", "['os.system']"], run.stderr

    def test_lists_do_not_slow_down_with_the_class(self, assigned_term, tmp_path):
        """929, 785: pages that ask the database once for each trainee are unusable at 600."""

        def statements():
            seen = []
            made = database.engine(assigned_term)
            event.listen(made, "before_cursor_execute", lambda *a: seen.append(a[2]))
            with made.connect() as connection, connection.begin():
                found = standing.standings(assigned_term, connection, [MODULE])
            made.dispose()
            return len(seen), len(found)

        few, _ = statements()
        listed = tmp_path / "list.csv"
        body = "".join(f"n{number},Name,N\n" for number in range(600))
        listed.write_text("id,last_name,first_name\n" + body, encoding="utf-8")
        roster.import_list(assigned_term, listed, confirmed=True)
        many, found = statements()
        assert found == 600 and many == few

    def test_a_hostile_notebook_in_a_hand_in_is_not_even_opened(self, assigned_term):
        """483, 1386, 1324: code of trainees ran with the instructor's rights."""
        sheet = right_sheet(issue_of(assigned_term, "t01"))
        path = put_in_inbox(assigned_term, sheet)
        with zipfile.ZipFile(path, "a") as packed:
            packed.writestr(f"{MODULE}/{MODULE}.ipynb", b"\x00" * 1000)
            packed.writestr(f"{MODULE}/grader/__init__.py", "raise SystemExit('pwned')")
            packed.writestr(f"{MODULE}/sitecustomize.py", "raise SystemExit('pwned')")
        assert collect.collect(assigned_term, received_at=ON_TIME).findings == []
        assert mark_class.mark(assigned_term, MODULE).marked == 1

    def test_the_floor_of_the_building_block(self):
        """1915, 1947: pages of nbgrader before 0.9.5 could be framed by a trainee's page."""
        assert Version(version("nbgrader")) >= Version("0.9.5")

    def test_nothing_secret_is_in_what_trainees_see(self, assigned_term, m01):
        """1363, 1782: hidden tests and solutions leaked through feedback, outputs and attachments."""
        record = issue_of(assigned_term, "t01")
        with zipfile.ZipFile(assigned_term.folder / "out" / "t01" / f"{MODULE}.zip") as packed:
            lesson = json.loads(packed.read(f"{MODULE}/{MODULE}.ipynb"))
        assert all(not cell.get("outputs") and not cell.get("attachments") for cell in lesson["cells"])
        text = json.dumps(lesson)
        assert "BEGIN SOLUTION" not in text and "BEGIN HIDDEN" not in text and "reference" not in text
        blank = notebooks.rebuild(lesson, m01, sheet_of(record, {}), None)
        said = json.dumps([cell.get("outputs") for cell in blank["cells"]])
        # Two-figure answers and words could stand there by chance; longer numbers could not.
        answers = [raw for raw in right_answers(m01, record).values() if len(raw) > 3 and raw[-1].isdigit()]
        assert answers and not [raw for raw in answers if raw in said]

    def test_numbers_stay_when_the_lesson_is_released_again(self, assigned_term, tmp_path):
        """1646, 1699: once somebody has handed in, cells cannot change any more."""
        from grader.records.gradebook import gradebook

        mark_all(assigned_term, "t01")
        before = issue_of(assigned_term, "t02")
        gradebook.generate(assigned_term, MODULE)
        assert issue_of(assigned_term, "t02") == before
        assert mark_all(assigned_term, "t02").marked == 1 and verify.verify(assigned_term).findings == []

    def test_hundredths_go_through_the_gradebook_unharmed(self, assigned_term, m01):
        """1374, 1339; pandas-dev/pandas 27771: partial credit came out as something else, 656.964 as 656.9639999."""
        from grader.course.grading import adjust
        from grader.records.gradebook import gradebook

        mark_all(assigned_term, "t01")
        for hundredths in (1, 29, 57, 58, 113, 115, 199):
            adjust.override(assigned_term, "t01", MODULE, "mark_arc", f"{hundredths / 100:.2f}", reason="x")
            with database.transaction(assigned_term) as connection:
                assert gradebook.Rows(connection, m01).book()["t01"]["mark_arc"].manual == hundredths
            assert rows(assigned_term)["T01"]["raw"] == grades.hundredths(2600 + hundredths)
        assert verify.verify(assigned_term).findings == []


class TestRecords:
    def test_missing_all_wrong_and_late_are_three_things(self, assigned_term):
        """PR 781, 1459, 938, 799, 797: missing work became 0, and marks before and after the penalty were mixed up."""
        record = issue_of(assigned_term, "t01")
        put_in_inbox(assigned_term, sheet_of(record, dict.fromkeys(right_answers_of(record), "99999")))
        collect.collect(assigned_term, received_at=ON_TIME)
        mark_class.mark(assigned_term, MODULE)
        mark_all(assigned_term, "t02", when=clock.parse("2026-04-01 12:00", "UTC"))
        found = rows(assigned_term)
        shown = {
            who: tuple(row[c] for c in ("status", "raw", "penalty", "mark", "late_days")) for who, row in found.items()
        }
        assert shown == {
            "T01": ("marked", "0", "0", "0", "0"),
            "T02": ("marked", "28", "2.8", "25.2", "1"),
            "T03": ("not handed in", "", "", "", ""),
        }

    def test_a_due_time_without_a_zone_is_local(self, assigned_term):
        """1932, 1834: due dates landed on midnight UTC. 17:00 in Lisbon is 16:00 UTC on the last of March."""
        with database.transaction(assigned_term) as connection:
            assert connection.execute(select(schema.issue.c.due)).scalars().first() == "2026-03-31T16:00:00.000Z"

    @pytest.mark.parametrize("spreadsheet", [False, True])
    def test_our_own_export_read_back_as_a_class_list(self, assigned_term, tmp_path, spreadsheet):
        """netbox-community/netbox PR 11954, timeseer-ai/kukur 279: the byte order mark sticks to the first heading."""
        path = export_grades(assigned_term, tmp_path / "grades.csv", spreadsheet=spreadsheet)
        people, _ = class_list.read(path.read_bytes())
        assert [(p.college_id, p.last_name) for p in people] == [
            ("T01", "Arundell"),
            ("T03", "Null"),
            ("T02", "O’Neil, Jr."),
        ]
        outcome = roster.import_list(assigned_term, path, preview=True)
        assert outcome.added == [] and outcome.withdrawn == []

    def test_blanks_after_commas(self):
        """890: "stud1, smith, jo" keeps its blanks."""
        people, _ = class_list.read(b"id, last_name, first_name\nstud1, smith, jo\n")
        assert (people[0].last_name, people[0].first_name) == ("smith", "jo")

    def test_zeros_before_an_id(self, empty_term, tmp_path):
        """django-import-export/django-import-export 289: 0042 becomes 42."""
        path = tmp_path / "list.csv"
        path.write_text("id,last_name,first_name\n0042,A,B\n42,C,D\n", encoding="utf-8")
        assert [(p.id, p.college_id) for p in roster.import_list(empty_term, path).added] == [
            ("0042", "0042"),
            ("42", "42"),
        ]

    def test_formulas_never_get_in(self):
        """jmcnamara/XlsxWriter 461: "=transformer" becomes a formula."""
        with pytest.raises(BadRoster, match="line 2: last_name begins with ="):
            class_list.read(b"id,last_name,first_name\n1,=transformer,B\n")

    def test_a_mark_of_twenty_twice_around(self, assigned_term, tmp_path):
        """doorstop-dev/doorstop 101: 1.0 comes back as 1, and then the files differ."""
        mark_all(assigned_term, "t01")
        first = export_grades(assigned_term, tmp_path / "a.csv").read_bytes()
        assert export_grades(assigned_term, tmp_path / "b.csv").read_bytes() == first
        assert list(csv.DictReader(io.StringIO(first.decode())))[0]["mark"] == "28"


class TestCommands:
    def test_findings_have_an_exit_code_and_words(self, assigned_term):
        """1710, 1389, 1908, 1406, 1375, 1661, 1359, 1336: errors were hidden, and the command said it went well."""
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t02")), content=b'{"format"')
        run = command(assigned_term, "collect", "--received-at", "2026-03-30 12:00")
        assert run.returncode == 1 and "inbox/t02/m01_timing.zip: The answer sheet is damaged" in run.stdout
        run = command(assigned_term, "mark")
        assert run.returncode == 1 and "1 marked" in run.stdout and "t02: The answer sheet is damaged" in run.stdout
        assert command(assigned_term, "collect", "nowhere").returncode == 2
        assert command(assigned_term, "mark", "m99").returncode == 2

    def test_decisions_from_the_command_line(self, assigned_term):
        mark_all(assigned_term, "t01", when=clock.parse("2026-04-01 12:00", "UTC"))
        run = command(assigned_term, "extend", "T01", MODULE, "--until", "2026-04-02", "--reason", "was ill")
        assert run.returncode == 0 and "2026-04-02 23:59 Europe/Lisbon. The module's mark is now 28." in run.stdout
        run = command(assigned_term, "override", "T01", MODULE, "mark_arc", "1,5", "--reason", "working")
        assert run.returncode == 0 and "is now 27.5" in run.stdout
        run = command(assigned_term, "excuse", "T03", MODULE, "--reason", "abroad")
        assert run.returncode == 0 and "Null, Dov is excused" in run.stdout
        assert command(assigned_term, "extend", "T01", MODULE, "--until", "01/03/2026", "--reason", "x").returncode == 2
        assert command(assigned_term, "extend", "T01", MODULE, "--until", "2026-05-01").returncode == 2
        run = command(assigned_term, "mark", "--papers")
        assert run.returncode == 0 and "1 papers in submitted/ and autograded/" in run.stdout
        assert command(assigned_term, "term", "verify").returncode == 0
        assert "nothing was to be done" in command(assigned_term, "term", "upgrade").stdout

    def test_in_a_plain_locale(self, assigned_term, tmp_path):
        """25's encoding cousins: nbgrader's exporter ends in UnicodeEncodeError under LC_ALL=C."""
        path = tmp_path / "list.csv"
        path.write_bytes("id;Nachname;Vorname\n7;Müller;Zoë\n8;李;Ö\n".encode())
        env = {**os.environ, "PYTHONPATH": str(checkout()), "LC_ALL": "C"}
        words = [
            sys.executable,
            "-m",
            "grader",
            "roster",
            "import",
            str(path),
            "--preview",
            "--term",
            str(assigned_term.folder),
        ]
        run = subprocess.run(words, capture_output=True, text=True, encoding="utf-8", timeout=120, env=env)
        assert run.returncode == 0 and "Nothing was stored" in run.stdout and "2 added" in run.stdout


def right_answers_of(record):
    from grader import catalogue

    return right_answers(catalogue.module(record.module), record)


def test_a_term_of_today_is_opened_by_its_folder_alone(assigned_term, tmp_path):
    """24: a course folder that was moved no longer finds its database; ours holds no path of its own."""
    moved = tmp_path / "moved"
    os.rename(assigned_term.folder, moved)
    term = terms.open_term(moved)
    assert mark_all(term, "t01").marked == 1
    assert str(assigned_term.folder) not in (moved / config_file.NAME).read_text()
