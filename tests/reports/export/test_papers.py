"""Papers for people: evidence that claims no more than it may, a fair sample, a report with true figures."""

import base64
import csv
import io
import re
import zipfile
from html.parser import HTMLParser

import pytest

from grader import catalogue, clock, tables
from grader.course.attempts import standing
from grader.course.grading import written_answers
from grader.errors import BadFile, Refused, Unknown
from grader.records import database, ledger
from grader.reports.export import package
from grader.reports.export.pages import evidence, moderation, programme_report
from grader.reports.tables import scope


class Page(HTMLParser):
    """Tags of a page with their attributes, and its words."""

    def __init__(self, content):
        super().__init__()
        self.tags, self.words = [], []
        self.feed(content.decode("utf-8"))

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())

    def all(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]


def well_made(content):
    """What WCAG 2.2 asks of a page of tables (1.1.1, 1.3.1, 2.4.2, 3.1.1), and that it is complete in itself."""
    found = Page(content)
    assert found.all("html") == [{"lang": "en"}] and len(found.all("title")) == len(found.all("h1")) == 1
    assert len(found.all("caption")) == len(found.all("table")) > 0
    assert {attrs.get("scope") for attrs in found.all("th")} == {"col", "row"}
    policies = [attrs["content"] for attrs in found.all("meta") if attrs.get("http-equiv") == "Content-Security-Policy"]
    assert len(policies) == 1 and "default-src 'none'" in policies[0] and "script-src" not in policies[0]
    assert all(len(attrs["alt"]) > 20 for attrs in found.all("img"))
    assert all(attrs["src"].startswith("data:") for attrs in found.all("img"))
    assert (
        not found.all("script")
        and not found.all("link")
        and not re.search(rb"https?:", re.sub(rb'src="data:[^"]*"', b"", content))
    )
    return found


class TestEvidence:
    def test_each_objective_keeps_the_three_kinds_apart(self, demo_term):
        path = evidence.write([demo_term], trainee="Q0101")[0]
        found = well_made(path.read_bytes())
        standards = sorted({s for row in catalogue.objectives().values() for s in row["unit_standards"].split(";")})
        for standard in standards:
            assert re.search(
                rf"{standard} .*?shown in calculated work .*?shown in simulated work none witnessed none", found.text
            )
        for code in ("T1", "T2", "T8"):
            words = re.escape(catalogue.objectives()[code]["text"])
            block = re.search(rf"{code} {words} Ignition timing; for (.*?) Calculated .*? Simulated none recorded Witnessed none recorded", found.text)  # fmt: skip
            assert block and set(block[1].split(", ")) == set(catalogue.objectives()[code]["unit_standards"].split(";"))
        assert "too few items" not in found.text and "not examined often enough" in found.text

    def test_what_has_to_be_said_of_a_standard_stands_under_it(self, demo_term):
        notes = {
            row["standard"]: row["note"] for row in tables.rows("unit_standards.csv", ("standard", "note", "source"))
        }
        named = {s for row in catalogue.objectives().values() for s in row["unit_standards"].split(";")}
        assert set(notes) <= named and "Theory-based" in notes["NZQA 235"] and "has ended" in notes["SAQA 260737"]
        text = Page(evidence.write([demo_term], trainee="Q0101")[0].read_bytes()).text
        for standard, note in notes.items():
            assert re.search(rf"{standard} {re.escape(note)} shown in calculated work", text)

    def test_it_never_says_that_a_standard_is_met(self, demo_term):
        """The word "met" stands in the caution alone, which denies it."""
        for path in evidence.write([demo_term]):
            text = Page(path.read_bytes()).text
            assert evidence.CAUTION in text
            rest = text.replace(evidence.CAUTION, "")
            assert not re.search(r"\b(met|meets|achieved|competent|qualified|certified)\b", rest, re.I)

    def test_levels_are_those_of_the_objectives_table(self, demo_term):
        rows = list(csv.DictReader(io.StringIO(package.write([demo_term], "objectives").path.read_text("utf-8"))))
        for path in evidence.write([demo_term]):
            text = Page(path.read_bytes()).text
            for row in rows:
                if row["trainee_id"].lower() == path.stem and row["objective"] in ("T1", "T2"):
                    words = catalogue.objectives()[row["objective"]]["text"]
                    said = "shown" if row["met"] == "yes" else "not yet shown"
                    assert re.search(
                        rf"{row['objective']} {re.escape(words)} Ignition timing; for [^%]*? Calculated {said} ?, "
                        rf"{row['marks']} of {row['max']}, ",
                        text,
                    )

    def test_a_map_of_ones_own(self, demo_term, tmp_path):
        (tmp_path / "map.csv").write_text("code,unit_standards\nT1,WS 7;WS 8\n", encoding="utf-8")
        text = Page(evidence.write([demo_term], trainee="q0101", own_map=tmp_path / "map.csv")[0].read_bytes()).text
        assert (
            re.search("WS 7 shown in calculated work (T1|none) ", text)
            and "for WS 7, WS 8" in text
            and "NZQA" not in text
        )

    @pytest.mark.parametrize(
        "text", ["objective,standard\nT1,A\n", "code,unit_standards\nT99,A\n", "code,unit_standards\nT1\n"]
    )
    def test_maps_that_are_none(self, demo_term, tmp_path, text):
        (tmp_path / "map.csv").write_text(text)
        with pytest.raises(BadFile, match="The map"):
            evidence.write([demo_term], own_map=tmp_path / "map.csv")

    def test_nobody_of_that_id(self, demo_term):
        with pytest.raises(Unknown):
            evidence.write([demo_term], trainee="Q9999")

    def test_several_classes_each_in_its_own_folder(self, classes, tmp_path):
        """Both are taken, not the last alone; a person is looked for in all of them."""
        written = evidence.write(classes)
        assert {path.parent for path in written} == {term.folder / "exports" / "evidence" for term in classes}
        assert {path.stem for path in written} >= {"0042", "b0"}
        placed = evidence.write(classes, tmp_path / "all")
        assert {path.parent.name for path in placed} == {"spring-a", "spring-b"} and len(placed) == len(written)
        assert [path.stem for path in evidence.write(classes, trainee="B0")] == ["b0"]

    def test_text_of_people_is_no_markup(self, classes):
        from grader.records import schema

        with database.transaction(classes[0]) as connection:
            connection.execute(schema.trainee.update().values(last_name="<script>alert(1)</script>"))
        content = evidence.write([classes[0]], trainee="0042")[0].read_bytes()
        assert b"<script" not in content and b"&lt;script&gt;" in content


