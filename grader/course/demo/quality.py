"""How well marking found out what the simulated trainees did."""

from dataclasses import dataclass

from sqlalchemy import select

from grader.course.demo import trainees
from grader.course.records import database, schema
from grader.marking.verdict import AWAITING, CARRIED, RIGHT, SLIP


@dataclass(frozen=True, slots=True)
class Quality:
    """Counts over all marked answers.

    A wrong answer is one that came by a slip or a miscalculation. A slip counts as
    named also where its number is what follows rightly from an own earlier answer.
    """

    right: int
    right_marked_right: int
    wrong: int
    wrong_named: int  # the marking named some slip, or followed an own answer
    slips: int
    slips_named: int  # it named the very slip that was made


def measure(term, diary):
    """Compare the diary of the simulated trainees with the verdicts in the records.

    Parameters
    ----------
    term : Term
    diary : dict of str to list of Did
        By trainee.

    Returns
    -------
    Quality
    """
    table = schema.answer
    with database.transaction(term) as connection:
        verdicts = {
            (row.trainee, row.part): row
            for row in connection.execute(select(table.c.trainee, table.c.part, table.c.verdict, table.c.slip))
        }
    return count((did, verdicts[who, did.part]) for who, all_did in diary.items() for did in all_did
                 if (who, did.part) in verdicts)  # fmt: skip


def count(pairs):
    """The figures from (what was done, what was said) pairs; what was said has `verdict` and `slip`."""
    right = right_right = wrong = named = slips = same = 0
    for did, said in pairs:
        if did.what == trainees.RIGHT:
            right += 1
            right_right += said.verdict in (RIGHT, CARRIED, AWAITING)
        elif did.what in (trainees.SLIPPED, trainees.MISCALCULATED):
            wrong += 1
            named += said.verdict in (SLIP, CARRIED)
            if did.what == trainees.SLIPPED:
                slips += 1
                same += said.slip == did.slip
    return Quality(right, right_right, wrong, named, slips, same)


def lines(found):
    """The figures as sentences."""
    yield f"{found.right_marked_right} of {found.right} right answers are marked right."
    yield f"{found.slips_named} of {found.slips} slips are named ({_share(found.slips_named, found.slips)})."
    yield (
        f"{found.wrong_named} of {found.wrong} wrong answers are explained by a slip or an earlier answer "
        f"({_share(found.wrong_named, found.wrong)}); the others are plain miscalculations."
    )


def _share(part, whole):
    return f"{part / whole:.0%}" if whole else "none made"
