"""Kinds of answer that put things in order or into heaps; what all kinds share is told in part.py."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from random import Random
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from grader.errors import Unreadable
from grader.exercise import listing
from grader.exercise.part import NOTHING, Critical, Item, Judged, Part, Room, Slip, no_reasons

if TYPE_CHECKING:
    from grader.exercise.truth import Truth

_BETWEEN = "-–—−\u2010\u2011\u2012,;>→/|."  # of cylinders; some of these hyphens come with text that is pasted
KEEP, REJECT, UNDECIDED, EITHER = "keep", "reject", "undecided", "either"
_TYPED = {"k": KEEP, "r": REJECT, "u": UNDECIDED, "-": ""}  # as a sheet of paper is typed in


@dataclass(frozen=True, slots=True)
class Order(Part):
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

    picked = True
    often_fixed = True
    says_partly = (
        "Most of it works, not all. Ask of each step what must be done before it, and whether it belongs here."
    )
    says_wrong = "This order does not work. Find the step that everything else depends on and begin there."
    how_typed = "letters in order"

    def __post_init__(self):
        listing.check_keys(self.key, self.items)
        strangers = {key for pair in self.pairs for key in pair} - set(self.items)
        strangers |= {key for c in self.critical for key in (c.before, c.after)} - set(self.items)
        if strangers or len(self.items) < 2:
            raise ValueError(f"{self.key}: needs two steps or more, and has none called {sorted(strangers)}")

    @property
    def wording(self) -> Mapping[str, str]:
        return self.items

    @property
    def shuffled(self) -> tuple[str, ...]:
        return tuple(self.items)

    @property
    def guess_limit(self) -> float | None:
        return None

    def typed(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """Keys with > between: "idle>plug_line>read"."""
        return ">".join(value)

    def read(self, raw: str, given: SimpleNamespace | None = None) -> tuple[str, ...]:
        """Keys in the order given."""
        return listing.keys(raw, ">", self.items, "steps of this exercise")

    def echo(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """The steps in one line."""
        return ", then ".join(self.steps(value))

    def steps(self, value: Any) -> tuple[str, ...]:
        """The wording of each step."""
        return tuple(self.items[key] for key in value)

    def precedences(self, right: Sequence[str]) -> tuple[tuple[str, str], ...]:
        """The pairs that count where `right` is a right order."""
        named = tuple((a, b) for a, b in self.pairs if a in right and b in right)
        return named or tuple((a, b) for i, a in enumerate(right) for b in right[i + 1 :])

    def share(self, right: Any, own: Any) -> float:
        """1 - 2 bad/pairs, not below 0: one half of the pairs comes right by guessing."""
        if self.violated(right, own) is not None:
            return 0.0
        place = {key: i for i, key in enumerate(own)}
        pairs = self.precedences(right)
        bad = sum(_broken(place, *pair) for pair in pairs) + len(set(own) - set(right))
        return max(0.0, 1 - 2 * bad / len(pairs))

    def judge(self, truth: "Truth", path: str, right: Any, own: Any) -> Judged:
        """As `share`; a critical step out of place is named like a slip."""
        broken = self.violated(right, own)
        return Judged(self.share(right, own)) if broken is None else Judged(0.0, slip=broken.key)

    def violated(self, right: Sequence[str], own: Sequence[str]) -> Critical | None:
        """The first critical pair that is broken, or None."""
        place = {key: i for i, key in enumerate(own)}
        mine = (c for c in self.critical if c.before in right and c.after in right)
        return next((c for c in mine if _broken(place, c.before, c.after)), None)

    def is_fit(self, right: Any, given: SimpleNamespace) -> bool:
        """Steps are never shown in a right order."""
        return self.share(right, getattr(given, self.order_name)) < 1

    def disturbed(self, chance: Random, right: Any) -> tuple[str, ...]:
        """Two steps changed over."""
        return _two_changed_over(chance, right)

    def room(self, given: SimpleNamespace) -> Room:
        """The steps with their letters, and a numbered box for each."""
        return Room("order", tuple((letter, words) for letter, _, words in self.lettered(given)))

    def wrong_items(
        self, right: Any, own: Any, given: SimpleNamespace | None = None, because: Mapping[Any, str] = NOTHING
    ) -> list[Item]:
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
                wrong.append(Item(f"“{self.items[a]}” must come before “{self.items[b]}”.", why))
        return wrong


def _broken(place: Mapping[str, int], earlier: str, later: str) -> bool:
    return earlier not in place or later not in place or place[earlier] > place[later]


def _two_changed_over(chance: Random, right: Sequence) -> tuple:
    changed = list(right)
    one, other = chance.sample(range(len(changed)), 2)
    changed[one], changed[other] = changed[other], changed[one]
    return tuple(changed)


@dataclass(frozen=True, slots=True)
class FiringOrder(Part):
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

    often_fixed = True
    says_partly = "Part of the round is right. Follow the rotor once round the cap and note each lead."
    says_wrong = "This is not the order. Follow the rotor once round the cap and note each lead."
    how_typed = "such as 1-3-4-2"

    def __post_init__(self):
        answer = self.answer
        reversed_slip = Slip(
            "reversed",
            "The round runs backwards. Which way does the rotor turn, and which way round the cap does the task go?",
            lambda *given: tuple(reversed(answer(*given))),
        )
        object.__setattr__(self, "slips", (reversed_slip, *self.slips))

    @property
    def guess_limit(self) -> float | None:
        return None

    def typed(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """Cylinders with - between, from cylinder 1: "1-3-4-2"."""
        return "-".join(str(cylinder) for cylinder in _from_one(value))

    def read(self, raw: str, given: SimpleNamespace | None = None) -> tuple[int, ...]:
        """Cylinder numbers, from cylinder 1 on. Dashes, commas, blanks, strokes, points and arrows may part them."""
        text = raw.strip()
        named = listing.from_json(text)
        if named is None:
            for mark in _BETWEEN:
                text = text.replace(mark, " ")
            named = text.split()
            if len(named) == 1 and named[0].isdigit() and 2 <= len(named[0]) <= 9:
                named = list(named[0])  # 1342
        if not named or not all(len(str(c)) <= 2 and str(c).isascii() and str(c).isdigit() for c in named):
            raise Unreadable(f"“{raw.strip()[:30]}” is no firing order. Write the cylinders in order, such as 1-3-4-2.")
        cylinders = tuple(int(c) for c in named)
        if sorted(cylinders) != list(range(1, len(cylinders) + 1)):
            raise Unreadable(
                f"A firing order names each cylinder once, from 1 to the last; {raw.strip()[:30]} does not."
            )
        return _from_one(cylinders)

    def echo(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """As typed."""
        return self.typed(value)

    def share(self, right: Any, own: Any) -> float:
        """1 - 2 bad/pairs over the pairs "fires next", the last with the first included."""
        following = dict(zip(right, (*right[1:], right[0]), strict=True))
        if len(own) != len(right):
            return 0.0
        bad = sum(following[a] != b for a, b in zip(own, (*own[1:], own[0]), strict=True))
        return max(0.0, 1 - 2 * bad / len(right))

    def disturbed(self, chance: Random, right: Any) -> tuple[int, ...]:
        """Two leads changed over."""
        return _two_changed_over(chance, right)


def _from_one(order: Sequence[int]) -> tuple[int, ...]:
    order = tuple(order)
    start = order.index(1)
    return order[start:] + order[:start]


@dataclass(frozen=True, slots=True)
class Batch(Part):
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

    picked = True
    says_partly = (
        "Some are sorted wrongly or not at all. A bad one kept costs more than a good one rejected; where the instrument "
        "cannot tell, leave it undecided."
    )
    says_wrong = (
        "So many are sorted wrongly that no marks are left. Take one after the other and compare it with each limit."
    )
    how_typed = "k, r or u for each, - for nothing"

    def typed(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """Decisions by label: "A1=keep;A2=reject". A borderline item is written as undecided."""
        labels = self.items(given)
        heaps = (UNDECIDED if decision == EITHER else decision for decision in value)
        return ";".join(f"{label}={heap}" for label, heap in zip(labels, heaps, strict=True))

    def read(self, raw: str, given: SimpleNamespace | None = None) -> tuple[str, ...]:
        """A decision for each label, "" where none was made."""
        labels, decisions = self.items(given), {}
        for entry in listing.entries(raw):
            label, _, decision = (text.strip() for text in entry.partition("="))
            decision = decision.lower()
            if label not in labels:
                raise Unreadable(f"“{label[:30]}” is no item of this batch. The items are {', '.join(labels)}.")
            if decision not in (KEEP, REJECT, UNDECIDED, ""):
                raise Unreadable(f"{label} says “{decision[:20]}”; write {KEEP}, {REJECT} or {UNDECIDED}.")
            if label in decisions:
                raise Unreadable(f"{label} is sorted twice. Sort each item once.")
            decisions[label] = decision
        return tuple(decisions.get(label, "") for label in labels)

    def echo(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """How many went on each heap."""
        counts = ((KEEP, "kept"), (REJECT, "rejected"), (UNDECIDED, "to test again"), ("", "not sorted"))
        return ", ".join(f"{value.count(key)} {words}" for key, words in counts if value.count(key))

    def shown(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """Each item with its decision."""
        return ", ".join(f"{label}: {heap}" for label, heap in zip(self.items(given), value, strict=True) if heap)

    def recorded(self, value: Any, width: Any = 0.0) -> str:
        """The decisions in the order of the items."""
        return ";".join(value)

    def share(self, right: Any, own: Any) -> float:
        """1 - 2 errors / items that can be told, not below 0; a dangerous error counts more, a needless test half."""
        if len(own) != len(right):  # of another draw
            return 0.0
        decided = sum(truth != EITHER for truth in right)
        errors = sum(self._error(*pair) for pair in zip(right, own, strict=True))
        return max(0.0, 1 - 2 * errors / decided) if errors else 1.0

    def _error(self, truth: str, decision: str) -> float:
        if decision in (truth, UNDECIDED):
            return 0.0 if decision == truth or truth == EITHER else 0.5
        if truth == EITHER:
            return 0.0
        return self.dangerous if decision == KEEP else 1.0

    def wrong_items(
        self, right: Any, own: Any, given: SimpleNamespace | None = None, because: Mapping[Any, str] = NOTHING
    ) -> list[Item]:
        """Each item that is sorted wrongly, left undecided without need, or not sorted.

        Returns
        -------
        list of Item
        """
        did = {
            KEEP: "You kept {}.",
            REJECT: "You rejected {}.",
            UNDECIDED: "You left {} undecided, but it can be told.",
            "": "You did not sort {}.",
        }
        return [
            Item(did[decision].format(label), because.get(label, ""))
            for label, truth, decision in zip(self.items(given), right, own, strict=True)
            if self._error(truth, decision)
        ]

    def is_fit(self, right: Any, given: SimpleNamespace) -> bool:
        """A batch holds something to keep and something to reject."""
        return KEEP in right and REJECT in right

    def disturbed(self, chance: Random, right: Any) -> tuple[str, ...]:
        """One decision turned round."""
        changed = list(right)
        place = chance.choice([i for i, decision in enumerate(right) if decision != EITHER])
        changed[place] = KEEP if right[place] == REJECT else REJECT
        return tuple(changed)

    def room(self, given: SimpleNamespace) -> Room:
        """A row of three boxes for each item."""
        return Room("batch", items=tuple(self.items(given)))

    def from_paper(self, text: str, given: SimpleNamespace) -> str:
        """A letter for each item: "k r u k", - where nothing is ticked."""
        if "=" in text or not text:
            return text
        labels, letters = self.items(given), re.sub(r"[\s,;]", "", text.lower())
        if len(letters) != len(labels) or set(letters) - set(_TYPED):
            raise Unreadable(
                f"{len(labels)} decisions are asked, for {', '.join(labels)}: type k, r or u for each, - where nothing "
                "is ticked, such as " + " ".join("kru-"[place % 4] for place in range(len(labels))) + "."
            )
        decisions = zip(labels, (_TYPED[letter] for letter in letters), strict=True)
        return ";".join(f"{label}={decision}" for label, decision in decisions if decision)


@dataclass(frozen=True, slots=True)
class BatchByCost(Batch):
    """A batch marked as it was before each item had its share; for work that was issued so.

    What the decisions cost is held against the cheaper of keeping all and rejecting
    all. The same error was then worth much or nothing, as the draw fell out.
    """

    bad_kept: float = 3.0
    good_rejected: float = 1.0
    tested_again: float = 0.5

    says_wrong = (
        "Sorted like this it costs no less than rejecting all, or keeping all. Take one after the other and compare it "
        "with each limit."
    )

    def cost(self, right: Sequence[str], own: Sequence[str]) -> float:
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

    def share(self, right: Any, own: Any) -> float:
        """1 - cost / the cheaper of keeping all and rejecting all, not below 0."""
        if len(own) != len(right):
            return 0.0
        base = min(self.cost(right, (decision,) * len(right)) for decision in (KEEP, REJECT))
        spent = self.cost(right, own)
        if spent == 0:
            return 1.0
        return max(0.0, 1 - spent / base) if base else 0.0


def by_cost(batch: Part) -> BatchByCost:
    """A batch with the marks of before, for the version of an exercise that was issued with them.

    Raises
    ------
    TypeError
        Any other kind of part.
    """
    if not isinstance(batch, Batch):
        raise TypeError(f"{batch.key} is a {type(batch).__name__}; only a Batch can be marked by cost.")
    names = ("key", "prompt", "marks", "items", "answer", "objectives", "slips", "uses", "because")
    return BatchByCost(**{name: getattr(batch, name) for name in names})
