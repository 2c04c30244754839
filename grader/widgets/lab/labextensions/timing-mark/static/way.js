// Finding one's way: the sections of a lesson with the state of each exercise, keys from one to the next, the place kept.
//
// What is listed comes from the notebook's own cells; how an exercise stands is read from what its form shows, so that
// the kernel has nothing to send for it.

import { goTo } from "./place.js";

const EXERCISE = /lesson\.show\("([^"]+)"\)/;
const SECTION = /^## +(.+)$/m;
const LOOK_EVERY = 250;
const KEEP_AFTER = 200;
const KEYS = { PageDown: 1, PageUp: -1 }; // with Alt
// Sign and word of a state: colour says nothing that these do not.
const STATES = {
  open: ["○", "open"],
  begun: ["◐", "begun"],
  answered: ["●", "answered"],
  right: ["✓", "right"],
  again: ["↻", "look again"],
  unsaved: ["!", "not saved"],
  former: ["–", "counts from before"],
};

export class Way {
  constructor(page) {
    this.root = page.panel.node;
    this.key = `timing-mark place ${page.panel.context.path}`;
    this.stops = stopsOf(page.panel.content.widgets);
    this.exercises = this.stops.filter((stop) => stop.exercise);
    this.kept = read(this.key);
    this.moved = false; // by the trainee's own hand since the page opened
  }

  /** Put the list beside the text; a page without exercises has none. */
  start() {
    if (!this.exercises.length) {
      return;
    }
    this.build();
    document.body.classList.add("tm-with-way");
    this.root.addEventListener("scroll", () => this.scrolled(), { capture: true, passive: true });
    for (const kind of ["wheel", "touchmove", "pointerdown", "keydown"]) {
      window.addEventListener(kind, () => { this.moved = true; }, { capture: true, passive: true });
    }
    window.addEventListener("keydown", (event) => this.pressed(event), true);
    window.addEventListener("resize", () => this.follow());
    new MutationObserver(() => this.lookSoon()).observe(this.root, { childList: true, subtree: true });
    this.look();
  }

  /** The number of the cell at which the page was left, or 0. */
  get cell() {
    return this.kept?.cell ?? 0;
  }

  /** Back to where the page was left, unless the trainee went elsewhere meanwhile. */
  putBack() {
    const cell = this.kept && this.cells()[this.kept.cell];
    if (cell && !this.moved) {
      cell.scrollIntoView({ block: "start" });
      scrollerOf(cell).scrollTop += this.kept.offset;
    }
  }

  build() {
    this.nav = make("nav", { id: "tm-way" });
    this.nav.setAttribute("aria-label", "Sections of this lesson");
    this.here = make("button", { type: "button", className: "tm-way-here" });
    this.here.setAttribute("aria-expanded", "false");
    this.here.addEventListener("click", () => this.open(!this.nav.classList.contains("tm-way-open")));
    const steps = make("div", { className: "tm-way-steps" });
    for (const [by, sign, words] of [[-1, "↑", "Previous exercise"], [1, "↓", "Next exercise"]]) {
      const button = make("button", { type: "button", title: `${words} (Alt + Page ${by < 0 ? "Up" : "Down"})` });
      button.append(make("span", { textContent: sign, ariaHidden: "true" }), make("span", { textContent: words.split(" ")[0] }));
      button.setAttribute("aria-label", words);
      button.addEventListener("click", () => this.step(by));
      steps.append(button);
    }
    const list = make("ul", { className: "tm-way-list" });
    let inner = null;
    for (const stop of this.stops) {
      stop.item = make("li");
      stop.link = make("a", { href: "#" });
      stop.link.addEventListener("click", (event) => {
        event.preventDefault();
        this.open(false);
        this.to(stop);
      });
      stop.item.append(stop.link);
      if (stop.exercise) {
        stop.sign = make("span", { className: "tm-way-sign", ariaHidden: "true" });
        stop.name = make("span", { textContent: `Exercise ${this.exercises.indexOf(stop) + 1}` });
        stop.word = make("span", { className: "tm-way-word" });
        stop.link.append(stop.sign, stop.name, " · ", stop.word);
        inner ??= list.appendChild(make("li")).appendChild(make("ul"));
        inner.append(stop.item);
      } else {
        stop.link.textContent = stop.title;
        list.append(stop.item);
        inner = stop.item.appendChild(make("ul"));
      }
    }
    for (const empty of list.querySelectorAll("ul:empty")) {
      empty.remove();
    }
    this.count = make("p", { className: "tm-way-count" });
    const keys = make("p", { className: "tm-way-keys" });
    keys.append("Next exercise: ", make("kbd", { textContent: "Alt + Page Down" }), ". Previous: ", make("kbd", { textContent: "Alt + Page Up" }), ".");
    this.told = make("p", { className: "tm-way-told" });
    this.told.setAttribute("role", "status");
    this.body = make("div", { className: "tm-way-body" });
    this.body.append(this.count, list, keys);
    this.nav.append(this.here, steps, this.told, this.body);
    document.body.prepend(this.nav);
  }

