"""Marking the class, its marks by trainee and exercise, and every decision about single trainees."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import ipywidgets

from grader import catalogue, clock, files
from grader.course.attempts import overview, passing, standing
from grader.course.attempts.standing import Standing, Whom
from grader.course.formgrader import notebooks
from grader.course.grading import adjust, mark_class, resit, written_answers
from grader.course.grading.several import Several
from grader.desk import formgrader, parts
from grader.desk.change import MAY_SAY, MUST_SAY, Change, Done, Foreseen, names
from grader.desk.parts import Cell, Column, Row
from grader.desk.screen import ModuleScreen, title_of
from grader.errors import BadFile
from grader.records.term import roster
from grader.reports.feedback import marked_attempt, returned_sheet
from grader.reports.tables import wording
from grader.reports.tables.grades import hundredths
from grader.widgets import style

if TYPE_CHECKING:
    from grader.desk.page import Desk

NEAR = 5.0  # per cent from the pass mark, either way
PENDING = "not said yet"  # in the place of a reason, where something is only looked at
SEEN = "seen.json"  # the marks as they stood when somebody looked last
FILTERS = (
    "everybody",
    "not passed",
    f"within {NEAR:g} % of the pass mark",
    "not handed in",
    "waits to be marked or read",
    "not passed, and no attempt is left",
    "changed since you looked last",
    "left the class",
)


class Marks(ModuleScreen):
    """A grid of trainees and exercises; a cell opens what stands behind it."""

    title = "Marks"
    slow = True

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.stood: dict[str, dict[str, dict[str, int | None]]] = {}  # module -> marks when somebody looked last

    def content(self) -> Sequence[ipywidgets.Widget]:
        if not self.module:
            return []
        term, module = self.term, catalogue.module(self.module)
        self.found = overview.marks_table(term, module)
        self.before = self._looked_at_before()
        self.filter, filter_box = parts.choice("Show", [(one, one) for one in FILTERS])
        self.filter.observe(lambda change: self.table.show(self._rows(change["new"])), "value")
        columns = [
            Column("name", "Name"),
            Column("mark", "Mark", number=True),
            Column("result", "Result"),
            *(
                Column(e.key, str(n), number=True, says=f"{n}. {e.title}, {e.marks} marks")
                for n, e in enumerate(module.exercises, 1)
            ),
        ]
        self.table = parts.Table(
            f"Marks in {module.title}",
            columns,
            self._rows(FILTERS[0]),
            tickable=not self.desk.office,
            opened=self._open,
            empty="Nobody here.",
        )
        self._keep_seen()
        self.behind = style.VBox([], layout=style.column())
        waiting = sum(one.state == standing.HANDED_IN for one, _ in self.found)
        unread = written_answers.waiting(term, module.key)
        rows: list[ipywidgets.Widget] = [
            parts.button(
                f"Mark what came in ({waiting}) …" if waiting else "Mark again what came in …",
                self._mark,
                "tm-main",
                "tm-mark",
            )
        ]
        if unread:
            rows.append(
                parts.button(
                    f"Read {unread} written answers", lambda: self.desk.go("read", module=module.key), "tm-lead-read"
                )
            )
        if self.desk.office:
            rows = []
        else:
            rows.append(parts.button("nbgrader's own marking page …", self._formgrader))
        exercises = "; ".join(f"{n} {e.title}" for n, e in enumerate(module.exercises, 1))
        return [
            style.HBox([filter_box, *rows], layout=style.row()),
            parts.html('<p class="tm-signs">✓ all marks, ◐ some, ✗ none, – nothing written, … waits. ! late. • changed since you looked '
                       "last. Choose a cell to see what stands behind it; tick names to decide about several; press a heading to "
                       "sort.</p>"),
            self.behind,
            *([] if self.desk.office else [self._actions()]),
            self.table,
            parts.says(f"Exercises: {exercises}."),
        ]  # fmt: skip

    def _looked_at_before(self) -> dict[str, dict[str, int | None]]:
        """The marks of this module when somebody looked last, by trainee; while the screen stands open they stay."""
        if self.module not in self.stood:
            self.stood = {self.module: _read_seen(self.desk.home / SEEN).get(self.module, {})}
        return self.stood[self.module]

    def _keep_seen(self) -> None:
        path = self.desk.home / SEEN
        now = {one.person.id: {"": one.mark.mark, **marks} for one, marks in self.found if one.mark}
        kept = _read_seen(path)
        if kept.get(self.module) != now:
            files.write_text(path, files.to_json({**kept, self.module: now}), mode=files.PRIVATE)

    def _was(self, trainee: str, exercise: str, now: int | None) -> str:
        """What a mark was when somebody looked last, as words; empty where it is the same or nobody looked before."""
        if not self.before:
            return ""
        mine = self.before.get(trainee)
        if mine is None:
            return "new since you looked last"
        was = mine.get(exercise)
        return "" if was == now else f"before: {'not marked' if was is None else hundredths(was)}"

    def _rows(self, chosen: str) -> list[Row]:
        term, module = self.term, catalogue.module(self.module)
        self.limit, self.attempts = float(term.pass_percent(module.key)), term.settings.attempts
        rows = []
        for one, marks in self.found:
            if not self._wanted(one, marks, chosen):
                continue
            cells = [
                Cell(one.person.name, act=not self.desk.office, says=f"All about {one.person.name}"),
                self._total(one),
                Cell(wording.result(term, one), tone=_tone_of_result(one)),
            ]
            for exercise in module.exercises:
                earned, most = marks.get(exercise.key, ""), exercise.marks * 100
                if isinstance(earned, str):  # the exercise was not in this attempt
                    cells.append(Cell("", order=None))
                    continue
                tone = "waits" if earned is None else "right" if earned >= most else "partly" if earned else "wrong"
                shown = "" if earned is None else hundredths(earned)
                said = {"waits": "waits to be read"}.get(tone, f"{shown} of {exercise.marks}")
                was = self._was(one.person.id, exercise.key, earned)
                says = f"{one.person.name}, {exercise.title}: {said}" + (f"; {was}" if was else "")
                cells.append(Cell(shown, tone, True, says, -1 if earned is None else earned, bool(was)))
            rows.append(Row(one.person.id, cells, "left" if one.person.status == roster.WITHDRAWN else ""))
        return rows

    def _total(self, one: Standing) -> Cell:
        mark = one.mark
        if mark is None:
            return Cell("", order=None)
        late = f"{mark.late_days} d late, {hundredths(mark.penalty)} taken off" if mark.penalty else ""
        was = self._was(one.person.id, "", mark.mark)
        said = "; ".join(words for words in (late, was) if words)
        return Cell(hundredths(mark.mark), "late" if late else "", says=said, order=mark.mark, news=bool(was))

    def _news(self, one: Standing, marks: Mapping[str, int | None]) -> bool:
        """Whether anything of somebody's marks is not as it was when somebody looked last."""
        if one.mark is None:
            return False
        now = {"": one.mark.mark, **marks}
        return any(self._was(one.person.id, key, mark) for key, mark in now.items())

    def _wanted(self, one: Standing, marks: Mapping[str, int | None], chosen: str) -> bool:
        if chosen == FILTERS[1]:
            return one.passed == passing.NO
        if chosen == FILTERS[2]:
            return one.mark is not None and abs(one.mark.mark * 100 / one.mark.most - self.limit) <= NEAR
        if chosen == FILTERS[3]:
            return one.state == standing.NOT_HANDED_IN
        if chosen == FILTERS[4]:
            return one.state in (standing.HANDED_IN, standing.PARTLY_MARKED)
        if chosen == FILTERS[5]:
            return one.passed == passing.NO and one.attempts >= self.attempts
        if chosen == FILTERS[6]:
            return self._news(one, marks)
        if chosen == FILTERS[7]:
            return one.person.status == roster.WITHDRAWN
        return True

    # What stands behind a cell

    def _open(self, trainee: str, column: str) -> None:
        if column == "name":
            self.desk.go("people", person=trainee)
            return
        self.desk.safely(lambda: self._show(trainee, column))

    def _show(self, trainee: str, exercise_key: str) -> None:
        work = marked_attempt.of_trainee(self.term, self.module, trainee)
        exercise = next(one for one in catalogue.module(self.module).exercises if one.key == exercise_key)
        close = parts.button("Close", lambda: setattr(self.behind, "children", ()))
        if self.desk.office:
            shown = style.VBox([parts.html(returned_sheet.exercise(work, exercise_key), "tm-shown"), close])
            shown.add_class("tm-change")
            self.behind.children = (shown,)
            return
        by_hand = exercise_key in work.by_hand
        self.mark, mark = parts.text_field(f"Marks by hand, 0 to {exercise.marks}", "")
        acts: list[ipywidgets.Widget] = [
            parts.button("Set this mark by hand …", lambda: self._override(trainee, exercise_key, self.mark.value))
        ]
        if by_hand:
            acts.append(
                parts.button(
                    "Back to the computed mark …", lambda: self._override(trainee, exercise_key, adjust.COMPUTED)
                )
            )
        shown = style.VBox(
            [
                parts.heading(f"{work.person.name} ({work.person.college_id}), attempt {work.mark.attempt}"),
                parts.html(returned_sheet.exercise(work, exercise_key), "tm-shown"),
                mark,
                style.HBox([*acts, close], layout=style.row()),
            ],
            layout=style.column(),
        )
        shown.add_class("tm-change")
        self.behind.children = (shown,)

    def _override(self, trainee: str, exercise_key: str, mark: str, undo: bool = True) -> None:
        self.start(self._overriding(trainee, exercise_key, mark, undo))

    def _overriding(self, trainee: str, exercise_key: str, mark: str, undo: bool = True) -> Change:
        term, module = self.term, self.module
        exercise = next(one for one in catalogue.module(module).exercises if one.key == exercise_key)
        before = marked_attempt.of_trainee(term, module, trainee)
        was = before.by_hand.get(exercise_key)
        word = "as computed" if mark == adjust.COMPUTED else f"{mark.strip()} of {exercise.marks} by hand"

        def foresee(_progress) -> Foreseen:
            person, total = adjust.override(term, trainee, module, exercise_key, mark, reason=PENDING, preview=True)
            return Foreseen(
                [
                    f"{exercise.title} of {person.name} is {word}.",
                    f"The module's mark goes from {hundredths(before.mark.mark)} to {_shown(total)} of {hundredths(before.mark.most)}.",
                ],
                reason=MUST_SAY,
            )

        def do(reason, _progress) -> Done:
            person, total = adjust.override(term, trainee, module, exercise_key, mark, reason=reason)
            back = None
            if undo:
                former = adjust.COMPUTED if was is None else hundredths(was)
                back = self._overriding(trainee, exercise_key, former, undo=False)
            return Done(
                [f"{exercise.title} of {person.name} is {word}. The module's mark is now {_shown(total)}."], undo=back
            )

        return Change(f"A mark of {before.person.name}", foresee, do)

    # Marking

    def _mark(self) -> None:
        term, module = self.term, self.module

        def foresee(progress) -> Foreseen:
            run = mark_class.mark(term, module, preview=True, progress=progress)
            people = {one.id: one for one in roster.listed(term)}
            new = [change for change in run.changes if not change.same_work or change.old is None]
            moved = [change for change in run.changes if change.same_work and change.old is not None]
            rows = [
                Row(f"{change.trainee} {change.attempt}", [
                    Cell(people[change.trainee].name),
                    Cell("" if change.old is None else hundredths(change.old), order=change.old),
                    Cell(hundredths(change.new), tone="changed" if change.old is not None else "new", order=change.new),
                    Cell("same hand-in" if change.same_work else "new hand-in"),
                ])
                for change in run.changes
            ]  # fmt: skip
            table = parts.Table(
                "Marks that would be written",
                (
                    Column("n", "Name"),
                    Column("o", "Before", number=True),
                    Column("w", "Mark", number=True),
                    Column("h", "Of"),
                ),
                rows,
            )
            lines = [f"{len(new)} hand-ins are marked, {run.unchanged} marks stay as they are."]
            if moved:
                lines.append(
                    f"{len(moved)} marks of unchanged work would come out differently. They are written only with a reason; "
                    "without one they are held back."
                )
            return Foreseen(
                lines,
                [table] if rows else [],
                nothing=not run.changes,
                reason=MAY_SAY if moved else "",
                warnings=[str(line) for line in run.findings],
            )

        def do(reason, progress) -> Done:
            run = mark_class.mark(term, module, reason=reason, progress=progress)
            unread = written_answers.waiting(term, module)
            lines = [
                f"{run.marked} marked, {run.unchanged} unchanged, {len(run.held)} held back.",
                "Nobody sees these marks before you return them. What came in is kept as it came, so marking can be repeated.",
            ]
            leads = []
            if unread:
                leads.append(
                    parts.button(
                        f"Read {unread} written answers", lambda: self.desk.go("read", module=module), "tm-main"
                    )
                )
            else:
                leads.append(parts.button("Give it back", lambda: self.desk.go("give_back", module=module)))
            return Done(lines, [str(line) for line in [*run.findings, *run.held]], leads)

        self.propose(f"Mark {title_of(module)}", foresee, do)

    def _formgrader(self) -> None:
        term, module = self.term, self.module

        def foresee(_progress) -> Foreseen:
            return Foreseen(
                [
                    f"The notebooks that nbgrader's page shows are written for {title_of(module)}, and its page opens on this "
                    "machine only, until half an hour after you last used it.",
                    "What you change there is taken over as marks by hand when you mark here again.",
                ]
            )

        def do(_reason, _progress) -> Done:
            written, unwritten = notebooks.write_class(term, module)
            address = formgrader.open_page(term, self.desk.home)
            link = parts.html(
                f'<p><a class="tm-link" href="{escape(address)}" target="_blank" rel="noopener">Open nbgrader\'s marking '
                "page</a></p>"
            )
            return Done([f"{written} notebooks are there."], [str(line) for line in unwritten], [link])

        self.propose("nbgrader's own marking page", foresee, do)

    # Decisions about those who are ticked

    def _actions(self) -> ipywidgets.Widget:
        acts = [
            ("Extend …", self._ask_extension),
            ("Excuse …", lambda: self._about_ticked(self._excusing)),
            ("No longer excused …", lambda: self._about_ticked(lambda ids: self._excusing(ids, withdraw=True))),
            ("Resit …", self._ask_resit),
        ]
        row = style.HBox(
            [parts.html("<p>For those who are ticked:</p>"), *(parts.button(label, act) for label, act in acts)],
            layout=style.row(),
        )
        row.add_class("tm-acts")
        return row

    def _about_ticked(self, make: Callable[[tuple[str, ...]], Change]) -> None:
        self.desk.notice.children = ()
        ticked = tuple(self.table.ticked)
        if not ticked:
            self.desk.say("Nobody is ticked. Tick names in the table first; nothing was changed.")
            return
        self.start(make(ticked))

    def _ask_extension(self) -> None:
        earlier = style.Checkbox(description="Also an earlier time: the extension that stands was a slip", indent=False)
        self._ask_moment(
            "Extended until", lambda ids, until: self._extending(ids, until, earlier.value), must=True, more=earlier
        )

    def _ask_resit(self) -> None:
        codes = {code for e in catalogue.module(self.module).exercises for part in e.parts for code in part.objectives}
        known = catalogue.objectives()
        field = ipywidgets.SelectMultiple(
            options=[(f"{code}: {known[code]['text']}", code) for code in known if code in codes],
            rows=5,
            layout=style.wide(),
        )
        more = parts.labelled("Objectives (none chosen: all that were not shown)", field)
        self._ask_moment(
            "Resit due", lambda ids, due: self._sitting_again(ids, due, tuple(field.value)), must=False, more=more
        )

    def _ask_moment(
        self, label: str, make: Callable[[tuple[str, ...], str], Change], *, must: bool, more: ipywidgets.Widget
    ) -> None:
        self.desk.notice.children = ()
        ticked = tuple(self.table.ticked)
        if not ticked:
            self.desk.say("Nobody is ticked. Tick names in the table first; nothing was changed.")
            return
        self.asked = parts.Moment(f"{label}, by the clock of {self.term.settings.zone}")

        def go() -> None:
            if must and not self.asked.text:
                self.desk.say("Choose a day first; nothing was changed.")
                return
            self.start(make(ticked, self.asked.text))

        form = style.VBox(
            [
                parts.heading(f"{label}: for {len(ticked)}"),
                self.asked.box,
                more,
                parts.button("See what will happen …", go, "tm-main"),
            ],
            layout=style.column(),
        )
        form.add_class("tm-change")
        self.slot.children = (form,)

    def _extending(self, ids: tuple[str, ...], until: str, earlier: bool) -> Change:
        term, module = self.term, self.module

        def foresee(_progress) -> Foreseen:
            found = adjust.extend_all(
                term, module, Whom(ids), until=until, reason=PENDING, earlier=earlier, preview=True
            )
            before = {one.person.id: one.mark for one, _ in self.found}
            lines = [
                f"{one.person.name} may hand in until {self.moment(one.until)}."
                + _moved(before.get(one.person.id), one.mark)
                for one in found.done
            ]
            return Foreseen(lines, reason=MUST_SAY, warnings=[f"Left out: {words}" for words in found.left_out])

        def do(reason, _progress) -> Done:
            found = adjust.extend_all(term, module, Whom(ids), until=until, reason=reason, earlier=earlier)
            lines = [
                f"{one.person.name}: due {self.moment(one.until)}. {_stands(one.mark)}".strip() for one in found.done
            ]
            back = self._taking_extensions_back({one.person.id: one.before for one in found.done})
            return Done(lines, [f"Left out: {words}" for words in found.left_out], undo=back)

        return Change(f"Extend {title_of(module)} for {len(ids)}", foresee, do)

    def _taking_extensions_back(self, before: Mapping[str, str]) -> Change:
        """Due times as they were: `before` has the extension that stood for each, or nothing where none did."""
        term, module = self.term, self.module

        def restore(reason: str, preview: bool) -> list[Several[adjust.Extended]]:
            found = []
            for until in sorted(set(before.values())):
                whom = Whom(tuple(trainee for trainee, stood in before.items() if stood == until))
                if until:
                    at = clock.from_text(until).isoformat()
                    found.append(
                        adjust.extend_all(term, module, whom, until=at, reason=reason, earlier=True, preview=preview)
                    )
                else:
                    found.append(adjust.withdraw_extensions(term, module, whom, reason=reason, preview=preview))
            return found

        def told(found: list[Several[adjust.Extended]]) -> tuple[list[str], list[str]]:
            done = [one for several in found for one in several.done]
            lines = [
                f"{one.person.name}: due {self.moment(one.until)}, as before. {_stands(one.mark)}".strip()
                for one in done
            ]
            return lines, [f"Left out: {words}" for several in found for words in several.left_out]

        def foresee(_progress) -> Foreseen:
            lines, left_out = told(restore(PENDING, True))
            return Foreseen(lines, reason=MUST_SAY, warnings=left_out)

        def do(reason, _progress) -> Done:
            return Done(*told(restore(reason, False)))

        return Change(f"Take the extension of {title_of(module)} back", foresee, do)

    def _excusing(self, ids: tuple[str, ...], withdraw: bool = False, undo: bool = True) -> Change:
        term, module = self.term, self.module
        word = "no longer excused" if withdraw else "excused"

        def foresee(_progress) -> Foreseen:
            found = adjust.excuse_all(term, module, Whom(ids), reason=PENDING, withdraw=withdraw, preview=True)
            lines = [f"{names([one.name for one in found.done])}: {word} from {title_of(module)}."]
            lines.append("Their marks count again." if withdraw else "Work and marks are kept and count nowhere.")
            return Foreseen(lines, reason=MUST_SAY, warnings=[f"Left out: {words}" for words in found.left_out])

        def do(reason, _progress) -> Done:
            found = adjust.excuse_all(term, module, Whom(ids), reason=reason, withdraw=withdraw)
            done = tuple(one.id for one in found.done)
            back = self._excusing(done, not withdraw, undo=False) if undo else None
            return Done(
                [f"{names([one.name for one in found.done])}: {word} from {title_of(module)}."],
                [f"Left out: {words}" for words in found.left_out],
                undo=back,
            )

        return Change(f"{word[0].upper()}{word[1:]} from {title_of(module)}", foresee, do)

    def _sitting_again(self, ids: tuple[str, ...], due: str, codes: tuple[str, ...]) -> Change:
        term, module = self.term, self.module

        def foresee(_progress) -> Foreseen:
            found = resit.resit_all(term, module, Whom(ids), due=due, reason=PENDING, objectives=codes, preview=True)
            lines = []
            for one in found.done:
                fresh = "; ".join(exercise.title for exercise in one.exercises)
                lines.append(
                    f"{one.person.name}: attempt {one.attempt} for {', '.join(one.objectives)}; fresh numbers in {fresh}. All else stays."
                )
            until = f"Due {due}." if due else "Without a due time."
            return Foreseen(
                [*lines, until], reason=MUST_SAY, warnings=[f"Left out: {words}" for words in found.left_out]
            )

        def do(reason, _progress) -> Done:
            found = resit.resit_all(term, module, Whom(ids), due=due, reason=reason, objectives=codes)
            saves = [
                parts.Save(
                    f"Save the zip of {one.person.name}",
                    f"{one.person.id}-{module}-attempt-{one.attempt}.zip",
                    (term.folder / "out" / one.person.id / f"{module}.zip").read_bytes,
                )
                for one in found.done
            ]
            lines = [f"{one.person.name}: attempt {one.attempt} is issued. Give out the new zip." for one in found.done]
            return Done(lines, [f"Left out: {words}" for words in found.left_out], saves)

        return Change(f"Resit of {title_of(module)} for {len(ids)}", foresee, do)


def _tone_of_result(one: Standing) -> str:
    if one.passed == passing.YES:
        return "right"
    if one.passed == passing.NO:
        return "wrong"
    if one.state in (standing.HANDED_IN, standing.PARTLY_MARKED):
        return "waits"
    return "blank" if one.state == standing.NOT_HANDED_IN else ""


def _shown(mark: int | None) -> str:
    return "not marked" if mark is None else hundredths(mark)


def _moved(before: Any, mark: int | None) -> str:
    if mark is None or before is None:
        return ""
    if before.mark == mark:
        return f" The mark stays {hundredths(mark)}."
    return f" The mark goes from {hundredths(before.mark)} to {hundredths(mark)}."


def _stands(mark: int | None) -> str:
    return "" if mark is None else f"The module's mark is now {hundredths(mark)}."


def _read_seen(path: Path) -> dict[str, Any]:
    try:
        return files.from_json(files.read_bytes(path, most=20_000_000, what="What was seen"), what="What was seen")
    except BadFile:
        return {}


SCREEN = Marks
