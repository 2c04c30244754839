"""The ledger sees every row that is changed, taken out, moved or put in."""

import pytest
from sqlalchemy import delete, select, update

from grader.errors import Refused
from grader.records import database, ledger, schema

TABLE = schema.ledger


@pytest.fixture
def written(empty_term):
    with database.transaction(empty_term) as connection:
        ledger.append(connection, [ledger.Entry("marked", trainee=f"t{i}", new=i) for i in range(5)])
    return empty_term


def broken(term):
    with database.transaction(term) as connection:
        return ledger.first_broken(connection)


def change(term, statement):
    with database.transaction(term) as connection:
        connection.execute(statement)


def test_a_whole_ledger(written):
    assert broken(written) is None


def test_rows_know_who_and_when(written):
    with database.transaction(written) as connection:
        rows = list(ledger.entries(connection, "marked"))
    assert [entry["new"] for _, _, entry in rows] == [0, 1, 2, 3, 4]
    assert all(entry["actor"] and at.endswith("Z") for _, at, entry in rows)


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        (update(TABLE).where(TABLE.c.seq == 4).values(payload='{"new": 99}'), "row 4 .*content was changed"),
        (update(TABLE).where(TABLE.c.seq == 4).values(event="override"), "row 4 .*was changed"),
        (update(TABLE).where(TABLE.c.seq == 4).values(at="2020-01-01T00:00:00.000Z"), "row 4 .*was changed"),
        (update(TABLE).where(TABLE.c.seq == 3).values(digest="0" * 64, payload=None), "row 3 .*was changed"),
        (delete(TABLE).where(TABLE.c.seq == 2), "row 2 is missing"),
        (update(TABLE).where(TABLE.c.seq == 5).values(hash="0" * 64), "row 5 .*was changed"),
    ],
    ids=["payload", "event", "time", "digest", "missing", "hash"],
)
def test_tampering_is_seen(written, statement, said):
    change(written, statement)
    found = broken(written)
    assert found is not None
    import re

    assert re.search(said, found), found


def test_a_row_written_anew_with_good_sums_does_not_fit_the_next_one(written):
    """Whoever changes a row and works out its own sums again is seen by the row that followed it."""
    with database.transaction(written) as connection:
        row = connection.execute(select(TABLE).where(TABLE.c.seq == 4)).one()
        payload = row.payload.replace('"new": 2', '"new": 99')
        digest = ledger._digest(row.salt, payload)
        forged = {"payload": payload, "digest": digest}
        forged["hash"] = ledger._hash(row.seq, row.at, row.event, digest, row.previous)
        assert payload != row.payload
        connection.execute(update(TABLE).where(TABLE.c.seq == 4).values(**forged))
    assert broken(written) == "Ledger row 5 does not follow row 4: one of them was changed or replaced."


def test_deleting_a_person_leaves_the_chain_whole(written):
    change(written, update(TABLE).where(TABLE.c.seq == 3).values(payload=None, salt=None))
    assert broken(written) is None
    with database.transaction(written) as connection:
        assert [entry["new"] for _, _, entry in ledger.entries(connection, "marked")] == [0, 2, 3, 4]


@pytest.mark.parametrize("event", ledger.NEED_REASON)
def test_some_events_need_a_reason(empty_term, event):
    with pytest.raises(Refused, match="needs a reason"):
        with database.transaction(empty_term) as connection:
            ledger.append(connection, [ledger.Entry("marked"), ledger.Entry(event, reason="  ")])
    with database.transaction(empty_term) as connection:
        assert ledger.count(connection) == 1  # the row of term new