  open(open) {
    this.nav.classList.toggle("tm-way-open", open);
    this.here.setAttribute("aria-expanded", String(open));
  }

  lookSoon() {
    this.timer ??= setTimeout(() => {
      this.timer = null;
      this.look();
    }, LOOK_EVERY);
  }

  /** Show how each exercise stands. */
  look() {
    let done = 0;
    for (const stop of this.exercises) {
      const form = stop.cell.node.querySelector(".tm-exercise");
      const heading = form?.querySelector("h3")?.textContent.replace(/\s*\(\d+ marks?\)\s*$/, "");
      const state = form ? stateOf(form) : /Not part of this resit/.test(stop.cell.node.textContent) ? "former" : "open";
      const [sign, word] = STATES[state];
      done += ["answered", "right", "again", "unsaved"].includes(state) ? 1 : 0;
      put(stop.sign, sign);
      put(stop.word, word);
      put(stop.name, heading || stop.name.textContent);
      stop.item.dataset.state = state;
    }
    const asked = this.exercises.filter((stop) => stop.item.dataset.state !== "former").length;
    put(this.count, `${done} of ${asked} exercises answered`);
    this.follow(); // what stands above may have grown
  }

  scrolled() {
    this.waiting ??= requestAnimationFrame(() => {
      this.waiting = null;
      this.follow();
    });
    clearTimeout(this.keeping);
    this.keeping = setTimeout(() => this.keep(), KEEP_AFTER);
  }

  cells() {
    return this.root.querySelectorAll(".jp-Cell");
  }

  /** Mark the section and exercise that are read, and keep the mark in sight. */
  follow() {
    const line = this.root.getBoundingClientRect().top + window.innerHeight / 3;
    const reached = this.stops.filter((stop) => stop.cell.node.getBoundingClientRect().top <= line);
    const section = reached.findLast((stop) => !stop.exercise);
    const now = reached.at(-1) || this.stops[0];
    for (const stop of this.stops) {
      if (stop === now || stop === section) {
        stop.link.setAttribute("aria-current", stop === now ? "location" : "true");
      } else {
        stop.link.removeAttribute("aria-current");
      }
    }
    put(this.here, `Section: ${section ? section.title : "beginning of the lesson"}`);
    if (this.body.scrollHeight > this.body.clientHeight) {
      const [box, frame] = [now.link.getBoundingClientRect(), this.body.getBoundingClientRect()];
      if (box.top < frame.top || box.bottom > frame.bottom) {
        this.body.scrollTop += box.top - frame.top - frame.height / 3;
      }
    }
  }

  keep() {
    const cells = [...this.cells()];
    const scroller = cells.length && scrollerOf(cells[0]);
    if (!scroller || document.body.dataset.tmReady !== "yes") {
      return;
    }
    const top = scroller.getBoundingClientRect().top;
    const cell = cells.findIndex((node) => node.getBoundingClientRect().bottom > top + 1);
    if (cell >= 0) {
      write(this.key, { cell, offset: Math.round(top - cells[cell].getBoundingClientRect().top) });
    }
  }

