"""The field of a bench: a car is worked, act by act; what was done is the answer.

Everything goes by buttons and lists, so that a keyboard, a finger and a screen reader reach
all of it. Where one stands decides what is offered; the plan of the car is a shorter way for
a hand with a mouse. Each act is added to the log and saved at once: whoever comes back,
on another machine too, goes on where he was. What is chosen or written and not done yet is kept
beside the log, so that a hand-over half written outlives a reload.
"""

import hashlib
import json
from collections.abc import Callable
from html import escape
from types import MappingProxyType, SimpleNamespace
from typing import Any

from ipywidgets import Layout

from grader.bench import cases, coach, debrief, session
from grader.bench.actions import COIL_LEAD
from grader.bench.atoms import CYLINDER_GROUPS, SOUND_GROUP, groups
from grader.bench.chart import chart
from grader.bench.instruments import instrument, unsafe_acts
from grader.bench.owner import complaint_words
from grader.bench.session import Bench, Step, Way
from grader.errors import Unreadable
from grader.units import KPA_PER_PSI, MM_PER_IN, grouped
from grader.vehicle.car import card
from grader.vehicle.spec import Vehicle
from grader.widgets import style
from grader.widgets.fields import bench_drawn

SAY, OVER = "say", "over"
# Where one stands: its words, the instruments and looks there, the work that is done there.
PLACES: MappingProxyType[str, tuple[str, tuple[str, ...], tuple[str, ...]]] = MappingProxyType(
    {
        "seat": ("At the wheel", ("ask", "start", "road", "soak"), ()),
        "engine": ("Bonnet, idle", ("bonnet", "vacuum", "leak_hunt"), ("set_idle",)),
        "battery": ("Battery, feed", ("crank_volts", "feed_volts"), ("battery", "mend_feed", "mend_bypass", "fit_ballast")),
        "coil": ("Coil", ("coil_gap", "polarity"), ("swap_lt", "fit_coil")),
        "points": ("Points", ("points_volts", "points_look", "dwell", "condenser"),
                   ("set_dwell", "clean_points", "fit_points", "fit_condenser", "mend_lt")),
        "timing": ("Timing, vacuum", ("timing_idle", "timing_rise", "timing_line", "hand_pump", "tdc"),
                   ("set_timing", "hose", "free_plate", "fit_vacuum", "weights", "distributor", "refit", "damper")),
        "leads": ("Cap, leads", ("cap_rotor", "lead_gap", "lead_ohms", "dark_mist"),
                  ("fit_rotor", "fit_cap", "fit_lead", "fit_leads", "route", "lay_order", "clean_dry")),
        "plugs": ("Plugs", ("plug_look", "plug_tester", "cut_out", "compression"), ("clean_plugs", "fit_plugs")),
        "shelf": ("Parts to try", ("swap",), ()),
        SAY: ("Say what it is", (), ()),
        OVER: ("Hand the car over", (), ()),
    }
)  # fmt: skip
TRIED = ("fit_coil", "fit_condenser", "fit_points", "fit_ballast", "fit_rotor", "fit_cap", "fit_lead", "fit_leads", "fit_plugs",
         "fit_vacuum")  # fmt: skip
_MARKED = ("fit_coil", "fit_cap", "fit_leads", "distributor")  # where it helps to mark what comes off
_GAPPED = ("fit_plugs",)
# What a button says that changes how the engine stands; its full words are its tooltip and stand in the log.
RUN_BUTTONS = MappingProxyType({session.OFF: "Key off", session.KEY: "Key on", session.IDLE: "Let it idle",
                                session.WARM_UP: "Warm it up", session.COOL: "Let it cool"})  # fmt: skip
