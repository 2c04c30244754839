"""Where a class loses its way at the bench: tests it forgets, tests it takes too early, parts it swaps, proofs it skips."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from grader.bench import marks as marking
from grader.bench import plan as planning
from grader.bench import session
from grader.bench.cases import Case
from grader.bench.debrief import LEAST_LOSS, act_title, debrief, left_out, test_title
from grader.exercise.part import Listed


@dataclass(frozen=True, slots=True)
class Habits:
    """Counts over sessions, the most frequent first: (words, sessions).

    forgotten: tests that were the best next step and were never taken; early: tests that cost
    minutes when they were taken; swapped: parts fitted that nothing spoke for. skipped: sessions
    by what was left out, as keys of `marks.Marks.missing`. sessions: how many were looked at.
    """

    sessions: int
    forgotten: tuple[tuple[str, int], ...]
    early: tuple[tuple[str, int], ...]
    swapped: tuple[tuple[str, int], ...]
    skipped: tuple[tuple[str, int], ...]


def habits(worked: Iterable[tuple[Case, str]]) -> Habits:
    """The habits of a class.

    Parameters
    ----------
    worked : iterable of (Case, str)
        Each trainee's case and log.

    Raises
    ------
    Unreadable
        A log is damaged.
    """
    count, forgotten, early, swapped, skipped = 0, Counter(), Counter(), Counter(), Counter()
    for case, log in worked:
        told, count = debrief(case, log), count + 1
        taken = {planning.test_key(each.step) for each in told.steps if each.step.outcome == session.READ}
        costly = [each for each in told.steps if each.regret >= LEAST_LOSS]
        forgotten.update({test_title(each.best) for each in costly if each.best not in ("", "stop", *taken)})
        early.update({each.did for each in costly if each.step.kind == session.TEST})
        swapped.update({act_title(scored.step) for scored in told.marks.steps if scored.why == marking.FITTED})
        skipped.update(set(told.marks.missing))
    return Habits(count, *(tuple(counts.most_common()) for counts in (forgotten, early, swapped, skipped)))


MOST_ROWS = 4  # of each habit, the most frequent
SEVERAL = 2  # sessions from which something is a habit


def as_tables(worked: Sequence[tuple[Case, str]]) -> list[Listed]:
    """Where a class loses its way, with what to say next session; nothing where hardly anybody does."""
    seen = habits(worked)
    says = {
        "forgotten": ("test forgotten", "Put the shortlist on the board and ask what “{}” would show with each cause."),
        "early": ("test taken too early", "“{}” costs its minutes: ask what it could exclude at that moment."),
        "swapped": ("part swapped", "“{}” without a reading that speaks for it: ask what would have proved it first."),
    }
    rows = []
    for habit, (what, sentence) in says.items():
        for title, count in getattr(seen, habit)[:MOST_ROWS]:
            if count >= SEVERAL:
                rows.append((f"{what}: {title}", f"{count} of {seen.sessions}", sentence.format(title)))
    for key, count in seen.skipped[:MOST_ROWS]:
        if count >= SEVERAL:
            what, why = left_out(key)
            rows.append((f"left out: {what}", f"{count} of {seen.sessions}", why))
    if not rows:
        return []
    return [Listed("Where the class loses its way at the bench", ("habit", "sessions", "what to say"), rows)]
