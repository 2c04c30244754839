"""Every column of our own tables: its kind, what it says, and what becomes of it without names."""

from dataclasses import dataclass

from grader.course.attempts import passing, standing
from grader.exercise.model import ASSESSED, PRACTICE
from grader.pages.csv_file import DATE, INTEGER, MOMENT, NUMBER, TEXT
from grader.records import ledger, witnessed

KEEP, CODE, DROP, DAY = "keep", "code", "drop", "day"  # in a pseudonymous export
YES_NO = ("yes", "no")
PATHS = ("direct", "consequential", "partial", "none")
STATES = (
    standing.NOT_ASSIGNED,
    standing.NOT_HANDED_IN,
    standing.HANDED_IN,
    standing.PARTLY_MARKED,
    standing.MARKED,
    standing.EXCUSED,
)
MET = (passing.YES, passing.NO, passing.TOO_FEW, passing.WAITS)
MODES = (ASSESSED, PRACTICE)


@dataclass(frozen=True, slots=True)
class Column:
    """One column. `words` are all values it can have; `needed` ones are never blank."""

    name: str
    kind: str
    says: str
    private: str = KEEP
    words: tuple = ()
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Shape:
    """One table: columns in order, and the columns that together name a row."""

    name: str
    says: str
    columns: tuple
    key: tuple

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)


_CLASS = Column("class", TEXT, "Id of the term", needed=True)
_TRAINEE = Column("trainee_id", TEXT, "The college's own id, as text", CODE, needed=True)
_MODULE = Column("module", TEXT, "Key of the module", needed=True)
_ATTEMPT = Column("attempt", INTEGER, "Which issue of numbers")

GRADES = Shape(
    "grades",
    "One row for each trainee and module; a mark that does not exist is blank",
    (
        _CLASS,
        _TRAINEE,
        Column("last_name", TEXT, "Family name", DROP),
        Column("first_name", TEXT, "Given name", DROP),
        _MODULE,
        Column("mode", TEXT, "practice is no grade: it is not passed or failed, and counts in no total", words=MODES),
        Column("attempt", INTEGER, "The attempt that counts: the best of those marked, else the latest"),
        Column("attempts", INTEGER, "How many attempts were issued", needed=True),
        Column("status", TEXT, "How far the work has come", words=STATES, needed=True),
        Column("raw", NUMBER, "Marks before the penalty for late work"),
        Column("penalty", NUMBER, "Marks taken off for late work"),
        Column("mark", NUMBER, "Marks that count"),
        Column("awaiting", NUMBER, "Marks of written answers that nobody has read yet"),
        Column("max", NUMBER, "Marks that could be earned"),
        Column("percent", NUMBER, "mark of max, per cent; never rounded up to a pass mark that was missed"),
        Column("passed", TEXT, "The pass mark, decided unrounded, and every objective that must be met", words=YES_NO),
        Column("failed_objectives", TEXT, "Those that must be met and are not, separated by semicolons"),
        Column("late_days", INTEGER, "Days after the due time"),
        Column("extension_until", MOMENT, "Later due time of this trainee, UTC", DROP),
        Column("handed_in_at", MOMENT, "Arrival of the work, UTC", DAY),
        Column("marked_at", MOMENT, "When the mark was made, UTC", DAY),
        Column("engine", TEXT, "Which marking decided"),
        Column("key_version", TEXT, "Which exercises, in which version"),
    ),
    ("class", "trainee_id", "module"),
)

