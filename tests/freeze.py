"""Make the small term that later versions must open and mark the same: python -m tests.freeze NAME

Run it once for each version of the records, and keep the file: a frozen term is never made anew.
It holds three simulated trainees in all four modules, one of them drawn from a vehicle of the
term's own, one late, one extended, one mark by hand, letters read and one that waits.
"""

import io
import json
import sys
import tempfile
import zipfile
from pathlib import Path

from sqlalchemy import select

from grader import catalogue, clock
from grader.course.audit import verify
from grader.course.grading import adjust, mark_class, written_answers
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.demo import trainees
from grader.records import database, schema
from grader.records.gradebook import setup
from grader.records.term import roster
from tests.course import vehicles
from tests.work import issue_of, put_in_inbox

PLACE = Path(__file__).parent / "frozen"
KEPT = ("term.toml", "term.key", "gradebook.db", "handed_in", "release")
CLASS = "id,last_name,first_name,group\nF1,Arundell,Bea,A\nF2,Castellan,Rufus,A\nF3,Marr,Ivo,B\n"
SEED = 11
DRAWN_FROM_IT = "m02_dwell"  # the module whose engines are the term's own vehicle


def make(folder):
    """Fill a new term folder; returns the term."""
    term = setup.new_term(folder, term_id="frozen", title="A frozen term", zone="Europe/Lisbon")
    listed = term.folder / "rosters" / "list.csv"
    listed.write_text(CLASS, encoding="utf-8")
    roster.import_list(term, listed)
    own = vehicles.stored(term, "hall-engine", title="Hall engine").key
    for key, module in catalogue.all_modules().items():
        assign.assign(term, key, due="2026-03-31 17:00", own=(own,) if key == DRAWN_FROM_IT else ())
        for who, when in (("f1", "2026-03-30 09:00"), ("f2", "2026-04-02 09:00"), ("f3", "2026-04-01 09:00")):
            sheet, _ = trainees.answer_sheet(module, issue_of(term, who, key), SEED)
            arrived = clock.parse(when, term.settings.zone)
            collect.collect(term, [put_in_inbox(term, sheet).parent], received_at=arrived)
        mark_class.mark(term, key)
        for answer in written_answers.answers(term, key)[1:]:
            written_answers.give(
                term, key, answer.code, ["1", *["0.5"] * (len(answer.rubric) - 1)], "Say what you measured."
            )
    adjust.extend(term, "F3", "m01_timing", until="2026-04-05 17:00", reason="ill")
    adjust.override(term, "F1", "m02_dwell", catalogue.module("m02_dwell").exercises[0].name, "1", reason="misprint")
    return term


def marks(term):
    """Everything that a later version must find again: marks by module and trainee, and each answer's verdict."""
    with database.transaction(term) as connection:
        table, answer = schema.mark, schema.answer
        sheets = connection.execute(select(table).order_by(table.c.module, table.c.trainee, table.c.attempt)).all()
        parts = connection.execute(select(answer).order_by(answer.c.module, answer.c.trainee, answer.c.part)).all()
    return {
        "marks": [[r.module, r.trainee, r.attempt, r.state, r.raw, r.penalty, r.mark, r.pending] for r in sheets],
        "answers": [[r.module, r.trainee, r.part, r.raw, r.verdict, r.slip, r.hundredths] for r in parts],
    }


def main(name):
    target = PLACE / f"{name}.zip"
    if target.exists():
        sys.exit(f"{target} exists. A frozen term is never made anew; choose another name.")
    with tempfile.TemporaryDirectory() as place:
        term = make(Path(place) / "term")
        found = verify.verify(term)
        if found.findings:
            sys.exit("\n".join(found.findings))
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
            for path in sorted(p for kept in KEPT for p in (term.folder / kept, *(term.folder / kept).rglob("*"))):
                if path.is_file():
                    archive.write(path, path.relative_to(term.folder))
            archive.writestr("expected.json", json.dumps(marks(term), ensure_ascii=False, indent=0))
    PLACE.mkdir(exist_ok=True)
    target.write_bytes(packed.getvalue())
    print(f"{target}: {len(packed.getvalue()):,} bytes")


if __name__ == "__main__":
    main(*sys.argv[1:])
