"""Vehicles of the term's own: revisions, numbers drawn from them, marks that rest on what was issued alone."""

import json
import re
import shutil
from dataclasses import replace

import pytest
from sqlalchemy import delete, select, update

from grader import catalogue, clock
from grader.course.audit import deletion, verify
from grader.course.grading import mark_class, resit
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.course.vehicles import store
from grader.errors import BadFile, Refused, Unknown
from grader.exercise import issued, variant
from grader.records import database, ledger, schema, vehicles
from grader.records.term import roster
from grader.records.term import term as terms
from grader.reports.export.pages import vehicle_sheet
from grader.reports.feedback import return_run
from grader.vehicle.own import PLUGGED, OwnVehicle
from grader.vehicle.spec import Vehicle, vehicle
from grader.vehicle.spec import vehicles as teaching
from tests.conftest import CLASS
from tests.course.vehicles import put, stored, text_of
from tests.work import NEXT, issue_of, put_in_inbox, right_answers, right_sheet, sheet_of, sure_marks


@pytest.fixture
def term(empty_term):
    """Three trainees, and the vehicle “hall” stored."""
    path = empty_term.folder / "rosters" / "list.csv"
    path.write_text(CLASS, encoding="utf-8")
    roster.import_list(empty_term, path)
    stored(empty_term, "hall", title="Hall four", initial="8 BTDC")
    return empty_term


def own(key="mine", like="brackwater-four", line=PLUGGED, **changes):
    return OwnVehicle(replace(vehicle(like), key=key, title=f"Own {key}", **changes), line, "Manual", "p. 1", "Q. Z.")


def drawn(issue):
    """Exercise key -> vehicle, of exercises that take one."""
    return {key: given["vehicle"] for key, given in issue.numbers.items() if "vehicle" in given}


def rows(term, table):
    with database.transaction(term) as connection:
        return connection.execute(select(table)).all()


class TestDraw:
    @pytest.mark.parametrize("key", catalogue.all_modules())
    def test_own_vehicles_are_drawn_where_an_engine_is_and_all_of_them(self, key):
        module = catalogue.module(key)
        mine = [own("mine"), own("other", like="sarnhollow-v8")]
        takers = {e.key for e in module.exercises if "vehicle" in e.draw}
        seen, linked = set(), {e.key for e in module.exercises if e.linked in takers}
        for number in range(40):
            numbers = variant.draw(module, key=bytes(32), term="t", trainee=f"t{number}", attempt=1, own=mine)
            for group in module.groups():
                assert variant.separate(module, group, numbers)
            found = {k: given for k, given in numbers.items() if variant.DIGEST in given}
            assert set(found) == takers | linked
            assert json.loads(json.dumps(numbers)) == numbers
            for given in found.values():
                one = next(m for m in mine if m.vehicle.key == given["vehicle"])
                assert (given[variant.DIGEST], given["title"]) == (one.digest, one.vehicle.title)
                seen.add(given["vehicle"])
        assert not takers or seen == {"mine", "other"}

    @pytest.mark.parametrize("key", catalogue.all_modules())
    def test_exercises_without_an_engine_draw_the_same_with_and_without(self, key):
        module = catalogue.module(key)
        how = {"key": bytes(32), "term": "t", "trainee": "t1", "attempt": 1}
        before, after = variant.draw(module, **how), variant.draw(module, **how, own=[own()])
        for exercise, given in before.items():
            assert (variant.DIGEST in after[exercise]) == ("vehicle" in given)
            assert "vehicle" in given or after[exercise] == given

    def test_every_exercise_with_an_engine_names_it_alike(self):
        """`engines` and `draw` rest on it: the parameter is called vehicle and holds keys of the teaching vehicles.

        It is called engine where an exercise keeps the teaching vehicles, since it needs a certain vacuum line.
        """
        for module in catalogue.all_modules().values():
            for exercise in module.exercises:
                for name, spread in exercise.draw.items():
                    keys = set(spread.values) & set(teaching())
                    assert bool(keys) == (name in (variant.ENGINE, "engine")), (exercise.key, name)

    def test_a_six_volt_vehicle_is_not_put_on_twelve_volts(self):
        m02 = catalogue.module("m02_dwell")
        six = own(battery_v=6.0)
        numbers = variant.draw(m02, key=bytes(32), term="t", trainee="t1", attempt=1, own=[six])
        assert numbers["m02.current"]["vehicle"] in teaching() and numbers["m02.meter"]["vehicle"] == "mine"

    def test_a_vehicle_that_separates_nothing_is_the_vehicles_fault(self, m01):
        flat = own(centrifugal=((450.0, 0.0), (2000.0, 0.2)))
        with pytest.raises(variant.Inseparable, match="m01"):
            variant.draw(m01, key=bytes(32), term="t", trainee="t1", attempt=1, own=[flat])