ITEMS = Shape(
    "items",
    "One row for each part of each attempt; what a resit keeps stands in both",
    (
        _CLASS,
        _TRAINEE,
        _MODULE,
        Column("mode", TEXT, "practice shows its answers at once and is mended after each verdict", words=MODES),
        Column("attempt", INTEGER, "Which issue of numbers", needed=True),
        Column("item", TEXT, "exercise.part", needed=True),
        Column("variant", TEXT, "Digest of the trainee's own numbers in this exercise", DROP),
        Column(
            "vehicle", TEXT, "Engine that the numbers were drawn from; one of the term's own with its revision", DROP
        ),
        Column(
            "kept", TEXT, "Whether a resit took it over: given once, in an earlier attempt", words=YES_NO, needed=True
        ),
        Column("answer", TEXT, "As typed", DROP),
        Column("unit", TEXT, "As chosen or typed", DROP),
        Column("expected", TEXT, "What was right for this trainee, where it is no number", DROP),
        Column("expected_low", NUMBER, "Least number taken as right", DROP),
        Column("expected_high", NUMBER, "Greatest number taken as right", DROP),
        Column("mark", NUMBER, "Marks earned; blank while an answer waits to be read"),
        Column("max", NUMBER, "Marks that could be earned"),
        Column("exercise_by_hand", NUMBER, "Set by a person for the whole exercise; counts in the place of its marks"),
        Column("path", TEXT, "consequential: right from an own earlier value", words=PATHS),
        Column("verdict", TEXT, "Word of the verdict"),
        Column("slip", TEXT, "Key of the foreseen slip"),
        Column("first_attempt", TEXT, "Whether statistics use it", words=YES_NO, needed=True),
    ),
    ("class", "trainee_id", "module", "attempt", "item"),
)

OBJECTIVES = Shape(
    "objectives",
    "One row for each trainee and learning objective that he was examined in",
    (
        _CLASS,
        _TRAINEE,
        Column("objective", TEXT, "Short code", needed=True),
        Column("uuid", TEXT, "Fixed for ever", needed=True),
        Column("marks", NUMBER, "Marks earned in items of this objective"),
        Column("max", NUMBER, "Marks of those items"),
        Column("share", NUMBER, "marks of max, 0 to 1"),
        Column("threshold", NUMBER, "Share from which it counts as met, 0 to 1", needed=True),
        Column(
            "met", TEXT, "too few items: fewer than two; waits: an answer is still to be read", words=MET, needed=True
        ),
        Column("must_pass", TEXT, "Whether the module is passed only if this is met", words=YES_NO, needed=True),
        Column("items", INTEGER, "How many items", needed=True),
        Column(
            "attempt",
            INTEGER,
            "The attempt that decided: that which counts, else the latest that examined it",
            needed=True,
        ),
        Column("mode", TEXT, "practice shows its answers, so it is no evidence", words=MODES),
        Column(
            "witnessed",
            TEXT,
            "Latest result seen on a real vehicle; no part of marks, share and met",
            words=witnessed.RESULTS,
        ),
        Column("witnessed_on", DATE, "Day of that work"),
    ),
    ("class", "trainee_id", "objective"),
)

WITNESSED = Shape(
    "witnessed",
    "One row for each task that somebody saw done on a real vehicle; what was withdrawn is left out",
    (
        _CLASS,
        Column("seq", INTEGER, "Number of the task", needed=True),
        _TRAINEE,
        Column("objective", TEXT, "Short code", needed=True),
        Column("uuid", TEXT, "Fixed for ever", needed=True),
        Column("result", TEXT, "As the person who saw it decided", words=witnessed.RESULTS, needed=True),
        Column("on", DATE, "Day of the work", needed=True),
        Column("vehicle", TEXT, "On which vehicle", DROP),
        Column("seen_by", TEXT, "Who saw it", DROP),
        Column("note", TEXT, "In words", DROP),
    ),
    ("class", "seq"),
)