# Names of what one repair mends, where the bare word would leave open what is meant.
GROUP_WORDS: MappingProxyType[str, str] = MappingProxyType(
    {
        SOUND_GROUP: "the ignition is sound", "feed": "feed to the coil", "by-pass": "starter by-pass to the coil",
        "battery": "battery or its cables", "polarity": "coil polarity", "low-tension lead": "low-tension lead, pigtail or terminal",
        "points": "points: contacts, spring, block", "gap": "point gap", "distributor": "distributor shaft or bush",
        "timing": "timing, or its clamp", "position": "distributor fitted in a wrong place", "weights": "weights or their springs",
        "plate": "breaker plate or link", "hose": "vacuum hose", "idle": "idle setting", "ring": "damper ring with the mark",
        "cap": "distributor cap", "lead": "one plug lead", "routing": "routing of the leads", "order": "order of the leads",
        "insulation": "insulation dirty or damp",
    }
)  # fmt: skip
_NOT_CHOSEN = "choose"
LONGEST_LEFT = 1000  # letters of a note on what was left
SHORTLIST_UP_TO, HINT_UP_TO = 2, 1  # levels at which practice shows what is still possible, and names the next test


class BenchField:
    """A car on the bench. Few widgets until it is opened; a log that has begun opens it by itself."""

    unit = ""

    def __init__(self, part: Any, given: SimpleNamespace, heard: Callable):
        self.part, self._heard = part, heard
        self.case = part.answer(given)
        self.log = ""
        self._quiet = self._opening = False
        self.coached = False
        self.draft = ""  # what was chosen or written and not done yet, as JSON text
        self.drafted: Callable[[], object] = lambda: None  # called when it changed
        self._card = style.HTML(_job_card(self.case))
        self._open = style.Button(description="Begin with this car", tooltip=f"Begin with this car: {part.prompt}")
        self._open.on_click(lambda _: self._opened())
        self.box = style.VBox([self._card, self._open], layout=style.wide()).add_class("tm-bench")
        self.row = [self.box]

    @property
    def raw(self) -> str:
        return self.log

    @property
    def typed(self) -> str:
        """What stands in the field to write in: the page compares it with what it shows."""
        return self._left.value if hasattr(self, "_left") else ""

    @property
    def shown(self) -> str:
        """What is picked, list by list and box by box, as the page reads it off itself before an act goes out."""
        if not hasattr(self, "_place") or len(self.box.children) <= 2:
            return ""
        return "|".join(
            _standing(widget) for widget in (self._place, *self._desk.children) if not isinstance(widget, style.HTML)
        )

    @property
    def bench(self) -> Bench:
        """The session as the log has it."""
        return session.replay(self.case, self.log or session.EMPTY)

    def follow(self, raw: str, unit: str) -> None:
        """Show what the store holds; a log that cannot be read is left alone and said so."""
        if raw == self.log and (not raw or len(self.box.children) > 2):
            return
        changed, self.log = raw != self.log, raw
        if changed:
            self._heard(None)
        if raw:
            self._opened()
        elif len(self.box.children) > 2:
            self.box.children = (self._card, self._open)

    # The page of an open bench.

    def _opened(self):
        self._opening = True  # what stands on the page until all is put back is nobody's choice
        try:
            if not hasattr(self, "_place"):
                self._build()
                self._take_draft()
            self.box.children = self._rows
            self._show()
        finally:
            self._opening = False

    def _build(self):
        wide = style.wide()
        self._plan, self._stands = style.HTML(), style.HTML().add_class("tm-bench-stands")
        runs = []
        for to in session.RUNS:
            minutes = session.RUN_MINUTES[to]
            words = RUN_BUTTONS[to] + (f" ({_minutes(minutes)})" if minutes else "")
            button = style.Button(description=words, tooltip=session.RUN_WORDS[to])
            button.on_click(lambda _, to=to: self._do(session.run(to)))
            runs.append(button)
        self._runs = style.HBox(runs, layout=style.row()).add_class("tm-bench-runs")
        self._place = style.RadioButtons(
            options=[(words, key) for key, (words, _, _) in PLACES.items()],
            value="seat",
            orientation="horizontal",
            layout=wide,
        )
        self._place.add_class("jupyter-widgets").add_class("tm-bench-places").observe(self._moved, "value")
        self._act = style.RadioButtons(options=[], layout=wide)
        self._act.observe(self._chosen, "value")
        self._needs = style.HTML().add_class("tm-echo")
        self._heads: dict[str, Any] = {}
        self._how_label = _label("How do you go about it?")
        self._how = style.RadioButtons(options=[], value=None, layout=wide)
        self._how.observe(lambda _: self._keep(), "value")
        self._at = _list("Which one")
        self._part = _list("Which part")
        for widget in (self._at, self._part):
            widget.observe(lambda _: self._keep(), "value")
        self._marked = style.Checkbox(
            value=False,
            description="Mark leads, wires and place before they come off (1 minute more)",
            indent=False,
            layout=wide,
        )
        self._gapped = style.Checkbox(
            value=False, description="Gap the new plugs before they go in", indent=False, layout=wide
        )
        for widget in (self._marked, self._gapped):
            widget.observe(self._chosen, "value")
        self._first, self._second = _list("It is"), _list("And besides")
        for widget in (self._first, self._second):
            widget.observe(self._chosen, "value")
        self._proofs = (_list("Proved by"), _list("And by"))
        self._compared = _list("Read before and after")
        self._left = style.Text("", placeholder="such as: plug gaps wide, due at the next service", layout=wide)
        self._left.add_class("tm-field")
        for widget in (*self._proofs, self._compared, self._left):
            widget.observe(lambda _: self._keep(), "value")
        self._go = style.Button(description="Do it", tooltip="Do it").add_class("tm-bench-go")
        self._go.on_click(lambda _: self._went())
        self._came = style.HTML().add_class("tm-verdict").add_class("tm-bench-came")
        self._desk = style.VBox([], layout=wide).add_class("tm-bench-desk")
        self._log = style.HTML().add_class("tm-bench-log")
        self._possible, self._hint = style.HTML(), style.HTML()
        self._ask = style.Button(description="Which test next?", tooltip="Which test would tell most for its minutes?")
        self._ask.on_click(lambda _: self._asked())
        self._back, self._chart = style.HTML(), style.HTML().add_class("tm-bench-chart")
        self._charted = style.Button(
            description="Troubleshooting chart", tooltip="The chart for what the owner says, to read or to print"
        )
        self._charted.on_click(lambda _: self._show_chart())
        self._rows = (
            self._card, self._plan, self._stands, _label("The engine"), self._runs, _label("Where you stand"), self._place,
            self._desk, self._needs, self._go, self._came, *self._help(), self._log, self._back,
        )  # fmt: skip
        self._fill_place()

    def _help(self) -> tuple:
        """What practice shows beside the car: much at first, then less, then nothing."""
        level = self.case.level if self.coached else SHORTLIST_UP_TO + 1
        listed = (_label("What is still possible"), self._possible) if level <= SHORTLIST_UP_TO else ()
        hinted = (self._ask, self._hint) if level <= HINT_UP_TO else ()
        return (*listed, *hinted, *((self._charted, self._chart) if listed else ()))

    def _asked(self):
        if self.bench.closed:
            return
        hint = coach.hint(self.bench)
        self._hint.value = style.sentence(f"{hint.title}. {hint.why}")

    def _show_chart(self):
        """The charts of what stands on the job card; once more takes them away."""
        if self._chart.value:
            self._chart.value = ""
            return
        words = [word for word in self.case.words if word in complaint_words()]
        drawn = "".join(bench_drawn.troubleshooting(chart(self.case.engine, word)) for word in words)
        title = f"Troubleshooting chart: {escape(cases.job_card(self.case).vehicle)}"
        self._chart.value = f'<details class="tm-bench-paper" open><summary>{title}</summary>{drawn}</details>'

    def look_back(self) -> None:
        """Show the road step by step and a best one beside it: once the car is gone and was checked, in practice."""
        bench = self.bench
        if self.coached and bench.closed and bench.steps and not self._back.value:
            self._back.value = bench_drawn.looked_back(debrief.debrief(self.case, self.log))

    def _moved(self, change):
        self._fill_place()
        self._show_plan()

    def _fill_place(self):
        """What is offered where one stands."""
        place = self._place.value
        self._go.description = {SAY: "Name it", OVER: "Hand it over"}.get(place, "Do it")
        self._quiet = True
        try:
            if place in (SAY, OVER):
                self._fill_words(place)
            else:
                ways = self._ways()
                _, tools, work = PLACES[place]
                found = [ways["test", key] for key in tools] + [ways["action", key] for key in work]
                options = [(_cost(way), index) for index, way in enumerate(found)]
                self._offered = found
                self._act.options = options
                self._act.value = 0
        finally:
            self._quiet = False
        self._chosen()

    def _ways(self) -> dict[tuple[str, str], Way]:
        return {(way.act["do"], way.act.get("with") or way.act.get("what") or way.act.get("to", "")): way
                for way in session.possible(self.bench)}  # fmt: skip

    def _fill_words(self, place):
        bench = self.bench
        known = [(_of_group(group), group) for group in groups(self.case.engine)]
        named = list(bench.named) + ["", ""]
        for widget, first in ((self._first, named[0]), (self._second, named[1])):
            widget.options = [(_NOT_CHOSEN if widget is self._first else "nothing else", ""), *known]
            widget.value = first
        self._fill_at(False)
        if bench.cylinder:
            self._at.value = bench.cylinder
        if place == OVER:
            read = list(dict.fromkeys(step.instrument for step in bench.steps if step.outcome == session.READ))
            tools = [(_NOT_CHOSEN, ""), *((instrument(key).title, key) for key in read)]
            for widget in (*self._proofs, self._compared):
                kept = widget.value
                widget.options = tools
                widget.value = kept if kept in read else ""

    def _fill_at(self, coil_lead: bool):
        numbers = [(f"number {number}", number) for number in range(1, self.case.spec.cylinders + 1)]
        options = [(_NOT_CHOSEN, 0), *numbers, *([(COIL_LEAD, COIL_LEAD)] if coil_lead else [])]
        if tuple(self._at.options) != tuple(options):
            self._at.options = options
            self._at.value = 0

    def _chosen(self, _=None):
        """Put on the desk what the chosen act needs to know, and what it costs."""
        if self._quiet:
            return
        place, desk = self._place.value, []
        if place == SAY or place == OVER:
            desk += [self._head("What it is"), self._first, self._second]
            if {self._first.value, self._second.value} & set(CYLINDER_GROUPS):
                desk += [self._head("Of which cylinder"), self._at]
            if place == OVER:
                desk += [
                    self._head("How it was proved"),
                    *self._proofs,
                    self._head("The reading before and after"),
                    self._compared,
                ]
                desk += [self._head("What was left as it was, or must be looked at again"), self._left]
            self._needs.value = ""
        else:
            way = self._way
            key = way.act.get("with") or way.act["what"]
            desk += [self._head("What you do there"), self._act]
            if key == session.reading.SWAP:
                self._part.options = [(self._ways()["action", one].title.removeprefix("Fit "), one) for one in TRIED]
                desk += [self._head("Which part"), self._part]
            if way.per_cylinder or key == session.reading.SWAP:
                self._fill_at(True)
                desk += [self._head("Which lead"), self._at]
            desk += [self._marked] * (key in _MARKED) + [self._gapped] * (key in _GAPPED)
            desk += self._ask_how(key)
            self._needs.value = _needs(way)
        self._desk.children = tuple(desk)
        self._keep()

    def _head(self, words: str):
        """The heading over a list on the desk, the same each time: a new one would take the focus from what stands below."""
        if words not in self._heads:
            self._heads[words] = _label(words)
        return self._heads[words]

    # What is chosen and not done yet.

    def _keep(self):
        if self._quiet or self._opening:
            return
        kept = {
            "place": self._place.value, "act": _key_of(self._way) if self._place.value not in (SAY, OVER) else "",
            "at": self._at.value, "part": self._part.value, "marked": self._marked.value, "gapped": self._gapped.value,
            "found": [self._first.value, self._second.value], "proved": [widget.value for widget in self._proofs],
            "compared": self._compared.value, "left": self._left.value,
        }  # fmt: skip
        self.draft = json.dumps(kept, ensure_ascii=False)
        self.drafted()

    def _take_draft(self):
        """Put back what was chosen and not done; a draft that does not fit the car as it stands is passed over."""
        try:
            kept = json.loads(self.draft)
            place = kept["place"]
        except (ValueError, KeyError, TypeError):
            return
        self._left.value = str(kept.get("left", ""))[:LONGEST_LEFT]
        if place not in PLACES:
            return
        self._place.value = place
        at = next((n for n, way in enumerate(getattr(self, "_offered", ())) if _key_of(way) == kept.get("act")), None)
        if place not in (SAY, OVER) and at is not None:
            self._act.value = at
        lists = [(self._at, kept.get("at")), (self._part, kept.get("part")), (self._compared, kept.get("compared"))]
        if place in (SAY, OVER):
            lists += zip((self._first, self._second), kept.get("found", ()), strict=False)
        lists += zip(self._proofs, kept.get("proved", ()), strict=False)
        for widget, value in lists:
            if value in [allowed for _, allowed in _pairs(widget)]:
                widget.value = value
        self._marked.value, self._gapped.value = kept.get("marked") is True, kept.get("gapped") is True

    def _ask_how(self, key: str) -> list:
        """Whoever meets a danger for the first time on a car says how he goes about it; one of the ways would hurt somebody."""
        hazard, drawn = self._hazard_at(key)
        avoided = {
            self._hazard_at(step.act.get("with", step.act.get("what", "")))[0]
            for step in self.bench.steps
            if step.outcome in (session.READ, session.DONE)
        }
        if not hazard or hazard in avoided:
            self._hazard = ""
            return []
        options = [(unsafe_acts()[hazard]["safely"], False), (unsafe_acts()[hazard]["title"], True)]
        options = options[::-1] if drawn % 2 else options
        if getattr(self, "_hazard", "") != hazard or tuple(self._how.options) != tuple(options):
            self._hazard = hazard
            self._how.options = options
            self._how.value = None
        return [self._how_label, self._how]

    def _hazard_at(self, key: str) -> tuple[str, int]:
        """Which unsafe act tempts whoever uses an instrument on this car, or nothing; and a number drawn for it."""
        near = [name for name, act in unsafe_acts().items() if key in act["at"]]
        drawn = hashlib.sha256(f"{self.case.seed} {key}".encode()).digest()
        return (near[drawn[0] % len(near)] if near else ""), drawn[1]

    @property
    def _way(self) -> Way:
        return self._offered[self._act.value or 0]

    # What is done.

    def _went(self):
        place = self._place.value
        at = self._at.value if self._at in self._desk.children else 0
        if place in (SAY, OVER):
            named = [group for group in (self._first.value, self._second.value) if group]
            if not named:
                return self._say("Choose what it is first.")
            if at == 0 and self._at in self._desk.children:
                return self._say("Choose the cylinder first.")
            if place == SAY:
                return self._do(session.name(*named, at=at))
            proved = [widget.value for widget in self._proofs if widget.value]
            return self._do(
                session.hand_over(named, at, list(dict.fromkeys(proved)), self._compared.value or "", self._left.value)
            )
        act = dict(self._way.act)
        key = act.get("with") or act.get("what")
        if self._how in self._desk.children:
            if self._how.value is None:
                return self._say("Say first how you go about it.")
            if self._how.value:
                return self._do(session.unsafe(self._hazard))
        if key == session.reading.SWAP:
            act["part"] = self._part.value
        if at and (key != session.reading.SWAP or self._part.value == "fit_lead"):
            act["at"] = at
        if key in _MARKED and self._marked.value:
            act["marked"] = True
        if key in _GAPPED and not self._gapped.value:
            act["gapped"] = False
        return self._do(act)

    def _say(self, words: str):
        self._came.value = style.sentence(words, "wrong")

    def _do(self, act):
        bench = self.bench
        if bench.closed:
            return self._say("This car was handed over. Its log stands below.")
        step = session.after(bench, act).steps[-1]
        if step.outcome == session.REFUSED:
            return self._say(" ".join(step.sentences))  # what was not done is no part of the log
        try:
            self.log = session.append(self.log or session.EMPTY, act)
        except Unreadable as problem:
            return self._say(str(problem))
        self._heard(None)
        self._show()
        return None

    # What is shown.

    def _show(self):
        bench = self.bench
        self._stands.value = f"<p>{escape(_how_it_stands(bench))}</p>"
        self._came.value = _step_html(bench.steps[-1], bench, newest=True) if bench.steps else ""
        self._log.value = _log_html(bench)
        self._hint.value = ""
        if self._possible in self._rows:
            self._possible.value = "" if bench.closed else bench_drawn.shares(coach.shortlist(bench))
        self._show_plan()
        kept = self._act.value
        if self._place.value in (SAY, OVER):
            if bench.closed:
                self._go.description = "Handed over"
            return
        self._quiet = True
        try:
            ways = self._ways()
            self._offered = [ways[way.act["do"], way.act.get("with") or way.act["what"]] for way in self._offered]
            options = [(_cost(way), index) for index, way in enumerate(self._offered)]
            if tuple(self._act.options) != tuple(options):
                self._act.options = options
                self._act.value = kept
        finally:
            self._quiet = False
        self._chosen()

    def _show_plan(self):
        drawn = bench_drawn.plan(self.case.spec, self._place.value)
        self._plan.value = f'<div data-bench-places="{" ".join(PLACES)}">{drawn}</div>'