class TestStore:
    def test_a_change_is_a_new_revision_and_the_old_one_stays(self, term):
        with pytest.raises(Refused, match=r"stored already with just these figures \(revision 1\)"):
            store.add(term, "hall")
        second = stored(term, "hall", title="Hall four", initial="9 BTDC")
        assert [(r.revision, r.own.vehicle.initial_deg) for r in store.one(term, "hall")] == [(1, 8), (2, 9)]
        assert store.listed(term) == [second]
        said = [json.loads(row.payload) for row in rows(term, schema.ledger) if row.event == "vehicle"]
        assert [(e["new"], e["sha256"]) for e in said] == [(r.line, r.digest) for r in store.one(term, "hall")]
        assert second.text == text_of(title="Hall four", initial="9 BTDC")
        assert verify.verify(term).findings == []

    def test_a_file_from_elsewhere_is_copied_in(self, term, tmp_path):
        path = tmp_path / "barn.toml"
        path.write_text(text_of(title="Barn four"), encoding="utf-8")
        assert store.add(term, path)[0].key == "barn"
        assert (term.folder / "vehicles" / "barn.toml").read_text("utf-8") == path.read_text("utf-8")

    def test_a_faulty_file_stores_nothing(self, term):
        put(term, "bad", gap="9 mm", page="")
        with pytest.raises(BadFile, match="(?s)line .*page.*line .*gap"):
            store.add(term, "bad")
        assert [r.key for r in store.listed(term)] == ["hall"]
        with pytest.raises(Unknown, match="there are hall"):
            store.one(term, "bad")

    @pytest.mark.parametrize(
        ("table", "values", "words"),
        [
            (vehicles.table, {"content": "{}"}, "its figures were changed"),
            (vehicles.table, {"digest": "0" * 64}, "do not say the same"),
            (vehicles.drawn_from, {"module": "m02_dwell"}, "m02_dwell draws from hall"),
        ],
    )
    def test_tampering_is_found(self, term, table, values, words):
        if table is vehicles.drawn_from:
            assign.assign(term, "m01_timing", own=["hall"])
        with database.transaction(term) as connection:
            connection.execute(update(table).values(**values))
        assert any(words in finding for finding in verify.verify(term).findings)

    def test_figures_issued_are_compared_with_the_revision(self, term):
        assign.assign(term, "m01_timing", own=["hall"])
        [first, *_] = rows(term, schema.issue)
        spoilt = first.record.replace('"idle_rpm": 800', '"idle_rpm": 801', 1)
        assert spoilt != first.record
        with database.transaction(term) as connection:
            where = schema.issue.c.trainee == first.trainee
            connection.execute(update(schema.issue).where(where).values(record=spoilt))
        assert any("idle_rpm is not what vehicle hall, revision 1 gives" in f for f in verify.verify(term).findings)


