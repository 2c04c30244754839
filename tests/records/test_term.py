"""Term folders: what is made, what is refused, what a damaged one says."""

import json
import os
import stat
from datetime import timedelta

import pytest
from sqlalchemy import select
from typer.testing import CliRunner

from grader import clock, paths
from grader.cli.main import app
from grader.course.audit import verify
from grader.errors import BadFile, CannotWrite, Refused, Unknown
from grader.records import database, schema
from grader.records.gradebook import setup
from grader.records.term import term as terms
from tests.work import an_ordinary_user


def new(folder, **changes):
    return terms.create(folder, **{"term_id": "spring-a", "title": 'Class "A"', "zone": "Europe/Lisbon", **changes})


def test_a_new_term_opens_again(tmp_path):
    made = new(tmp_path / "t")
    again = terms.open_term(tmp_path / "t")
    assert again == made and again.settings.title == 'Class "A"' and len(again.key) == 32
    assert stat.S_IMODE(os.stat(tmp_path / "t" / "term.key").st_mode) == 0o600
    assert new(tmp_path / "u").key != made.key


@pytest.mark.parametrize("term_id", ["", "Spring", "../x", "a b", "con", "-a", "a" * 64, "x[1]"])
def test_ids_that_folders_cannot_carry(tmp_path, term_id):
    with pytest.raises(Refused, match="small letters"):
        new(tmp_path / "t", term_id=term_id)
    assert not (tmp_path / "t").exists()


@pytest.mark.parametrize("name", ["t (1)", "t+", "t[a]"])
def test_paths_that_nbgrader_cannot_work_with(tmp_path, name):
    """jupyter/nbgrader threads 928, 1738, 1843: marks in a path break collecting and marking."""
    with pytest.raises(Refused, match="without"):
        new(tmp_path / name)


def test_a_folder_in_use_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("keep me")
    with pytest.raises(Refused, match="not empty"):
        new(tmp_path)
    new(tmp_path / "t")
    with pytest.raises(Refused, match="already is a term"):
        new(tmp_path / "t")
    assert (tmp_path / "mine.txt").read_text() == "keep me"


def test_zones(tmp_path):
    with pytest.raises(Refused, match="no time zone"):
        new(tmp_path / "t", zone="Lisbon")


def test_a_folder_that_is_no_term(tmp_path):
    with pytest.raises(Unknown, match="term new"):
        terms.open_term(tmp_path)


@pytest.mark.parametrize(
    ("old", "new_text", "said"),
    [
        ("pass_percent = 60", "pass_percent = 160", "0 to 100"),
        ("pass_percent = 60", 'pass_percent = "60"', "0 to 100"),
        ("pass_percent = 60", "pass_percent = true", "0 to 100"),
        ('basis = "mark"', 'basis = "week"', "mark or maximum"),
        ("allowed = 2", "allowed = 0", "1 to 9"),
        ('zone = "Europe/Lisbon"', 'zone = "Atlantis"', "no time zone"),
        ("schema = 1", "schema = 2", "Update Timing Mark"),
        ("[late]", "[late", "cannot be read"),
        ("missing_counts_zero = true", "missing_counts_zero = 1", "true or false"),
    ],
)
def test_a_damaged_setting_is_named(tmp_path, old, new_text, said):
    new(tmp_path / "t")
    path = tmp_path / "t" / "term.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new_text))
    with pytest.raises((BadFile, Refused), match=said):
        terms.open_term(tmp_path / "t")


def test_a_lost_key_is_not_replaced(tmp_path):
    new(tmp_path / "t")
    (tmp_path / "t" / "term.key").write_text("abc")
    with pytest.raises(BadFile, match="damaged"):
        terms.open_term(tmp_path / "t")
    (tmp_path / "t" / "term.key").unlink()
    with pytest.raises(BadFile, match="missing"):
        terms.open_term(tmp_path / "t")


def test_a_disk_that_refuses(tmp_path):
    blocker = tmp_path / "file"
    blocker.write_text("")
    with pytest.raises(CannotWrite, match="could not be made"):
        new(blocker / "t")


@pytest.mark.parametrize(
    "text", ["01/03/2026", "1.3.26", "2026-3", "tomorrow", "2026-02-30", "2026-03-01 25:00", "20260301"]
)
def test_dates_that_mean_different_days(text):
    with pytest.raises(Refused, match="2026-03-31|is no date|Write 2026-03-01 or 2026-01-03"):
        clock.parse(text, "Europe/Lisbon")


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2026-07-01 17:00", "2026-07-01T16:00:00.000Z"),
        ("2026-03-01 17:00", "2026-03-01T17:00:00.000Z"),
        ("2026-07-01T17:00:00+02:00", "2026-07-01T15:00:00.000Z"),
        ("2026-07-01 17:00Z", "2026-07-01T17:00:00.000Z"),
        ("2026-07-01", "2026-07-01T22:59:59.000Z"),
    ],
)
def test_dates_in_the_zone_of_the_term(text, utc):
    assert clock.to_text(clock.parse(text, "Europe/Lisbon")) == utc


def test_an_hour_that_the_clock_skips():
    with pytest.raises(Refused, match="goes forward"):
        clock.parse("2026-03-29 01:30", "Europe/Lisbon")


def test_setup_refuses_before_it_makes_a_database(tmp_path):
    with pytest.raises(Refused):
        setup.new_term(tmp_path / "t", term_id="BAD", title="", zone="UTC")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("inside", ["", "spring-a", "lessons/spring-a"])