def _label(words: str):
    return style.HTML(f"<div>{escape(words)}</div>").add_class("tm-label")


def _list(words: str):
    return style.Dropdown(
        options=[(_NOT_CHOSEN, "")], value="", description=words, layout=Layout(width="100%", max_width="34rem")
    )


def _of_group(group: str) -> str:
    return GROUP_WORDS.get(group, group)


def _pairs(widget) -> list[tuple[str, Any]]:
    """(words, value) of each option of a list."""
    return [option if isinstance(option, tuple) else (str(option), option) for option in widget.options]


def _key_of(way: Way) -> str:
    return way.act.get("with") or way.act.get("what") or ""


def _standing(widget) -> str:
    """What is picked in a list or box, as the page reads it too: the place of the option, a tick, a text."""
    if isinstance(widget, style.Checkbox):
        return "1" if widget.value else "0"
    if isinstance(widget, style.Text):
        return widget.value
    return str(-1 if widget.index is None else widget.index)


def _minutes(minutes: float) -> str:
    return "1 minute" if minutes == 1 else f"{minutes:g} minutes"


def _cost(way: Way) -> str:
    verb = "Read" if way.act["do"] == session.TEST else "Work"
    parts = f", parts worth {_minutes(way.parts)}" if way.parts else ""
    return f"{verb}: {way.title} ({_minutes(way.minutes)}{parts})"