class TestAssign:
    def test_numbers_come_from_the_vehicle_and_right_answers_earn_all(self, term):
        assign.assign(term, "m01_timing", due="2026-03-31 17:00", own=["hall"])
        record = issue_of(term, "t01")
        assert set(drawn(record).values()) == {"hall"} and record.token == issued.seal(record, term.key)
        assert record.numbers["m01.total"]["initial_deg"] == 8
        inbox = put_in_inbox(term, right_sheet(record)).parent
        collect.collect(term, [inbox], received_at=clock.parse("2026-03-30", "UTC"))
        assert mark_class.mark(term, "m01_timing").marked == 1
        [mark] = rows(term, schema.mark)
        sure = 100 * sum(map(sure_marks, catalogue.module("m01_timing").exercises))
        assert mark.mark == sure and verify.verify(term).findings == []

    def test_marking_again_needs_neither_file_nor_record_of_the_vehicle(self, term):
        assign.assign(term, "m01_timing", own=["hall"])
        inbox = put_in_inbox(term, right_sheet(issue_of(term, "t01"))).parent
        collect.collect(term, [inbox])
        mark_class.mark(term, "m01_timing")
        [before] = rows(term, schema.mark)
        shutil.rmtree(term.folder / "vehicles")
        with database.transaction(term) as connection:
            connection.execute(delete(vehicles.table))
        assert (mark_class.mark(term, "m01_timing").unchanged, rows(term, schema.mark)) == (1, [before])
        found = verify.verify(term).findings
        assert any("drawn from a vehicle that is not in the records" in f for f in found)
        assert not any("marking again" in f for f in found)

    def test_who_joins_later_draws_from_the_revision_of_the_first_day(self, term):
        assign.assign(term, "m01_timing", own=["hall"], trainees=["T01"])
        stored(term, "hall", title="Hall four", initial="9 BTDC")
        assert assign.assign(term, "m01_timing").notes == ("drawn from Hall four (hall, revision 1)",)
        digests = {issue_of(term, who).numbers["m01.total"]["vehicle_digest"] for who in ("t01", "t02", "t03")}
        assert digests == {store.one(term, "hall")[0].digest}

    def test_another_vehicle_for_all_is_refused_and_for_one_allowed(self, term):
        stored(term, "barn", title="Barn four", initial="9 BTDC")
        assign.assign(term, "m01_timing", own=["hall"], trainees=["T01"])
        with pytest.raises(Refused, match="drawn from hall, revision 1"):
            assign.assign(term, "m01_timing", own=["barn"])
        assign.assign(term, "m01_timing", own=["barn"], trainees=["T02"])
        assert set(drawn(issue_of(term, "t02")).values()) == {"barn"}
        assign.assign(term, "m01_timing")
        assert set(drawn(issue_of(term, "t03")).values()) == {"hall"}
        assert verify.verify(term).findings == []

    @pytest.mark.parametrize(
        ("changes", "module", "words"),
        [
            ({}, "m04_plug_testing", "No exercise of m04_plug_testing takes an engine"),
            ({"vacuum_line": "connected"}, "m01_timing", "vacuum line connected, and m01"),
            (
                {"centrifugal": [("450 dist rev/min", "0 ° dist"), ("2000 dist rev/min", "0.2 ° dist")]},
                "m01_timing",
                "no numbers for m01.centrifugal keep the right answer apart",
            ),
        ],
    )
    def test_a_vehicle_that_cannot_serve_is_refused_before_anything_is_written(self, term, changes, module, words):
        stored(term, "odd", title="Odd four", **changes)
        before = sorted(path for path in term.folder.rglob("*") if path.name != ".busy")
        count = len(rows(term, schema.ledger))
        with pytest.raises(Refused, match=words):
            assign.assign(term, module, own=["hall", "odd"] if changes else ["odd"])
        assert sorted(path for path in term.folder.rglob("*") if path.name != ".busy") == before
        assert (rows(term, schema.assignment), rows(term, schema.issue)) == ([], [])
        assert len(rows(term, schema.ledger)) == count

    @pytest.mark.parametrize("key", ["m01_timing", "m02_dwell", "m03_heat_range"])
    def test_every_module_verifies_with_an_own_vehicle(self, term, key):
        """What exercises derive, a gap of another pattern among it, comes out again from the records."""
        assign.assign(term, key, own=["hall"])
        assert verify.verify(term).findings == []

    def test_a_connected_line_serves_where_timing_is_not_asked(self, term):
        stored(term, "odd", title="Odd four", vacuum_line="connected")
        assign.assign(term, "m02_dwell", own=["odd"])
        assert set(drawn(issue_of(term, "t01", "m02_dwell")).values()) == {"odd"}

    def test_six_volts_are_told(self, term):
        stored(term, "six", title="Six volt four", battery="6 V")
        notes = assign.assign(term, "m02_dwell", own=["six"]).notes
        assert notes[1:] == ("current keeps the teaching vehicles, since it needs a 12 V battery",)

    def test_an_unknown_vehicle_is_refused(self, term):
        with pytest.raises(Unknown, match="'hal' is stored in this term; there are hall"):
            assign.assign(term, "m01_timing", own=["hal"])

    def test_a_resit_draws_from_the_same_revision(self, term, m01):
        assign.assign(term, "m01_timing", own=["hall"])
        record = issue_of(term, "t01")
        answers = right_answers(m01, record)
        for path in answers:
            if path.startswith(("m01.centrifugal", "m01.total", "m01.band")):
                answers[path] = "0.1"
        collect.collect(term, [put_in_inbox(term, sheet_of(record, answers)).parent])
        mark_class.mark(term, "m01_timing")
        return_run.give_back(term, "m01_timing")
        stored(term, "hall", title="Hall four", initial="9 BTDC")
        again = resit.resit(term, "T01", "m01_timing", due=f"{NEXT}-01-01", reason="second try")
        assert "m01.centrifugal" in {exercise.key for exercise in again.exercises}
        second = issue_of(term, "t01", attempt=2)
        assert second.numbers["m01.centrifugal"] != record.numbers["m01.centrifugal"]
        assert second.numbers["m01.centrifugal"]["vehicle_digest"] == store.one(term, "hall")[0].digest
        assert verify.verify(term).findings == []

    def test_other_terms_draw_as_ever(self, term, tmp_path):
        """A second class with the same key and people: whether the first has vehicles changes nothing."""
        shutil.copytree(term.folder, tmp_path / "other")
        other = terms.open_term(tmp_path / "other")
        shutil.rmtree(other.folder / "vehicles")
        assign.assign(term, "m01_timing", own=["hall"])
        assign.assign(other, "m01_timing")
        for who in ("t01", "t02", "t03"):
            plain = variant.draw(catalogue.module("m01_timing"), key=term.key, term=term.id, trainee=who, attempt=1)
            assert issue_of(other, who).numbers == plain != issue_of(term, who).numbers


