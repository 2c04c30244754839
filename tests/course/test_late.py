"""Late work, by both published bases and over the nights when clocks change; and work that comes after the return."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import select

from grader import catalogue, clock
from grader.course.attempts import lateness, overview
from grader.course.attempts.kept import SENTENCES, kept_path
from grader.course.audit import verify
from grader.course.grading import adjust, mark_class
from grader.course.issue import assign
from grader.course.submissions import collect, transcribe
from grader.errors import Refused
from grader.exercise.model import PRACTICE
from grader.records import adjustments, database, ledger, schema
from grader.records.term import roster
from grader.reports.feedback import class_figures, return_run
from tests.work import NEXT, issue_of, put_in_inbox, right_answers, sheet_of

MODULE = "m01_timing"
AFTER = SENTENCES[schema.AFTER_RETURN]


@pytest.fixture
def settings(empty_term):
    return empty_term.settings


def days(settings, due, received):
    return lateness.late_days(settings, clock.parse(due, settings.zone), clock.parse(received, settings.zone))


@pytest.mark.parametrize(
    ("received", "expected"),
    [
        ("2026-03-10 16:59", 0),
        ("2026-03-10 17:00", 0),
        ("2026-03-10 17:00:01", 1),  # a minute past is day 1 (University of Warwick)
        ("2026-03-11 17:00", 1),
        ("2026-03-11 17:00:01", 2),
        ("2026-03-17 17:00", 7),
    ],
)
def test_days(settings, received, expected):
    assert days(settings, "2026-03-10 17:00", received) == expected


def test_a_day_lasts_until_the_same_time_on_the_wall(settings):
    """On 29 March 2026 the clock in Lisbon goes forward, on 25 October back."""
    assert days(settings, "2026-03-28 23:59", "2026-03-29 23:59") == 1
    assert days(settings, "2026-03-28 23:59", "2026-03-29 23:59:01") == 2
    assert days(settings, "2026-10-24 12:00", "2026-10-25 12:00") == 1
    assert days(settings, "2026-10-24 12:00", "2026-10-25 12:00:01") == 2


def test_grace_and_no_due_time(settings):
    kind = replace(settings, late_grace_minutes=60)
    assert days(kind, "2026-03-10 17:00", "2026-03-10 18:00") == 0
    assert days(kind, "2026-03-10 17:00", "2026-03-10 18:00:01") == 1
    assert lateness.late_days(settings, None, clock.now() + timedelta(days=900)) == 0


def test_share_of_the_mark_awarded(settings):
    """CPEE PC003: 65, two days at 10 % of the mark -> 52. Sheffield English: 70, four days at 5 % -> 56."""
    assert 6500 - lateness.penalty(replace(settings, late_percent_per_day=10), 6500, 10000, 2) == 5200
    assert 7000 - lateness.penalty(replace(settings, late_percent_per_day=5), 7000, 10000, 4) == 5600


def test_share_of_the_maximum(settings):
    """Griffith: 5 % of the item's weight for each day, none after seven."""
    griffith = replace(settings, late_basis="maximum", late_percent_per_day=5, late_days_until_nothing=7)
    assert lateness.penalty(griffith, 7000, 10000, 2) == 1000
    assert lateness.penalty(griffith, 7000, 10000, 7) == 3500
    assert lateness.penalty(griffith, 7000, 10000, 8) == 7000
    assert lateness.penalty(griffith, 300, 10000, 2) == 300  # never below zero


def test_no_penalty(settings):
    assert lateness.penalty(replace(settings, late_percent_per_day=0), 6500, 10000, 99) == 0
    assert lateness.penalty(settings, 6500, 10000, 0) == 0


@pytest.mark.parametrize(
    ("received", "until", "barred"),
    [
        ("12:00", "", False),  # with the return itself
        ("12:01", "", True),
        ("12:30", "12:30", False),  # up to and including the moment that was named
        ("12:31", "12:30", True),
        ("11:59", "11:00", False),
    ],
)
def test_what_comes_with_the_return_or_up_to_the_moment_named_counts(received, until, barred):
    owner, day = ("t01", MODULE, 1), "2026-03-10T"
    known = {owner: (f"{day}12:00:00.000Z", f"{day}{until}:00.000Z" if until else "")}
    assert lateness.too_late(known, owner, f"{day}{received}:00.000Z") is barred
    assert lateness.too_late({}, owner, f"{day}{received}:00.000Z") is False