def _needs(way: Way) -> str:
    """HTML: what an act reads, what it needs, the caution, and why it cannot be done now."""
    told = []
    if way.act["do"] == session.TEST:
        tool = instrument(way.act["with"])
        told = [
            f"Reads: {tool.reads}." if tool.reads else "",
            f"Needs: {tool.condition}.",
            f"Mind: {tool.risk}." if tool.risk else "",
        ]
        told.append("A look can miss what is there." if tool.hit < 1 else "")
        told.append(f"{tool.note[0].upper()}{tool.note[1:]}." if tool.note else "")
    else:
        done = session.acting.action(way.act["what"])
        told = [
            f"It may upset: {done.disturbs}." if done.disturbs else "",
            f"{done.note[0].upper()}{done.note[1:]}." if done.note else "",
        ]
        after = [_title_of(key) for key in done.then]
        told.append(f"Afterwards: {'; '.join(after)}." if after else "")
    told = [escape(line) for line in told if line]
    if way.refused:
        told.append(f"<strong>Not now:</strong> {escape(way.refused)}")
    return f"<div>{' '.join(told)}</div>"


def _title_of(key: str) -> str:
    done = session.acting.actions().get(key)
    return done.title.lower() if done else instrument(key).title.lower()


def _how_it_stands(bench: Bench) -> str:
    bay = bench.bay
    engine = {"cold": "cold", "warm": "warm", "hot": "hot"}.get(bay.engine, bay.engine)
    turning = "idling" if bay.turning else "key on, engine standing" if bay.key_on else "standing, key off"
    parts = f", parts worth {_minutes(bench.parts)}" if bench.parts else ""
    over = " The car is handed over." if bench.closed else ""
    return f"Engine {engine}, {turning}. Minutes on the bench so far: {bench.minutes:g}{parts}.{over}"


