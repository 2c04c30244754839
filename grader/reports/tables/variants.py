"""Whether the numbers drawn make a question easier or harder: facility by bins of what was drawn.

Where an exercise draws an engine, a bin is an engine. Number answers are also put in
order of what was right and cut into thirds, or halves where thirds would be too small;
other answers go by what was right. Bins of fewer than ten trainees are not shown.
"""

from collections.abc import Iterable, Iterator

import numpy as np

from grader import catalogue
from grader.reports.tables import statistics
from grader.reports.tables.item_analysis import Pool, figure

BY_ENGINE, BY_ANSWER = "engine", "right answer"
_WORDS = {2: ("lower half", "upper half"), 3: ("lowest third", "middle third", "highest third")}


def rows(pools_found: Iterable[Pool]) -> Iterator[dict[str, str]]:
    """Rows of variants.csv, from pools that hold what was drawn."""
    for pool in pools_found:
        table = pool.marks
        for column, (item, most) in enumerate(zip(pool.items, pool.most, strict=True)):
            marks = table[:, column]
            for by, label, mine in bins(pool, column):
                compared = statistics.against_rest(marks[mine], marks[~mine], most / 100)
                yield {
                    "module": pool.module,
                    "key_version": pool.key_version,
                    "item": item,
                    "by": by,
                    "bin": label,
                    "n": str(int(mine.sum())),
                    "full_marks": str(int(np.count_nonzero(marks[mine] >= most / 100))),
                    "facility": figure(compared.facility),
                    "facility_of_rest": figure(compared.of_rest),
                    "difference": figure(compared.difference),
                    "standard_error": figure(compared.error),
                    "note": compared.note,
                }


def bins(pool: Pool, column: int) -> Iterator[tuple[str, str, np.ndarray]]:
    """(what the bins are, words for one, which rows of the pool are in it) of every bin of ten or more."""
    item = pool.items[column]
    engines = [drawn.get(item.rpartition(".")[0], "") for drawn in pool.engines]
    yield from _by_text(BY_ENGINE, engines)
    right = [answers[column] for answers in pool.right]
    if all(isinstance(answer, float) for answer in right):
        yield from _by_size(right, _unit(pool.module, item))
    elif all(isinstance(answer, str) for answer in right):
        yield from _by_text(BY_ANSWER, right)


def _by_text(by, texts):
    values = np.array(texts, dtype=object)
    groups = sorted(set(filter(None, texts)))
    if len(groups) < 2:
        return
    for group in groups:
        mine = values == group
        if mine.sum() >= statistics.FEW:
            yield by, group, mine


def _by_size(right, unit):
    """Bins of about the same number of people; whoever has the same right answer is in the same bin."""
    values = np.array(right)
    parts = min(3, len(values) // statistics.FEW)
    if parts < 2 or np.ptp(values) == 0:
        return
    ordered = np.sort(values)
    cuts = [ordered[round(place * len(values) / parts)] for place in range(1, parts)]
    place = np.searchsorted(cuts, values, side="right")
    for number, word in enumerate(_WORDS[parts]):
        mine = place == number
        if statistics.FEW <= mine.sum() < len(values):
            low, high = values[mine].min(), values[mine].max()
            yield BY_ANSWER, f"{word}: {low:.4g} to {high:.4g} {unit}".strip(), mine


def _unit(module_key, item):
    known = catalogue.module(module_key).by_path.get(item)
    return known[1].unit if known is not None else ""