class TestAfterTheReturn:
    """A returned sheet shows the right answers: what comes after it counts only where the instructor says so."""

    def test_it_is_kept_told_and_does_not_count(self, no_due):
        done = hand_in(no_due, right=True)
        assert done.taken == 1 and AFTER in done.findings[0]
        assert mark_class.mark(no_due, MODULE).unchanged == 1 and mark_of(no_due) == POOR
        row = rows(no_due)[-1]
        assert (row.usable, row.kind, row.finding) == (False, schema.AFTER_RETURN, "") and kept_path(
            no_due, row.sha256
        ).is_file()
        assert ledger_of(no_due, "handed-in")[-1]["reason"] == collect.AFTER_RETURN
        named = class_figures.needs(no_due, overview.marks_table(no_due, catalogue.module(MODULE)))
        assert ("Arundell, Bea", "handed in after the sheet was returned; it does not count") in [
            (who.name, what) for who, what, _ in named
        ]
        assert verify.verify(no_due).findings == []
        again = collect.collect(no_due)
        assert (again.taken, again.findings) == (0, []), "told once; the report names it from then on"

    def test_an_extension_accepts_it_and_a_shorter_one_takes_that_back(self, no_due):
        hand_in(no_due, right=True)
        now = clock.now()
        _, until, mark, _ = adjust.extend(
            no_due, "T01", MODULE, until=text(now + timedelta(hours=2)), reason="was in hospital"
        )
        assert mark == 2800 == mark_of(no_due) and rows(no_due)[-1].usable
        assert rows(no_due)[-1].kind == schema.ACCEPTED
        assert ledger_of(no_due, "handed-in")[-1]["reason"] == "after the return, accepted: was in hospital"
        assert verify.verify(no_due).findings == []
        table = schema.hand_in
        with database.transaction(no_due) as connection:  # as if it had come an hour later than it did
            connection.execute(table.update().where(table.c.id == 2).values(received_at=clock.to_text(now + timedelta(hours=1))))  # fmt: skip
        _, _, mark, before = adjust.extend(
            no_due, "T01", MODULE, until=text(now + timedelta(minutes=30)), reason="a slip of mine", earlier=True
        )
        assert mark == POOR == mark_of(no_due) and before == until
        assert not rows(no_due)[-1].usable and rows(no_due)[-1].kind == schema.AFTER_RETURN
        assert "no longer accepted: a slip of mine" in ledger_of(no_due, "handed-in")[-1]["reason"]

    def test_what_came_before_and_is_collected_afterwards_counts(self, no_due):
        done = hand_in(no_due, right=True, when=clock.now() - timedelta(hours=1))
        assert done.findings == [] and rows(no_due)[-1].usable
        mark_class.mark(no_due, MODULE)
        assert mark_of(no_due) == 2800 and verify.verify(no_due).findings == []

    def test_what_comes_within_an_extension_given_after_the_return_counts(self, no_due):
        adjust.extend(no_due, "T01", MODULE, until=text(clock.now() + timedelta(hours=2)), reason="second chance")
        assert hand_in(no_due, right=True).findings == []
        mark_class.mark(no_due, MODULE)
        assert mark_of(no_due) == 2800 and verify.verify(no_due).findings == []

    @pytest.mark.parametrize(("after_ms", "opens"), [(-1, False), (0, False), (1, True)])
    def test_only_an_extension_granted_since_the_return_opens_it_again(self, no_due, after_ms, opens):
        """One that stood when the sheet went back was used up with it."""
        owner = ("t01", MODULE, 1)
        with database.transaction(no_due) as connection:
            returned, _ = lateness.closed(connection)[owner]
            at = clock.to_text(clock.from_text(returned) + timedelta(milliseconds=after_ms))
            key = dict(zip(("trainee", "module", "attempt"), owner, strict=True))
            row = {"until": "2999-01-01T00:00:00.000Z", "actor": "x", "reason": "x", "at": at}
            connection.execute(adjustments.extension.insert().values(**key, **row))
            assert lateness.closed(connection)[owner] == (returned, row["until"] if opens else "")

    def test_within_the_grace_minutes_too(self, enrolled):
        """On time by the settings, and yet after the right answers went out."""
        term = replace(enrolled, settings=replace(enrolled.settings, late_grace_minutes=60))
        assign.assign(term, MODULE, due=text(clock.now() - timedelta(minutes=5)))
        first(term)
        assert AFTER in hand_in(term, right=True).findings[0]
        mark_class.mark(term, MODULE)
        assert mark_of(term) == POOR

    def test_practice_shows_its_answers_at_once_and_closes_nothing(self, enrolled):
        assign.assign(enrolled, MODULE, mode=PRACTICE)
        first(enrolled)
        assert hand_in(enrolled, right=True).findings == []
        mark_class.mark(enrolled, MODULE)
        assert mark_of(enrolled) == 2800

    def test_an_extension_without_due_time_needs_a_return(self, enrolled):
        assign.assign(enrolled, MODULE)
        with pytest.raises(Refused, match="no due time"):
            adjust.extend(enrolled, "T01", MODULE, until=f"{NEXT}-01-01", reason="x")
        first(enrolled)
        with pytest.raises(Refused, match="before the return"):
            adjust.extend(enrolled, "T01", MODULE, until=f"{NEXT - 2}-01-01", reason="x")
        assert ledger_of(enrolled, "extension") == []

    def test_a_row_changed_past_the_ledger_is_found(self, no_due):
        hand_in(no_due, right=True)
        with database.transaction(no_due) as connection:
            connection.execute(schema.hand_in.update().values(usable=True))
        (finding,) = [f for f in verify.verify(no_due).findings if "after the return" in f]
        assert finding.startswith("t01, m01_timing, attempt 1") and "nobody accepted it" in finding

    def test_a_paper_typed_in_after_the_return(self, no_due):
        opened = transcribe.begin(no_due, "T01", MODULE)
        path = opened.questions[0].path
        kept = transcribe.keep(no_due, opened, {path: transcribe.read(opened.questions[0], "12.5 mm")})
        assert kept.finding == AFTER and not rows(no_due)[-1].usable
        kept = transcribe.keep(
            no_due, opened, {path: transcribe.read(opened.questions[0], "12.5 mm")},
            received_at=clock.now() - timedelta(hours=1),
        )  # fmt: skip
        assert kept.finding == "" and rows(no_due)[-1].usable
        assert verify.verify(no_due).findings == []