def _job_card(case: cases.Case) -> str:
    said, spec = cases.job_card(case), case.spec
    quoted = "".join(f"<li>“{escape(sentence)}”</li>" for sentence in said.words)
    words = f" The owner says:</p><ul>{quoted}</ul>" if quoted else " The owner can say no more than that.</p>"
    rows = "".join(f"<tr><th>{escape(name)}</th><td>{escape(value)}</td></tr>" for name, value in _manual(spec))
    return (
        f'<div class="tm-bench-card"><h4>Job card: {escape(said.vehicle)}</h4>'
        f"<p>{escape(said.arrived)} {escape(said.plugs)}. {escape(said.last_work)}{words}"
        f"<details><summary>The manual of this vehicle</summary><table>{rows}</table></details></div>"
    )


def _manual(spec: Vehicle) -> list[tuple[str, str]]:
    made = card(spec)
    return [
        ("Cylinders, firing order", f"{spec.cylinders}, {'-'.join(map(str, spec.firing_order))}, rotor {spec.rotor}"),
        ("Battery, earth", f"{spec.battery_v:g} V, {spec.earth} earth"),
        ("Initial timing", f"{spec.initial_deg:g}° before top dead centre at {spec.idle_rpm} rev/min or below, line off and plugged"),
        ("Centrifugal advance", "; ".join(f"{rpm:g} rev/min {degrees:g}°" for rpm, degrees in spec.centrifugal) + " (distributor)"),
        ("Vacuum advance", "; ".join(f"{inhg:g} inHg {degrees:g}°" for inhg, degrees in spec.vacuum) + f" (distributor), {spec.port} port"),
        ("Point gap, dwell", f"{spec.gap_in:.3f} in ({MM_PER_IN * spec.gap_in:.2f} mm), {spec.dwell_deg:g}°"),
        ("Plug gap", f"{made.plug_gap_in:.3f} in ({MM_PER_IN * made.plug_gap_in:.2f} mm)"),
        ("Coil", f"{made.coil_ohm:g} Ω" + (f", ballast {made.ballast_ohm:g} Ω" if made.ballast_ohm else ", no ballast")),
        ("Compression", f"{made.compression_psig:g} psi ({KPA_PER_PSI * made.compression_psig:.0f} kPa), cranking at {made.crank_rpm:g} rev/min"),
        ("Rated speed", f"{grouped(made.rated_rpm)} rev/min"),
    ]  # fmt: skip


def _step_html(step: Step, bench: Bench, newest: bool = False) -> str:
    """One line of the log; the newest one with its pictures."""
    kind = {session.STOPPED: "tm-wrong", session.REFUSED: "tm-wrong"}.get(step.outcome, "")
    costs = [_minutes(step.minutes)] if step.minutes else []
    costs += ["still connected"] if step.again else []
    costs += [f"parts worth {_minutes(step.parts)}"] if step.parts else []
    told = bench_drawn.told(step) + escape(f" ({', '.join(costs)})" if costs else "")
    if not newest:
        return f'<li class="{kind}">{told}</li>'
    pictures = bench_drawn.readings(step.figures, step.results, step.places)
    return f'<div class="tm-say {kind}">{told}{f"<div>{pictures}</div>" if pictures else ""}</div>'


def _log_html(bench: Bench) -> str:
    if not bench.steps:
        return ""
    lines = "".join(_step_html(step, bench) for step in bench.steps)
    return f"<details open><summary>The log: {len(bench.steps)} {'entry' if len(bench.steps) == 1 else 'entries'}</summary><ol>{lines}</ol></details>"
