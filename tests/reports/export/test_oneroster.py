"""OneRoster packages: every one we write passes, every spoiled one is refused, and no class is deleted unasked."""

import csv
import io
import json
import zipfile

import pytest
from frictionless import Resource, Schema, fields, system

from grader.errors import BadFile, Refused, Unknown
from grader.records import database, ledger
from grader.records.term import roster
from grader.reports.export import pseudonym
from grader.reports.export.oneroster import programme, rows, writer
from grader.reports.export.oneroster.check import checker
from tests.reports.export.conftest import members


@pytest.fixture
def whole(classes, tmp_path):
    """The programme of both classes."""
    return programme.create(tmp_path / "programme.toml", [term.folder for term in classes], centre="Quayside workshop")


@pytest.fixture
def packed(whole):
    """A bulk package of the whole programme."""
    return writer.write([], programme=whole, bulk=True)


def table(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


def pack(path, files, compression=zipfile.ZIP_DEFLATED):
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, text in files.items():
            archive.writestr(name, text if isinstance(text, bytes) else text.encode())
    return path


def cell(files, name, row, column, value):
    """The package with one cell of a file changed."""
    lines = list(csv.reader(io.StringIO(files[name], newline="")))
    lines[row][lines[0].index(column)] = value(lines[row][lines[0].index(column)]) if callable(value) else value
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerows(lines)
    return {**files, name: text.getvalue()}


def row_of(files, name, **wanted):
    return 1 + next(n for n, row in enumerate(table(files[name])) if all(row[k] == v for k, v in wanted.items()))


def replaced(name, old, new):
    def spoil(files):
        assert old in files[name], f"{old!r} is not in {name}"
        return {**files, name: files[name].replace(old, new, 1)}

    return spoil


def put(name, row, column, value):
    return lambda files: cell(files, name, row, column, value)


def put_where(name, column, value, **wanted):
    return lambda files: cell(files, name, row_of(files, name, **wanted), column, value)


def left_out(name):
    return lambda files: {key: text for key, text in files.items() if key != name}


def copied_row(name):
    return lambda files: {**files, name: files[name] + files[name].split("\r\n")[1] + "\r\n"}


def header_only(files):
    return {**files, "categories.csv": files["categories.csv"].split("\r\n")[0] + "\r\n"}


def renamed(old, new):
    return lambda files: {new if name == old else name: text for name, text in files.items()}


def not_enrolled(files):
    result = table(files["results.csv"])[0]
    keep = [line for line in files["enrollments.csv"].split("\r\n") if result["studentSourcedId"] not in line]
    return {**files, "enrollments.csv": "\r\n".join(keep)}


def in_school_year(files):
    year = next(row["sourcedId"] for row in table(files["academicSessions.csv"]) if row["type"] == "schoolYear")
    return cell(files, "lineItems.csv", 1, "academicSessionSourcedId", year)


SPOILED = {
    "manifest missing": (left_out("manifest.csv"), "manifest.csv is missing"),
    "manifest header": (replaced("manifest.csv", "propertyName", "property"), "must begin with"),
    "manifest version": (replaced("manifest.csv", "manifest.version,1.0", "manifest.version,1"), "manifest.version is '1'"),
    "oneroster version": (replaced("manifest.csv", "oneroster.version,1.2", "oneroster.version,1.2.1"), "oneroster.version"),
    "manifest row missing": (replaced("manifest.csv", "file.demographics,absent\r\n", ""), "demographics 0 times"),
    "manifest row twice": (replaced("manifest.csv", "file.demographics,absent\r\n", "file.demographics,absent\r\n" * 2), "2 times"),
    "manifest order": (replaced("manifest.csv", "manifest.version,1.0\r\noneroster.version,1.2", "oneroster.version,1.2\r\nmanifest.version,1.0"), "order"),
    "manifest word": (replaced("manifest.csv", "file.users,bulk", "file.users,full"), "file.users is 'full'"),
    "manifest says absent": (replaced("manifest.csv", "file.orgs,bulk", "file.orgs,absent"), "orgs.csv is absent"),
    "file lacking": (left_out("orgs.csv"), "lacks it"),
    "letter case of a name": (renamed("lineItems.csv", "lineitems.csv"), "no file of the standard"),
    "file in a folder": (renamed("orgs.csv", "data/orgs.csv"), "lies in a folder"),
    "header in another order": (replaced("orgs.csv", "name,type", "type,name"), "does not begin with"),
    "heading misspelt": (replaced("users.csv", "givenName", "givenname"), "does not begin with"),
    "own column without metadata": (replaced("categories.csv", "weight\r\n", "weight,colour\r\n"), "does not begin with"),
    "no data rows": (header_only, "no data rows"),
    "row too short": (replaced("categories.csv", ",\r\n", "\r\n"), "cells under"),
    "line break in a field": (put("orgs.csv", 1, "name", "Quayside\nworkshop"), "line break"),
    "obligatory value empty": (put("users.csv", 1, "familyName", ""), "obligatory"),
    "id with a blank": (put("results.csv", 1, "sourcedId", "a b"), "is no id"),
    "id too long": (put("results.csv", 1, "sourcedId", "a" * 256), "is no id"),
    "id with an umlaut": (put("results.csv", 1, "sourcedId", "Ü1"), "is no id"),
    "id twice": (copied_row("users.csv"), "is there twice"),
    "status in bulk": (put("users.csv", 1, "status", "active"), "must be empty in bulk"),
    "moment in bulk": (put("users.csv", 1, "dateLastModified", "2026-01-01T00:00:00.000Z"), "must be empty in bulk"),
    "unknown word": (put("results.csv", 1, "scoreStatus", "Fully Graded"), "is none of"),
    "vocabulary not extendable": (put("roles.csv", 1, "roleType", "ext:third"), "is none of"),
    "date written otherwise": (put("lineItems.csv", 1, "dueDate", "2026-2-1"), "is no Date"),
    "date that does not exist": (put("lineItems.csv", 1, "dueDate", "2027-02-29"), "is no Date"),
    "year in two figures": (put("academicSessions.csv", 1, "schoolYear", "26"), "is no Year"),
    "boolean in capitals": (put("users.csv", 1, "enabledUser", "TRUE"), "is none of"),
    "score nan": (put_where("results.csv", "score", "nan", scoreStatus="fully graded"), "is no Float"),
    "score with a comma": (put_where("results.csv", "score", "5,5", scoreStatus="fully graded"), "is no Float"),
    "weight with a sign": (put("categories.csv", 1, "weight", "60%"), "is no Integer"),
    "score above the maximum": (put_where("results.csv", "score", "99", scoreStatus="fully graded"), "outside 0.0 to 30.0"),
    "score below nought": (put_where("results.csv", "score", "-1", scoreStatus="fully graded"), "outside"),
    "graded without a score": (put_where("results.csv", "score", "", scoreStatus="fully graded"), "has no score"),
    "score of nothing": (put_where("results.csv", "score", "0", scoreStatus="not submitted"), "and has a score"),
    "graded and missing": (put_where("results.csv", "missing", "true", scoreStatus="fully graded"), "missing at once"),
    "reference into nothing": (put("lineItems.csv", 1, "categorySourcedId", "nowhere"), "is not in categories.csv"),
    "student not in the class": (not_enrolled, "not enrolled"),
    "second result": (lambda files: cell({**files, "results.csv": files["results.csv"] + files["results.csv"].split("\r\n")[1] + "\r\n"}, "results.csv", -1, "sourcedId", "other"), "second result"),
    "line item in a school year": (in_school_year, "in a school year"),
    "end before beginning": (put("academicSessions.csv", 1, "endDate", "2001-01-01"), "before it begins"),
    "due before assigned": (put("lineItems.csv", 1, "dueDate", "2001-01-01"), "due before"),
    "student marked primary": (put("enrollments.csv", 1, "primary", "true"), "no teacher"),
    "two primary roles": (lambda files: cell({**files, "roles.csv": files["roles.csv"] + files["roles.csv"].split("\r\n")[1] + "\r\n"}, "roles.csv", -1, "sourcedId", "other"), "second primary"),
    "case id that is none": (put("lineItemLearningObjectiveIds.csv", 1, "source", "case"), "no UUID"),
    "text too long": (put("orgs.csv", 1, "name", "x" * 256), "keeps 255"),
    "company missing": (lambda files: replaced("manifest.csv", "file.enrollments,bulk", "file.enrollments,absent")(left_out("enrollments.csv")(files)), "needs enrollments.csv"),
    "not UTF-8": (lambda files: {**files, "orgs.csv": files["orgs.csv"].replace("Quayside", "Ça").encode("cp1252")}, "not UTF-8"),
    "quote left open": (replaced("orgs.csv", "Quayside", '"Quayside'), "no CSV table"),
}  # fmt: skip


@pytest.mark.parametrize("name", SPOILED)
def test_a_spoiled_package_is_refused(good, tmp_path, name):
    spoil, said = SPOILED[name]
    found = checker.check(pack(tmp_path / "spoiled.zip", spoil(good)))
    assert any(said in sentence for sentence in found), found


def test_packages_that_are_no_zip_or_packed_otherwise(packed, tmp_path):
    (tmp_path / "no.zip").write_bytes(b"PK\x03\x04 nothing")
    assert "no readable zip" in checker.check(tmp_path / "no.zip")[0]
    stored = pack(tmp_path / "stored.zip", members(packed), zipfile.ZIP_STORED)
    assert any("not packed with DEFLATE" in sentence for sentence in checker.check(stored))
    with pytest.raises(BadFile, match="is missing"):
        checker.check(tmp_path / "nowhere.zip")


class TestWhatIsAllowed:
    """Strict is not the same as narrow: legal packages that differ from ours pass."""

    def test_a_byte_order_mark_and_own_columns(self, packed, tmp_path):
        files = members(packed)
        files["categories.csv"] = "\ufeff" + files["categories.csv"].replace(
            "weight\r\n", "weight,metadata.colour\r\n", 1
        ).replace(",\r\n", ",,red\r\n")
        assert checker.check(pack(tmp_path / "p.zip", files)) == []

    def test_a_manifest_alone_means_no_updates(self, packed, tmp_path):
        text = members(packed)["manifest.csv"].replace(",bulk", ",absent")
        assert checker.check(pack(tmp_path / "p.zip", {"manifest.csv": text})) == []

    def test_extended_words(self, packed, tmp_path):
        files = cell(members(packed), "classes.csv", 1, "classType", "ext:evening")
        assert checker.check(pack(tmp_path / "p.zip", files)) == []


class TestWhatWeWrite:
    @pytest.mark.parametrize("pseudonymous", [False, True])
    def test_bulk_and_delta_pass(self, whole, classes, pseudonymous):
        for options in ({"programme": whole, "bulk": True}, {"programme": whole}):
            assert checker.check(writer.write([], pseudonymous=pseudonymous, **options), complete=True) == []
        part = writer.write(classes[1:], programme=whole, pseudonymous=pseudonymous)
        assert checker.check(part, complete=True) == []

    def test_the_demo_passes(self, demo_term):
        assert checker.check(writer.write([demo_term]), complete=True) == []

    def test_results_say_what_happened(self, packed, classes):
        files = members(packed)
        results = table(files["results.csv"])
        assert len(results) == 11
        by = {row["studentSourcedId"]: row for row in results}
        first = by[pseudonym.code(classes[0], "0046", "oneroster")]
        assert (first["scoreStatus"], first["score"], first["late"], first["missing"]) == (
            "fully graded",
            "28",
            "false",
            "false",
        )
        late = [row for row in results if row["late"] == "true"]
        assert len(late) == 2 and {row["score"] for row in late} == {"22.4"}
        assert all(row["comment"] == "passed; raw mark 28, penalty 5.6 for 2 days late" for row in late)
        missing = [row for row in results if row["scoreStatus"] == "not submitted"]
        assert len(missing) == 5 and all((row["score"], row["missing"]) == ("", "true") for row in missing)

    def test_ends_are_exclusive_and_years_called_after_their_end(self, packed):
        sessions = table(members(packed)["academicSessions.csv"])
        years = [row for row in sessions if row["type"] == "schoolYear"]
        assert all(row["startDate"][4:] == row["endDate"][4:] == "-09-01" for row in years)
        assert all(row["schoolYear"] == row["endDate"][:4] for row in years)

    def test_ids_are_the_same_every_time_and_no_plain_digest(self, packed, whole, tmp_path):
        again = writer.write([], tmp_path / "again.zip", programme=whole, bulk=True)
        assert again.read_bytes() == packed.read_bytes()
        import hashlib
        import uuid

        text = "".join(members(packed)[name] for name in ("users.csv", "roles.csv"))
        for guess in (hashlib.sha256(b"0042").hexdigest(), str(uuid.uuid5(rows._NAMES, "0042"))):
            assert guess[:16] not in text

    def test_no_names_in_a_pseudonymous_package(self, whole):
        said = "".join(members(writer.write([], programme=whole, bulk=True, pseudonymous=True)).values())
        assert not [word for word in ("Null", "O’Neil", "李", "0042", "Ford", "Ann1") if word in said]
        assert "O’Neil, Jr." in "".join(members(writer.write([], programme=whole, bulk=True)).values())

    def test_who_left_keeps_his_result_and_his_enrolment_ends(self, classes, whole, tmp_path):
        (tmp_path / "fewer.csv").write_text(
            "id,last_name,first_name\n" + "".join(f"B{n},Ford{n},Ann{n}\n" for n in range(1, 6))
        )
        roster.import_list(classes[1], tmp_path / "fewer.csv")
        files = members(writer.write(classes[1:], programme=whole))
        ended = [row for row in table(files["enrollments.csv"]) if row["endDate"]]
        assert [row["userSourcedId"] for row in ended] == [pseudonym.code(classes[1], "b0", "oneroster")]
        assert ended[0]["userSourcedId"] in {row["studentSourcedId"] for row in table(files["results.csv"])}

    def test_frictionless_agrees_where_it_can(self, packed):
        """Header, types, vocabularies and keys by a library that is not ours, from the same column facts."""
        from grader import tables

        facts = {}
        for fact in tables.rows("oneroster_columns.csv", checker.COLUMNS):
            facts.setdefault(fact["file"], []).append(fact)
        kinds = {
            "Date": fields.DateField,
            "Float": fields.NumberField,
            "Integer": fields.IntegerField,
            "Year": fields.YearField,
        }
        for name, text in members(packed).items():
            if name == "manifest.csv":
                continue
            made = []
            for fact in facts[name]:
                rules = {"required": True} if fact["needed"] == "always" else {}
                if fact["vocabulary"] and fact["extendable"] == "no":
                    rules["enum"] = fact["vocabulary"].split(";")
                made.append(kinds.get(fact["format"], fields.StringField)(name=fact["column"], constraints=rules))
            schema = Schema(fields=made, primary_key=["sourcedId"])
            with system.use_context(trusted=True):
                resource = Resource(data=text.encode(), format="csv", encoding="utf-8", schema=schema)
                assert resource.validate().flatten(["rowNumber", "fieldName", "note"]) == [], name


class TestNothingIsDeletedUnasked:
    def test_bulk_without_the_programme(self):
        with pytest.raises(Refused, match="Name the whole programme"):
            writer.write([], bulk=True)

    def test_bulk_of_a_part(self, classes, whole):
        with pytest.raises(Refused, match="never a part"):
            writer.write(classes[:1], programme=whole, bulk=True)
        assert not (classes[0].folder / "exports" / "oneroster-bulk.zip").exists()

    def test_a_class_that_was_sent_before_is_missed(self, classes, whole, packed):
        text = whole.path.read_text("utf-8")
        whole.path.write_text("\n".join(line for line in text.splitlines() if "spring-b" not in line), encoding="utf-8")
        smaller = programme.read(whole.path)
        with pytest.raises(Refused, match="would delete spring-b"):
            writer.write([], programme=smaller, bulk=True)
        writer.write([], programme=smaller, bulk=True, drop=["spring-b"])
        assert programme.sent(smaller, classes[:1]) == {"spring-a"}

    def test_a_delta_is_remembered_too(self, classes, whole):
        writer.write(classes[1:], programme=whole)
        assert programme.sent(whole, classes[1:]) == {"spring-b"}
        assert programme.sent(whole, classes[:1]) == {"spring-b"}, "the other class knows it, too"

    @pytest.mark.parametrize("kind", ["bulk", "delta"])
    def test_a_copied_file_knows_as_much_as_the_first(self, classes, whole, kind, tmp_path):
        """The receiver would delete spring-b, whatever the file is called and wherever it lies."""
        writer.write([] if kind == "bulk" else classes[1:], programme=whole, bulk=kind == "bulk")
        copy = tmp_path / "elsewhere" / "another.toml"
        copy.parent.mkdir()
        copy.write_text(whole.path.read_text("utf-8").replace(json.dumps(str(classes[1].folder)) + ",", ""), "utf-8")
        with pytest.raises(Refused, match="would delete spring-b"):
            writer.write([], copy.parent / "all.zip", programme=programme.read(copy), bulk=True)
        made_anew = programme.create(tmp_path / "anew.toml", [classes[0].folder], centre=whole.centre)
        with pytest.raises(Refused, match="would delete spring-b"):
            writer.write([], copy.parent / "all.zip", programme=made_anew, bulk=True)
        assert not (copy.parent / "all.zip").exists()

    def test_what_an_earlier_version_noted_beside_the_file_still_holds(self, classes, whole):
        whole.sent_path.write_text('{"format": "timing-mark sent", "classes": ["autumn-z"]}')
        with pytest.raises(Refused, match="would delete autumn-z"):
            writer.write([], programme=whole, bulk=True)
        writer.write(classes[1:], programme=whole)
        assert not whole.sent_path.exists() and programme.sent(whole, classes[:1]) == {"autumn-z", "spring-b"}

    def test_a_term_folder_that_is_gone(self, classes, whole):
        classes[1].folder.rename(classes[1].folder.with_name("moved"))
        with pytest.raises(Unknown, match="not a term folder"):
            writer.write([], programme=whole, bulk=True)

    def test_a_stranger_in_a_delta(self, whole, demo_term):
        with pytest.raises(Refused, match="is not in"):
            writer.write([demo_term], programme=whole)

    def test_a_programme_file_is_not_overwritten(self, whole, classes):
        with pytest.raises(Refused, match="is there already"):
            programme.create(whole.path, [classes[0].folder], centre="Other")

    def test_a_class_without_work(self, empty_term):
        with pytest.raises(Refused, match="no assessed work"):
            writer.write([empty_term])


def test_exports_stand_in_the_ledger(classes, packed):
    for term in classes:
        with database.transaction(term) as connection:
            assert [entry["new"] for _, _, entry in ledger.entries(connection, "export")] == ["oneroster-bulk.zip"]