class TestPrivacy:
    @pytest.mark.parametrize("changes", [{"title": "Car of Arundell"}, {"entered_by": "Bea Arundell"}])
    def test_a_trainee_is_not_named_in_a_vehicle(self, term, changes):
        put(term, "car", **changes)
        with pytest.raises(Refused, match="name or id of the class list"):
            store.add(term, "car")
        assert [r.key for r in store.listed(term)] == ["hall"]

    def test_deleting_a_person_keeps_vehicles_and_names_a_file_that_speaks_of_him(self, term):
        assign.assign(term, "m01_timing", own=["hall"])
        put(term, "draft", title="Car of Arundell")
        done = deletion.delete_person(term, "T01", reason="asked for it")
        assert any("draft.toml still names or quotes" in finding for finding in done.findings)
        assert not any("hall" in finding for finding in done.findings)
        assert verify.verify(term).findings == [] and len(store.listed(term)) == 1

    def test_deleting_the_class_keeps_what_is_of_nobody(self, term):
        assign.assign(term, "m01_timing", own=["hall"])
        assert deletion.delete_class(term, reason="end of retention").findings == []
        assert verify.verify(term).findings == [] and len(store.listed(term)) == 1


class TestPage:
    def test_curve_is_computed_and_dwell_stands_in_both_measures(self, term):
        [found] = store.one(term, "hall")
        shown = "\n".join(vehicle_sheet.lines(term, found))
        assert "52 distributor degrees, 57.8 %" in shown and "service manual decides" in shown
        # By hand: 2000 rev/min is 1000 at the distributor, 3.5 + 200/500 of 4.5 = 5.3, doubled 10.6; vacuum 2 x 9.
        assert {row[0]: row[1:] for row in vehicle_sheet.curve(found)}[2000] == pytest.approx((10.6, 18.6, 36.6))
        assert vehicle_sheet.curve(found)[0] == (800, 0.0, 8.0, None)

    def test_the_page_holds_source_revisions_and_escapes_what_was_typed(self, term):
        text = text_of(title="Hall four", initial="9 BTDC") + "# <script>alert(1)</script>\n"
        put(term, "hall", text)
        store.add(term, "hall")
        made = vehicle_sheet.write(term, store.one(term, "hall"))
        html = made.read_text("utf-8")
        assert made == term.folder / "reports" / "vehicle_hall.html"
        assert "<script" not in html and "&lt;script&gt;" in html and not re.search("https?:", html)
        for words in ("Hall engine handbook, p. 7", "service manual decides", 'alt="Total advance', 'lang="en"'):
            assert words in html
        assert html.count("<h1>") == 1 and html.count('<th scope="row">1</th>') == 1
        before = made.read_bytes()
        assert vehicle_sheet.write(term, store.one(term, "hall")).read_bytes() == before


def test_own_vehicles_have_all_that_teaching_ones_have():
    assert set(Vehicle.__slots__) == set(json.loads(own().content)["vehicle"])
    assert ledger.EVENTS.count("vehicle") == 1
