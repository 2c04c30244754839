"""Whether a term still is the one whose numbers went out: its id and its key made them all."""

from sqlalchemy import select

from grader.errors import BadFile
from grader.exercise import issued
from grader.records import schema


def compare(term, connection):
    """Sentences about an id or a key that is not the one with which numbers were issued, and about changed issues.

    A resit, or whoever joins later, would get numbers from them; so would a code in the place of a name.
    """
    foreign, changed, count = set(), [], 0
    for row in connection.execute(select(schema.issue).order_by(schema.issue.c.trainee, schema.issue.c.module)):
        count += 1
        who = f"{row.trainee}, {row.module}, attempt {row.attempt}"
        try:
            record = issued.parse(row.record.encode())
        except BadFile as problem:
            changed.append(f"{who}: {problem}")
            continue
        if record.term != term.id:
            foreign.add(record.term)
        if issued.seal(record, term.key) != record.token:
            changed.append(f"{who}: the numbers in the records are not as they were issued. Compare with a copy.")
    for made_as in sorted(foreign):
        yield (
            f"term.toml has the id {term.id}; the numbers were issued as {made_as}. Put the id back: what comes in "
            "for the other one cannot be collected."
        )
    if count and len(changed) == count:
        doubt = ", or these were changed" if count == 1 else ""
        yield f"term.key is not the key with which the numbers were issued{doubt}. Put it back from your copy."
    else:
        yield from changed