class TestModeration:
    def test_the_sample_holds_both_ends_and_both_sides_of_the_pass_mark(self, demo_term):
        with database.transaction(demo_term) as connection:
            found = standing.standings(demo_term, connection, ["m01_timing"])
        marks = sorted((f.mark.mark for f in found if f.mark), reverse=True)
        chosen = moderation.choose(demo_term, found, 6)
        assert len({f.person.id for f, _ in chosen}) == 6
        why = {reason: f.mark.mark for f, reason in chosen}
        assert why["best mark"] == marks[0] and why["lowest mark"] == marks[-1]
        limit = 3000 * 60 / 100
        assert why["just reached the pass mark"] == min(m for m in marks if m >= limit)
        assert why["just missed the pass mark"] == max(m for m in marks if m < limit)
        assert moderation.choose(demo_term, found, 99) and len(moderation.choose(demo_term, found, 99)) == 22

    def test_the_pack_holds_marks_reasons_changes_and_the_sheet_itself(self, demo_term):
        with database.transaction(demo_term) as connection:
            ledger.append(
                connection,
                [
                    ledger.Entry(
                        "override",
                        trainee="q0101",
                        module="m01_timing",
                        attempt=1,
                        old=1100,
                        new=1200,
                        reason="Read the tape again",
                    )
                ],
            )
        path, names = moderation.write([demo_term], "m01_timing", sample=22)
        with zipfile.ZipFile(path) as archive:
            assert set(archive.namelist()) == {
                "index.html",
                *(f"sheets/{n}.{e}" for n in names for e in ("html", "json")),
            }
            index, sheet = well_made(archive.read("index.html")), well_made(archive.read("sheets/q0101.html"))
            assert b'"q0101"' in archive.read("sheets/q0101.json")
        assert "best mark" in index.text and "Read the tape again" in sheet.text and "11 12" in sheet.text

    def test_several_classes_have_a_sample_each(self, classes):
        path, names = moderation.write(classes, "m01_timing", sample=2)
        with zipfile.ZipFile(path) as archive:
            places = {name.split("/")[1] for name in archive.namelist() if name.startswith("sheets/")}
            index = well_made(archive.read("index.html")).text
        assert places == {"spring-a", "spring-b"} and len(names) == 4
        assert "(spring-a)" in index and "(spring-b)" in index and index.count("2 sheets") == 2

    def test_without_names(self, demo_term):
        path, _ = moderation.write([demo_term], "m01_timing", pseudonymous=True)
        with zipfile.ZipFile(path) as archive:
            said = b"".join(archive.read(name) for name in archive.namelist()) + " ".join(archive.namelist()).encode()
        assert not re.search(rb"q01\d\d|Q01\d\d|Abreu|Weatherall|Null", said)

    def test_refusals(self, demo_term, assigned_term):
        with pytest.raises(Refused, match="is none"):
            moderation.write([demo_term], "m01_timing", sample=0)
        with pytest.raises(Refused, match="is marked"):
            moderation.write([assigned_term], "m01_timing")