  pressed(event) {
    const by = KEYS[event.key];
    if (by && event.altKey && !event.ctrlKey && !event.metaKey && !event.shiftKey && !document.body.classList.contains("tm-covered")) {
      event.preventDefault();
      event.stopImmediatePropagation();
      this.step(by);
    }
  }

  /** To the exercise after, or before, the one that has the focus or is read. */
  step(by) {
    const at = document.activeElement?.closest?.(".tm-exercise");
    let place = at ? this.exercises.findIndex((stop) => stop.cell.node.contains(at)) : -1;
    const line = this.root.getBoundingClientRect().top + 80;
    const top = (stop) => stop.cell.node.getBoundingClientRect().top;
    if (place >= 0 && (top(this.exercises[place]) > window.innerHeight || this.exercises[place].cell.node.getBoundingClientRect().bottom < 0)) {
      place = -1; // he read on since, and left the focus behind
    }
    if (place < 0) {
      const above = this.exercises.filter((stop) => top(stop) <= line).length;
      place = by > 0 ? above - 1 : above - (above && top(this.exercises[above - 1]) > line - 160 ? 1 : 0);
    }
    const goal = this.exercises[place + by];
    put(this.told, goal ? "" : by > 0 ? "This is the last exercise." : "This is the first exercise.");
    if (goal) {
      this.to(goal);
    }
  }

  to(stop) {
    const form = stop.exercise && stop.cell.node.querySelector(".tm-exercise");
    if (form) {
      goTo(form);
      return;
    }
    const heading = (!stop.exercise && stop.cell.node.querySelector("h2")) || stop.cell.node;
    heading.tabIndex = -1;
    heading.focus({ preventScroll: true });
    heading.scrollIntoView({ block: "start" });
  }
}

function stopsOf(cells) {
  const stops = [];
  for (const cell of cells) {
    const source = cell.model.sharedModel.getSource();
    if (cell.model.type === "markdown") {
      const title = SECTION.exec(source)?.[1].replace(/[*_`]/g, "").trim();
      if (title) {
        stops.push({ cell, title });
      }
    } else if (cell.model.type === "code" && EXERCISE.test(source)) {
      stops.push({ cell, exercise: EXERCISE.exec(source)[1] });
    }
  }
  return stops;
}

/** How an exercise stands, as its parts show it. */
function stateOf(form) {
  const parts = [...form.querySelectorAll(".tm-part")];
  const beacons = parts.map((part) => part.querySelector(".tm-beacon [data-part]")?.dataset || {});
  const filled = beacons.filter((beacon) => decodeURIComponent(beacon.text || "").trim()).length;
  if (beacons.some((beacon) => beacon.saved === "no")) {
    return "unsaved";
  }
  if (parts.some((part) => part.querySelector(".tm-say.tm-wrong"))) {
    return "again";
  }
  if (!filled) {
    return "open";
  }
  if (filled < parts.length) {
    return "begun";
  }
  return parts.every((part) => part.querySelector(".tm-say.tm-right")) ? "right" : "answered";
}

function scrollerOf(node) {
  for (let at = node.parentElement; at; at = at.parentElement) {
    if (at.scrollHeight > at.clientHeight + 1 && /auto|scroll/.test(getComputedStyle(at).overflowY)) {
      return at;
    }
  }
  return document.scrollingElement;
}

function make(tag, values = {}) {
  return Object.assign(document.createElement(tag), values);
}

function put(node, text) {
  if (node.textContent !== text) {
    node.textContent = text;
  }
}

/** The place of this tab; a browser that keeps nothing goes without. */
function read(key) {
  try {
    const kept = JSON.parse(sessionStorage.getItem(key));
    return Number.isInteger(kept?.cell) && Number.isFinite(kept.offset) ? kept : null;
  } catch {
    return null;
  }
}

function write(key, place) {
  try {
    sessionStorage.setItem(key, JSON.stringify(place));
  } catch {
    // nothing to be done, and nothing lost but the place
  }
}