def test_no_term_among_the_projects_own_files(inside):
    """The key and the class list of a term must not come to lie where git and an update can take them."""
    folder = paths.checkout() / inside
    was_there = folder.exists()
    with pytest.raises(Refused, match="outside"):
        new(folder)
    assert folder.exists() == was_there and not (folder / "term.key").exists()


def test_a_term_that_cannot_be_made_leaves_nothing(tmp_path, monkeypatch):
    """nbgrader makes its tables with a program of its own; where that cannot start there is no half folder, and no parent."""
    (tmp_path / "there").mkdir()
    with monkeypatch.context() as broken:
        broken.setenv("PATH", str(tmp_path))
        broken.setattr("sysconfig.get_path", lambda name: str(tmp_path))
        for place in ("there", "courses/spring/a"):
            with pytest.raises(CannotWrite, match="Nothing was made; mend that"):
                setup.new_term(tmp_path / place, term_id="spring-a", title="A", zone="UTC")
    assert [path.name for path in tmp_path.rglob("*")] == ["there"]
    assert setup.new_term(tmp_path / "there", term_id="spring-a", title="A", zone="UTC").folder == tmp_path / "there"


def test_what_a_killed_making_left_is_out_of_the_way(tmp_path):
    """The folder itself appears only when it is complete; a second try removes what the first one left beside it."""
    half = tmp_path / ".spring.making"
    half.mkdir()
    (half / "term.toml").write_text("half", encoding="utf-8")
    made = setup.new_term(tmp_path / "spring", term_id="spring-a", title="A", zone="UTC")
    assert verify.verify(made).findings == [] and not half.exists()


def test_a_file_in_the_place_of_a_new_folder(tmp_path):
    (tmp_path / "t").write_text("mine")
    with pytest.raises(Refused, match="is a file"):
        new(tmp_path / "t")


@pytest.mark.parametrize("name", ["term.toml", "term.key"])
def test_settings_or_key_that_may_not_be_read(tmp_path, name):
    """Another owner's file gives a sentence that names it."""
    new(tmp_path / "t")
    for folder in (tmp_path / "t", *(p for p in tmp_path.parents if "pytest-of-" in str(p)), tmp_path):
        folder.chmod(0o755)
    for path in (tmp_path / "t").iterdir():
        path.chmod(0o755 if path.is_dir() else 0o644)
    (tmp_path / "t" / name).chmod(0)
    with an_ordinary_user(), pytest.raises(BadFile, match=f"{name} cannot be read: Permission denied"):
        terms.open_term(tmp_path / "t")
    (tmp_path / "t" / name).chmod(0o644)
    with an_ordinary_user():  # it was the mode of this one file that closed the term
        assert terms.open_term(tmp_path / "t").id == "spring-a"


@pytest.mark.parametrize(
    ("name", "old", "other", "said"),
    [
        ("term.toml", 'id = "spring-a"', 'id = "spring-b"', "has the id spring-b; the numbers were issued as spring-a"),
        ("term.key", None, "0" * 64, "is not the key with which the numbers were issued"),
    ],
)
def test_another_id_or_key_is_found_by_verify(assigned_term, name, old, other, said):
    """Numbers come from the term's id and key: with others, later numbers would not be those of this term."""
    assert verify.verify(assigned_term).findings == []
    path = assigned_term.folder / name
    path.write_text(path.read_text().replace(old, other) if old else other)
    (finding,) = verify.verify(terms.open_term(assigned_term.folder)).findings
    assert said in finding


def test_numbers_changed_in_the_records_are_found_by_verify(assigned_term):
    """One trainee's numbers changed by hand: he is named, and nobody else."""
    table = schema.issue
    with database.transaction(assigned_term) as connection:
        mine = (table.c.trainee == "t02") & (table.c.module == "m01_timing")
        record = json.loads(connection.execute(select(table.c.record).where(mine)).scalar_one())
        numbers = next(iter(record["exercises"].values()))["parameters"]
        name = next(name for name, value in numbers.items() if isinstance(value, (int, float)))
        numbers[name] += 1
        connection.execute(table.update().where(mine).values(record=json.dumps(record)))
    (finding,) = verify.verify(assigned_term).findings
    assert finding.startswith("t02, m01_timing, attempt 1: the numbers in the records are not as they were issued")


def test_work_may_come_in_today_and_not_tomorrow():
    """A day alone is its last second, so today means now; in the zone of the term, which can be a day ahead."""
    for place in ("Europe/Lisbon", "Pacific/Kiritimati"):
        before = clock.now()
        today = before.astimezone(clock.zone(place)).date()
        assert before <= clock.arrival(str(today), place) <= clock.now()
        assert clock.arrival("2026-03-30 12:00", place) == clock.parse("2026-03-30 12:00", place)
        with pytest.raises(Refused, match="still to come"):
            clock.arrival(str(today + timedelta(days=1)), place)


def test_a_new_term_takes_id_and_zone_from_where_it_is(tmp_path, monkeypatch):
    """Somebody types no more than the folder: its name becomes the id, and the machine's own clock the zone."""
    monkeypatch.setenv("TZ", "Europe/Lisbon")
    made = CliRunner().invoke(app, ["term", "new", str(tmp_path / "Spring Á 2")])
    assert made.exit_code == 0 and "Term spring-a-2 is ready" in made.output
    assert "Times are those of Europe/Lisbon. If that is wrong" in made.output
    assert terms.open_term(tmp_path / "Spring Á 2").settings.zone == "Europe/Lisbon"
    monkeypatch.setenv("TZ", "CET-1")
    assert clock.zone(clock.here()), "a clock that names no place gives a zone all the same"
    with pytest.raises(Refused, match="Term id"):
        terms.id_for(tmp_path / "李")