class TestReport:
    def test_figures_are_true(self, demo_term, classes):
        found = well_made(programme_report.write([demo_term, *classes]).read_bytes())
        assert "quayside-2026-spring Ignition timing 1 1 22" in found.text
        assert "spring-a Ignition timing 2 0 3" in found.text
        assert "(spring-a) Ignition timing 5 3 3 100 %" in found.text
        pictures = found.all("img")
        assert pictures[0]["alt"] == "Trainees by state: 6 not handed in, 1 handed in, 28 marked."
        drawn = base64.b64decode(pictures[0]["src"].partition(",")[2]).decode()
        assert drawn.startswith("<?xml") and "<svg" in drawn and len(pictures) == 2

    def test_the_head_says_what_a_head_of_school_asks(self, demo_term):
        """Centre, class by its title, the day of the last change, how many passed; no key of exercise or slip anywhere."""
        found = Page(programme_report.write([demo_term], centre="Quayside workshop").read_bytes())
        with database.transaction(demo_term) as connection:
            rows = standing.standings(demo_term, connection, ["m01_timing"])
            day = clock.from_text(scope.last_change(connection)).astimezone(clock.zone(demo_term.settings.zone)).date()
        good, marked = sum(one.passed == "yes" for one in rows), sum(one.state == "marked" for one in rows)
        assert "Programme report: Quayside workshop" in found.text and demo_term.settings.title in found.text
        assert f"on {day.isoformat()}, their last change" in found.text
        assert f"{good} of {marked} whole marks are a pass ({100 * good / marked:.0f} %)." in found.text
        assert not re.search(r"\bm0\d[._]", found.text), "keys are for machines"
        keys = {
            slip.key for _, part, _ in catalogue.module("m01_timing").parts() for slip in getattr(part, "slips", ())
        }
        assert not [key for key in keys if "-" in key and key in found.text]

    def test_several_terms_show_how_it_goes(self, demo_term, demo, classes):
        found = well_made(programme_report.write([demo_term, *classes]).read_bytes())
        assert "From term to term" in found.text and "Modules from term to term" in found.text
        assert "From term to term" not in Page(programme_report.write([demo_term]).read_bytes()).text

    def test_changes_after_the_due_time_only(self, classes):
        """The issue was due on 31 March 2026; what happened before is no finding."""
        entry = {"trainee": "0042", "module": "m01_timing", "attempt": 1, "old": 1000, "new": 1100}
        with database.transaction(classes[0]) as connection:
            ledger.append(connection, [ledger.Entry("override", reason="Checked by hand", **entry)])
        rows = programme_report.late_changes(classes)
        assert [(row[0], row[3], row[4], row[7], row[8], row[10]) for row in rows] == [
            ("spring-a", "override", "0042", "10", "11", "Checked by hand")
        ]
        assert "Checked by hand" in Page(programme_report.write(classes).read_bytes()).text

    def test_reading_a_whole_class_changes_no_mark(self, demo_term):
        """All letters were read first, then all marks made anew; one that is read again afterwards is a change."""
        assert programme_report.late_changes([demo_term]) == []
        with database.transaction(demo_term) as connection:
            told = [entry["event"] for _, _, entry in ledger.entries(connection, "read", "re-marked")]
            again = next(entry for _, _, entry in ledger.entries(connection, "read"))
            mine = {name: again[name] for name in ("trainee", "module", "attempt")}
            ledger.append(connection, [ledger.Entry("read", old=100, new=150, **mine),
                                       ledger.Entry("re-marked", old=2000, new=2050, reason=written_answers.REASON, **mine)])  # fmt: skip
        assert told.count("read") > 1 and told[1] == "read"
        assert [row[3] for row in programme_report.late_changes([demo_term])] == ["re-marked"]

    def test_without_names_or_small_cells(self, classes):
        content = programme_report.write(classes, pseudonymous=True).read_bytes()
        text = well_made(content).text
        assert "fewer than 5" in text and "0042" not in text and "marked 3" not in text

    def test_two_runs_give_the_same_page(self, classes, tmp_path):
        one, two = (
            programme_report.write(classes, tmp_path / "1.html"),
            programme_report.write(classes, tmp_path / "2.html"),
        )
        assert one.read_bytes() == two.read_bytes()

    def test_questions_to_look_at(self, demo_term):
        """Every reason given follows from the figure beside it."""
        from grader.reports.tables import item_analysis

        found = programme_report.questions(item_analysis.pools([demo_term]))
        assert found
        for _, n, facility, separates, _, why in found:
            assert int(n) == 22
            assert ("very few" in why) == (float(facility) < programme_report.HARD)
            assert ("look at the key" in why) == (float(separates) < 0)