POOR = 200  # what the sheet that was returned had earned


@pytest.fixture
def enrolled(empty_term):
    path = empty_term.folder / "rosters" / "list.csv"
    path.write_text("id,last_name,first_name\nT01,Arundell,Bea\n", encoding="utf-8")
    roster.import_list(empty_term, path)
    return empty_term


@pytest.fixture
def no_due(enrolled):
    """A module without due time, of which T01's first, poor sheet was marked and returned."""
    assign.assign(enrolled, MODULE)
    first(enrolled)
    return enrolled


def first(term):
    hand_in(term, right=False, when=clock.now() - timedelta(days=300))
    mark_class.mark(term, MODULE)
    assert return_run.give_back(term, MODULE, trainee="T01").written == 1
    assert mark_of(term) == POOR


def hand_in(term, *, right, when=None):
    record = issue_of(term, "t01")
    answers = right_answers(catalogue.module(MODULE), record)
    if not right:
        answers = {path: answer for path, answer in answers.items() if path.startswith("m01.mark_arc.")}
    path = put_in_inbox(term, sheet_of(record, answers))
    return collect.collect(term, [path.parent], received_at=when)


def rows(term):
    with database.transaction(term) as connection:
        return connection.execute(schema.hand_in.select().order_by(schema.hand_in.c.id)).all()


def mark_of(term):
    with database.transaction(term) as connection:
        return connection.execute(select(schema.mark.c.mark).where(schema.mark.c.trainee == "t01")).scalar()


def ledger_of(term, event):
    with database.transaction(term) as connection:
        return [entry for _, _, entry in ledger.entries(connection, event)]


def text(moment):
    return moment.astimezone(clock.zone("Europe/Lisbon")).strftime("%Y-%m-%d %H:%M:%S")


def test_half_a_hundredth_is_rounded_up_as_it_is_written(settings):
    """0.7 per cent of 27.50 marks for two days is 38.5 hundredths; binary made 38 of it."""
    for tenths in range(1, 200):
        rule = replace(settings, late_percent_per_day=tenths / 10, late_basis="maximum", late_days_until_nothing=9)
        for most in range(25, 3001, 25):
            for days in (1, 2, 3):
                exact = (2 * most * tenths * days + 1000) // 2000
                assert lateness.penalty(rule, 10**6, most, days) == exact, (tenths, most, days)
