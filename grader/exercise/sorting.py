"""Kinds of answer that put things in order or into heaps; what they share is told in kinds.py."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from grader.errors import Unreadable
from grader.exercise import listing
from grader.exercise.model import Item, Slip, no_reasons

_BETWEEN = "-–—−\u2010\u2011\u2012,;>→/|."  # of cylinders; some of these hyphens come with text that is pasted
KEEP, REJECT, UNDECIDED, EITHER = "keep", "reject", "undecided", "either"


@dataclass(frozen=True, slots=True)
class Critical:
    """A step out of place that spoils the whole job: `before` must come before `after`."""

    key: str
    before: str
    after: str
    says: str


@dataclass(frozen=True, slots=True)
class Order:
    """A part answered by putting steps in order.

    `items` maps keys to wording. `answer` gives one right order of the steps that
    the situation needs. `pairs` are the precedences that matter, as (earlier,
    later); left out, every pair of the right order counts. A step left out breaks
    each of its pairs; a step that does not belong breaks one pair.

    `because` takes what `answer` takes and gives a mapping of reasons, each one whole
    sentence: under a pair (earlier, later) why the one comes before the other, under
    a step why it belongs here, or why it does not. A pair or a step without one
    is named without a reason.
    """

    key: str
    prompt: str
    marks: int
    items: Mapping[str, str]
    answer: Callable
    objectives: tuple[str, ...]
    pairs: tuple[tuple[str, str], ...] = ()
    critical: tuple[Critical, ...] = ()
    slips: tuple[Slip, ...] = ()
    uses: tuple[str, ...] = ()
    because: Callable = no_reasons

    def __post_init__(self):
        listing.check_keys(self.key, self.items)
        strangers = {key for pair in self.pairs for key in pair} - set(self.items)
        strangers |= {key for c in self.critical for key in (c.before, c.after)} - set(self.items)
        if strangers or len(self.items) < 2:
            raise ValueError(f"{self.key}: needs two steps or more, and has none called {sorted(strangers)}")

    @property
    def shuffled(self):
        return tuple(self.items)

    def typed(self, value, given=None):
        """Keys with > between: "idle>plug_line>read"."""
        return ">".join(value)

    def read(self, raw, given=None):
        """Keys in the order given."""
        return listing.keys(raw, ">", self.items, "steps of this exercise")

    def echo(self, value, given=None):
        return ", then ".join(self.items[key] for key in value)

    def precedences(self, right):
        """The pairs that count where `right` is a right order."""
        named = tuple((a, b) for a, b in self.pairs if a in right and b in right)
        return named or tuple((a, b) for i, a in enumerate(right) for b in right[i + 1 :])

    def share(self, right, own):
        """1 - 2 bad/pairs, not below 0: one half of the pairs comes right by guessing."""
        place = {key: i for i, key in enumerate(own)}
        if any(_broken(place, c.before, c.after) for c in self.critical if c.before in right and c.after in right):
            return 0.0
        pairs = self.precedences(right)
        bad = sum(_broken(place, *pair) for pair in pairs) + len(set(own) - set(right))
        return max(0.0, 1 - 2 * bad / len(pairs))

    def violated(self, right, own):
        """The first critical pair that is broken, or None."""
        place = {key: i for i, key in enumerate(own)}
        mine = (c for c in self.critical if c.before in right and c.after in right)
        return next((c for c in mine if _broken(place, c.before, c.after)), None)

    def wrong_items(self, right, own, given=None, because=MappingProxyType({})):
        """Steps that do not belong, steps left out, and pairs that stand the wrong way round.

        Of a step that overtook several others the nearest of them is named, and every critical one.

        Returns
        -------
        list of Item
        """
        place = {key: i for i, key in enumerate(own)}
        rank = {key: i for i, key in enumerate(right)}
        critical = {(c.before, c.after): c.says for c in self.critical if c.before in rank and c.after in rank}
        counted = dict.fromkeys((*self.precedences(right), *critical))
        broken = [(a, b) for a, b in counted if a in place and b in place and place[a] > place[b]]
        wrong = [
            Item(f"“{self.items[key]}” does not belong here.", because.get(key, "")) for key in own if key not in rank
        ]
        wrong += [Item(f"“{self.items[key]}” is left out.", because.get(key, "")) for key in right if key not in place]
        for a, b in broken:
            nearer = any(
                rank[a] < rank[step] < rank[b] and ((a, step) in broken or (step, b) in broken) for step in right
            )
            if not nearer or (a, b) in critical:
                why = because.get((a, b)) or critical.get((a, b), "")
                wrong.append(Item(f"“{self.items[a]}” comes before “{self.items[b]}”.", why))
        return wrong


def _broken(place, earlier, later):
    return earlier not in place or later not in place or place[earlier] > place[later]


@dataclass(frozen=True, slots=True)
class FiringOrder:
    """A part answered with a firing order; where it begins does not matter.

    `answer` gives the cylinder numbers in order. The reversed order is a slip of
    every firing order: the leads sit in the cap the wrong way round.
    """

    key: str
    prompt: str
    marks: int
    answer: Callable
    objectives: tuple[str, ...]
    slips: tuple[Slip, ...] = ()
    uses: tuple[str, ...] = ()
    shuffled = ()

    def __post_init__(self):
        answer = self.answer
        reversed_slip = Slip(
            "reversed",
            "The round runs backwards. Which way does the rotor turn, and which way round the cap does the task go?",
            lambda *given: tuple(reversed(answer(*given))),
        )
        object.__setattr__(self, "slips", (reversed_slip, *self.slips))

    def typed(self, value, given=None):
        """Cylinders with - between, from cylinder 1: "1-3-4-2"."""
        return "-".join(str(cylinder) for cylinder in _from_one(value))

    def read(self, raw, given=None):
        """Cylinder numbers, from cylinder 1 on. Dashes, commas, blanks, strokes, points and arrows may part them."""
        text = raw.strip()
        found = listing.from_json(text)
        if found is None:
            for mark in _BETWEEN:
                text = text.replace(mark, " ")
            found = text.split()
            if len(found) == 1 and found[0].isdigit() and 2 <= len(found[0]) <= 9:
                found = list(found[0])  # 1342
        if not found or not all(len(str(c)) <= 2 and str(c).isascii() and str(c).isdigit() for c in found):
            raise Unreadable(f"“{raw.strip()[:30]}” is no firing order. Write the cylinders in order, such as 1-3-4-2.")
        cylinders = tuple(int(c) for c in found)
        if sorted(cylinders) != list(range(1, len(cylinders) + 1)):
            raise Unreadable(
                f"A firing order names each cylinder once, from 1 to the last; {raw.strip()[:30]} does not."
            )
        return _from_one(cylinders)

    def echo(self, value, given=None):
        return self.typed(value)

    def share(self, right, own):
        """1 - 2 bad/pairs over the pairs "fires next", the last with the first included."""
        following = dict(zip(right, (*right[1:], right[0]), strict=True))
        if len(own) != len(right):
            return 0.0
        bad = sum(following[a] != b for a, b in zip(own, (*own[1:], own[0]), strict=True))
        return max(0.0, 1 - 2 * bad / len(right))


def _from_one(order):
    order = tuple(order)
    start = order.index(1)
    return order[start:] + order[:start]


@dataclass(frozen=True, slots=True)
class Batch:
    """A part answered by sorting items into keep, reject and "undecided, test again".

    `items` gives the labels of the drawn items; `answer` gives "keep", "reject" or
    "either" for each, in the same order: "either" where the instrument cannot tell.
    `because` takes what `answer` takes and gives by label the reason for that
    decision, one whole sentence with the item's own figures ("0.98 mm lies 0.06 mm over
    the limit."); an item without one is named without a reason.

    Each item that can be told is worth the same share of the marks. A good one
    rejected, or one not sorted, takes two shares, so that guessing earns nothing; a bad
    one kept comes back and is `dangerous` times as dear; one left undecided costs
    the time of another test, one share.
    """

    key: str
    prompt: str
    marks: int
    items: Callable
    answer: Callable
    objectives: tuple[str, ...]
    dangerous: float = 2.0
    slips: tuple[Slip, ...] = ()
    uses: tuple[str, ...] = ()
    because: Callable = no_reasons
    shuffled = ()

    def typed(self, value, given=None):
        """Decisions by label: "A1=keep;A2=reject". A borderline item is written as undecided."""
        labels = self.items(given)
        said = (UNDECIDED if decision == EITHER else decision for decision in value)
        return ";".join(f"{label}={decision}" for label, decision in zip(labels, said, strict=True))

    def read(self, raw, given=None):
        """A decision for each label, "" where none was made."""
        labels, found = self.items(given), {}
        for entry in listing.entries(raw):
            label, _, decision = (text.strip() for text in entry.partition("="))
            decision = decision.lower()
            if label not in labels:
                raise Unreadable(f"“{label[:30]}” is no item of this batch. The items are {', '.join(labels)}.")
            if decision not in (KEEP, REJECT, UNDECIDED, ""):
                raise Unreadable(f"{label} says “{decision[:20]}”; write {KEEP}, {REJECT} or {UNDECIDED}.")
            if label in found:
                raise Unreadable(f"{label} is sorted twice. Sort each item once.")
            found[label] = decision
        return tuple(found.get(label, "") for label in labels)

    def echo(self, value, given=None):
        counts = ((KEEP, "kept"), (REJECT, "rejected"), (UNDECIDED, "to test again"), ("", "not sorted"))
        return ", ".join(f"{value.count(key)} {said}" for key, said in counts if value.count(key))

    def share(self, right, own):
        """1 - 2 errors / items that can be told, not below 0; a dangerous error counts more, a needless test half."""
        told = sum(truth != EITHER for truth in right)
        errors = sum(self._error(*pair) for pair in zip(right, own, strict=True))
        return max(0.0, 1 - 2 * errors / told) if errors else 1.0

    def _error(self, truth, decision):
        if decision in (truth, UNDECIDED):
            return 0.0 if decision == truth or truth == EITHER else 0.5
        if truth == EITHER:
            return 0.0
        return self.dangerous if decision == KEEP else 1.0

    def wrong_items(self, right, own, given=None, because=MappingProxyType({})):
        """Each item that is sorted wrongly, left undecided without need, or not sorted.

        Returns
        -------
        list of Item
        """
        words = {KEEP: "kept", REJECT: "rejected", UNDECIDED: "left undecided, though it can be told", "": "not sorted"}
        return [
            Item(f"{label} is {words[decision]}.", because.get(label, ""))
            for label, truth, decision in zip(self.items(given), right, own, strict=True)
            if self._error(truth, decision)
        ]


@dataclass(frozen=True, slots=True)
class BatchByCost(Batch):
    """A batch marked as it was before each item had its share; for work that was issued so.

    What the decisions cost is held against the cheaper of keeping all and rejecting
    all. The same error was then worth much or nothing, as the draw fell out.
    """

    bad_kept: float = 3.0
    good_rejected: float = 1.0
    tested_again: float = 0.5

    def cost(self, right, own):
        """What the decisions cost. An item not sorted costs as if it were sorted wrongly."""
        total = 0.0
        for truth, decision in zip(right, own, strict=True):
            if truth == EITHER or truth == decision:
                continue
            if decision == UNDECIDED:
                total += self.tested_again
            else:
                total += self.bad_kept if truth == REJECT else self.good_rejected
        return total

    def share(self, right, own):
        """1 - cost / the cheaper of keeping all and rejecting all, not below 0."""
        base = min(self.cost(right, (decision,) * len(right)) for decision in (KEEP, REJECT))
        spent = self.cost(right, own)
        if spent == 0:
            return 1.0
        return max(0.0, 1 - spent / base) if base else 0.0


def by_cost(batch):
    """A batch with the marks of before, for the version of an exercise that was issued with them."""
    names = ("key", "prompt", "marks", "items", "answer", "objectives", "slips", "uses", "because")
    return BatchByCost(**{name: getattr(batch, name) for name in names})