ANALYSIS = Shape(
    "analysis",
    "One row for each item, over all classes of this export; first attempts, complete and marked",
    (
        _MODULE,
        Column("key_version", TEXT, "Which exercises, in which version; other versions have rows of their own"),
        Column("item", TEXT, "exercise.part", needed=True),
        Column("n", INTEGER, "Trainees", needed=True),
        Column("full_marks", INTEGER, "Trainees with full marks"),
        Column("facility", NUMBER, "Mean share of its marks that was earned, 0 to 1"),
        Column("discrimination", NUMBER, "Upper group less lower group, -1 to 1"),
        Column("basis", TEXT, "What the groups are"),
        Column("level", TEXT, "Usual word for the discrimination, after Ebel"),
        Column("item_rest_r", NUMBER, "Correlation with the total of the other items"),
        Column("top_slip", TEXT, "Commonest foreseen slip"),
        Column("top_slip_share", NUMBER, "Share of answers with it, 0 to 1"),
        Column("note", TEXT, "Why a figure is not meaningful"),
    ),
    ("module", "key_version", "item"),
)

VARIANTS = Shape(
    "variants",
    "How an item went by the numbers drawn, over all classes of this export; bins of ten or more trainees",
    (
        _MODULE,
        Column("key_version", TEXT, "Which exercises, in which version"),
        Column("item", TEXT, "exercise.part", needed=True),
        Column("by", TEXT, "What the bins are", words=("engine", "right answer"), needed=True),
        Column("bin", TEXT, "Which engine, or which right answers", needed=True),
        Column("n", INTEGER, "Trainees in the bin", needed=True),
        Column("full_marks", INTEGER, "Of them with full marks"),
        Column("facility", NUMBER, "Mean share of its marks that they earned, 0 to 1"),
        Column("facility_of_rest", NUMBER, "The same of all others"),
        Column("difference", NUMBER, "facility less facility_of_rest"),
        Column("standard_error", NUMBER, "Of the difference"),
        Column("note", TEXT, "What stands out, or why a figure is not meaningful"),
    ),
    ("module", "key_version", "item", "by", "bin"),
)

MODULES = Shape(
    "modules",
    "One row for each module, over all classes of this export; first attempts, complete and marked",
    (
        _MODULE,
        Column("key_version", TEXT, "Which exercises, in which version"),
        Column("n", INTEGER, "Trainees", needed=True),
        Column("left_out", INTEGER, "Trainees left out because an item has no mark yet", needed=True),
        Column("items", INTEGER, "Items", needed=True),
        Column("mean", NUMBER, "Mean mark, before penalties"),
        Column("sd", NUMBER, "Standard deviation of marks, divisor n - 1"),
        Column("alpha", NUMBER, "Cronbach's alpha (KR-20 where items earn all or nothing)"),
        Column("alpha_low", NUMBER, "Lower end of its 95 % interval (Feldt)"),
        Column("alpha_high", NUMBER, "Upper end"),
        Column("sem", NUMBER, "Standard error of measurement, marks"),
        Column("note", TEXT, "Why a figure is not meaningful"),
    ),
    ("module", "key_version"),
)

CHANGES = Shape(
    "changes",
    "The ledger without the exports: what was done, by whom, when and why",
    (
        _CLASS,
        Column("seq", INTEGER, "Row of the ledger", needed=True),
        Column("at", MOMENT, "UTC", DAY, needed=True),
        Column("event", TEXT, "What was done", words=ledger.EVENTS, needed=True),
        Column("actor", TEXT, "By whom", DROP),
        Column("trainee_id", TEXT, "The college's own id; blank for the whole class", CODE),
        Column("module", TEXT, "Key of the module"),
        _ATTEMPT,
        Column("old", TEXT, "Before; marks as marks", "marks"),
        Column("new", TEXT, "After; marks as marks", "marks"),
        Column("max", NUMBER, "Marks that could be earned"),
        Column("reason", TEXT, "Why, in the actor's words", DROP),
        Column("engine", TEXT, "Which marking decided"),
        Column("key_version", TEXT, "Which exercises, in which version"),
    ),
    ("class", "seq"),
)

SHAPES = {shape.name: shape for shape in (GRADES, ITEMS, OBJECTIVES, WITNESSED, ANALYSIS, VARIANTS, MODULES, CHANGES)}
