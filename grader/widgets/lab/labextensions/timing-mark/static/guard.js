// The save guard: what is typed is either confirmed by the kernel within three seconds, or put in again;
// a click on Check, Hand in or Sheet to print is answered, or asked again.
//
// Each part of a form holds a hidden beacon that the kernel writes: the text it has and whether
// that text is on disk. The guard compares it with what stands in the field. Beacons count the
// clicks that were answered, too.

import { kernelStands, pause } from "./kernel.js";

const PATIENCE = 3000;
const PATIENCE_CHECK = 8000; // what is saved is safe: to run the lesson again is the last resort
const PATIENCE_BUSY = 20000; // a working cell of the trainee's own may compute for a while
const LOOK_EVERY = 250;
const LOOK_HELD = 50; // while a click waits
const SAY_AFTER = 800;
const UNCONFIRMED = "tm-unconfirmed";
const CHECK = "tm-check";
const ACT = "tm-bench-go";
// Buttons that go by the answers. A text may still be queued in the page when its button is clicked.
// With each, what the work is not yet while its click waits.
const HELD = { [CHECK]: "checked", "tm-hand-in": "handed in", "tm-print": "made into a sheet", "tm-new-numbers": "given fresh numbers", [ACT]: "done" };

export class SaveGuard {
  constructor(page) {
    this.page = page;
    this.pending = new Map(); // part id -> {text, unit, choice, picks, since}
    this.held = new Map(); // what was clicked -> {find, answered, words, since, sent, before}
    this.recovering = false;
    this.focused = null;
    for (const kind of ["input", "change"]) {
      page.panel.node.addEventListener(kind, (event) => this.note(event), true);
    }
    page.panel.node.addEventListener("click", (event) => this.hold(event), true);
    window.addEventListener("keydown", (event) => this.keepKey(event), true);
    window.addEventListener("beforeunload", (event) => {
      if (this.pending.size) {
        event.preventDefault();
      }
    });
  }

  start() {
    this.timer = setInterval(() => this.look(), LOOK_EVERY);
  }

  stop() {
    clearInterval(this.timer);
    this.pending.clear();
    this.held.clear();
  }

  /** Something was typed or chosen: from now on it waits for its confirmation. */
  note(event) {
    const part = event.target.closest(".tm-part");
    if (!part || this.puttingBack) {
      return;
    }
    const beacon = beaconOf(part);
    if (!beacon || !fieldsOf(part).includes(event.target)) {
      return;
    }
    const id = beacon.dataset.part;
    this.pending.set(id, { ...read(part), whose: beacon.dataset.whose, since: Date.now(), warm: isWarm(part) });
  }

  /**
   * A click waits until all that was typed is with the kernel, and then until it is answered.
   *
   * The page sends a click at once, but of a text only one change at a time: under load the
   * kernel would judge half a number, and take the verdict back when the rest arrives.
   */
  hold(event) {
    const button = event.target.closest?.(Object.keys(HELD).map((name) => `.${name}`).join());
    if (!button || this.pressing) {
      return;
    }
    event.preventDefault();
    event.stopImmediatePropagation();
    const name = Object.keys(HELD).find((one) => button.classList.contains(one));
    const ofPart = [CHECK, ACT].includes(name); // each part has its own; the others stand once on the page
    const id = ofPart ? beaconOf(button.closest(".tm-part")).dataset.part : null;
    const within = () => (id ? partOf(this.page.panel.node, id) : this.page.panel.node);
    const find = () => [...(within()?.querySelectorAll(`.${name}`) || [])].find((one) => one.title === button.title);
    const answered = () => within()?.querySelector(`[data-button="${name}"]`)?.dataset.clicks;
    const key = `${name} ${id || button.title}`;
    const known = this.held.get(key);
    if (known) {
      known.sent = false; // something may have been typed since
      return;
    }
    const warm = id !== null && isWarm(button);
    // An act at the bench goes out when the kernel knows all that was picked for it, and is never asked twice.
    const stands = () => name !== ACT || benchStands(within());
    this.held.set(key, { find, answered, stands, once: name === ACT, warm, words: HELD[name], since: Date.now(), sent: false, before: "" });
    // Not within this click: browsers pass over a click made by a click of Enter or Space.
    setTimeout(() => this.lookSoon());
  }

  lookSoon() {
    this.look();
    if (this.held.size && !this.page.lost) {
      setTimeout(() => this.lookSoon(), LOOK_HELD);
    }
  }

  /** Press what was held as far as nothing typed is on its way; returns what of it has waited longest. */
  press(onTheWay) {
    let oldest = { since: Infinity };
    for (const [key, click] of this.held) {
      const button = click.find();
      const answered = click.answered();
      if (click.warm && !button) {
        this.held.delete(key);
        continue;
      }
      if (click.sent && answered !== undefined && answered !== click.before) {
        this.held.delete(key);
        continue;
      }
      if (!click.sent && !onTheWay && button && click.stands()) {
        click.before = answered;
        // A busy page may have had no time to send it for long: patience begins with the sending.
        Object.assign(click, { sent: true, since: Date.now() });
        this.pressing = true;
        try {
          button.click();
        } finally {
          this.pressing = false;
        }
        if (answered === undefined) {
          this.held.delete(key); // fresh numbers: asked twice, they would be drawn twice
        }
      }
      if (click.since < oldest.since) {
        oldest = click;
      }
    }
    return oldest;
  }

  look() {
    if (this.recovering || (this.page.running && !this.page.opened)) {
      return;
    }
    const { oldest, refused } = this.confirm();
    const held = this.press(oldest < Infinity);
    const waited = Date.now() - Math.min(oldest, held.since);
    const notYet = oldest < Infinity ? "saved" : held.words;
    const kernel = this.page.session.session?.kernel;
    const busy = kernel?.status === "busy" && kernel.connectionStatus === "connected";
    if (waited > (busy ? PATIENCE_BUSY : oldest < Infinity ? PATIENCE : PATIENCE_CHECK)) {
      this.recover(oldest < Infinity
        ? "Your last answer is not saved yet. Trying again; it stays on this page …"
        : `Your work is saved and not ${notYet} yet. Asking again …`);
    } else if (busy && waited > PATIENCE) {
      this.page.say("warn", `Your work is not ${notYet} yet: a working cell is still computing.`);
    } else {
      this.sayHowItStands(refused, held);
    }
  }

  /** Take what the kernel has on disk off the list; returns since when the oldest other text waits, and why one was refused. */
  confirm() {
    let oldest = Infinity;
    let refused = "";
    for (const [id, typed] of this.pending) {
      const part = partOf(this.page.panel.node, id);
      if (part && beaconOf(part).dataset.whose !== typed.whose) {
        this.pending.delete(id); // somebody else works here now: nothing of one goes into the other's work
        continue;
      }
      if (!part && typed.warm) {
        this.pending.delete(id); // the warm-up was closed, or the page ran again without it: nothing in it counts
        continue;
      }
      if (!part && this.page.panel.node.querySelector(".tm-names input")) {
        continue; // the page asks who is there: to run the lesson again would take the question away
      }
      const verdict = part ? confirmed(part, typed) : "waiting";
      if (verdict === "saved") {
        this.pending.delete(id);
        part.classList.remove(UNCONFIRMED);
      } else if (verdict === "refused") {
        refused = decodeURIComponent(beaconOf(part).dataset.why || "") || "the file could not be written.";
      } else {
        oldest = Math.min(oldest, typed.since);
      }
    }
    return { oldest, refused };
  }

  sayHowItStands(refused, held) {
    if (refused) {
      this.page.say("bad", `Your last answer is not saved: ${refused}`);
    } else if (this.page.workProblem) {
      this.page.say("bad", this.page.workProblem);
    } else if (Date.now() - held.since > SAY_AFTER) {
      this.page.say("wait", `One moment: your work is not ${held.words} yet …`);
    } else if (document.body.dataset.tmReady === "yes" || (this.page.opened && this.page.running)) {
      this.page.say("", "");
    }
  }

  /** Run the lesson again and put back what was typed, as often as it takes. */
  async recover(words) {
    if (this.recovering) {
      return;
    }
    this.recovering = true;
    this.focused = focusOf(this.page.panel.node);
    this.page.say(this.pending.size ? "bad" : "wait", words);
    for (const id of this.pending.keys()) {
      partOf(this.page.panel.node, id)?.classList.add(UNCONFIRMED);
    }
    try {
      for (let wait = 500; !this.page.lost; wait = Math.min(2 * wait, 4000)) {
        const stands = await kernelStands(this.page).catch(() => false);
        if (stands && (await this.page.run())) {
          break;
        }
        if (document.body.dataset.tmReady === "failed") {
          return;
        }
        this.page.say("bad", this.pending.size
          ? "Not saved: the course program does not answer. What you typed stays on this page and is saved as soon as it answers again."
          : `${this.notYet()}The course program does not answer. Leave this page open; it goes on as soon as it answers again.`);
        await pause(wait);
      }
      this.putBack();
    } finally {
      this.recovering = false;
    }
  }

  /** A sentence on what was clicked and not answered, or nothing. */
  notYet() {
    const [first] = this.held.values();
    return first ? `Your work is saved and not ${first.words} yet. ` : "";
  }

  putBack() {
    for (const [id, typed] of this.pending) {
      const part = partOf(this.page.panel.node, id);
      if (part && beaconOf(part).dataset.whose !== typed.whose) {
        this.pending.delete(id);
        continue;
      }
      if (part?.querySelector(".tm-bench") && !part.querySelector(".tm-field input")) {
        // The note of a hand-over was typed before the kernel knew that somebody stands there: go there first.
        const last = [...part.querySelectorAll(".tm-bench-places input")].pop();
        last?.click();
        typed.since = Date.now();
        if (!last) {
          this.pending.delete(id);
        }
        continue;
      }
      if (part) {
        this.putBackInto(part, id, typed);
      }
    }
    for (const [key, click] of this.held) {
      if (click.once) {
        this.held.delete(key); // what was picked for it may not have come back: whoever clicked looks, and clicks again
        continue;
      }
      Object.assign(click, { since: Date.now(), sent: false }); // the forms are new: ask again
    }
    this.putFocusBack();
  }

  /** One answer, unless the kernel had it before it went. */
  putBackInto(part, id, typed) {
    const stands = (typed.choice !== null || typed.picks.length > 0) && samePick(read(part), typed);
    if (stands && beaconOf(part).dataset.saved === "yes") {
      this.pending.delete(id);
      return;
    }
    typed.since = Date.now();
    this.puttingBack = true;
    try {
      write(part, typed);
    } finally {
      this.puttingBack = false;
    }
  }

  putFocusBack() {
    const part = this.focused && partOf(this.page.panel.node, this.focused.id);
    const field = part && (fieldsOf(part)[this.focused.index] || part.querySelector(`.${ACT}, .${CHECK}`));
    if (field && (document.activeElement === document.body || !document.activeElement?.closest(".tm-part"))) {
      field.focus({ preventScroll: true });
      if (this.focused.caret !== null) {
        field.setSelectionRange(this.focused.caret, this.focused.caret);
      }
    }
    this.focused = null;
  }

  /** While the lesson runs again its fields are gone for a second; what is typed in it is kept. */
  keepKey(event) {
    const at = this.focused;
    if (!this.recovering || !at || at.caret === null || event.ctrlKey || event.metaKey || event.altKey) {
      return;
    }
    if (event.target.closest?.("input, textarea, select, .cm-editor")) {
      return; // a field that stands keeps its own text
    }
    const typed = this.pending.get(at.id) || { ...at.typed, whose: at.whose, since: Date.now() };
    if (event.key.length === 1) {
      typed.text = typed.text.slice(0, at.caret) + event.key + typed.text.slice(at.caret);
      at.caret += 1;
    } else if (event.key === "Backspace" && at.caret > 0) {
      typed.text = typed.text.slice(0, at.caret - 1) + typed.text.slice(at.caret);
      at.caret -= 1;
    } else {
      return;
    }
    this.pending.set(at.id, typed);
    event.preventDefault();
  }
}

/** Whether something belongs to the warm-up, which may be closed at any time. */
function isWarm(node) {
  return Boolean(node.closest(".tm-warm-up"));
}

function beaconOf(part) {
  return part.querySelector(".tm-beacon [data-part]");
}

function partOf(root, id) {
  return root.querySelector(`.tm-beacon [data-part="${CSS.escape(id)}"]`)?.closest(".tm-part");
}

function fieldsOf(part) {
  return [...part.querySelectorAll(".tm-field input, .tm-field textarea, .tm-unit select, .tm-choice input, .tm-choice select, .tm-pick input, .tm-pick select")];
}

/** Boxes and lists of which an answer is made up: ticks and places. */
function picksOf(part) {
  return [...part.querySelectorAll(".tm-pick input, .tm-pick select")];
}

function pickedIn(part) {
  return picksOf(part).map((field) => (field.type === "checkbox" ? field.checked : field.value));
}

function read(part) {
  const text = part.querySelector(".tm-field input, .tm-field textarea");
  const unit = part.querySelector(".tm-unit select");
  const radios = [...part.querySelectorAll(".tm-choice input")];
  return { text: text ? text.value : null, unit: unit ? unit.value : null, choice: radios.length ? radios.findIndex((radio) => radio.checked) : null, picks: pickedIn(part) };
}

/** "saved", "refused" (the kernel has it and cannot save it) or "waiting" (it is on its way to the kernel, or to the disk). */
function confirmed(part, typed) {
  const beacon = beaconOf(part);
  // What is picked is compared as it now stands: the kernel may have moved a place that was given twice.
  const has = typed.choice === null && !typed.picks.length
    ? decodeURIComponent(beacon.dataset.text || "") === typed.text &&
      (typed.unit === null || !beacon.dataset.unit || decodeURIComponent(beacon.dataset.unit) === typed.unit)
    : decodeURIComponent(beacon.dataset.shown || "") === shownIn(read(part));
  if (!has) {
    return "waiting";
  }
  return { yes: "saved", no: "refused" }[beacon.dataset.saved] || "waiting";
}

/** True if the kernel has what is picked on the bench of a part: lists, boxes and text, in the order in which they stand. */
function benchStands(part) {
  const picked = [...part.querySelectorAll(":is(.tm-bench-places, .tm-bench-desk) :is(.widget-radio-box, select, input[type=checkbox], input[type=text])")].map((one) => {
    if (one.matches(".widget-radio-box")) {
      return [...one.querySelectorAll("input")].findIndex((radio) => radio.checked);
    }
    return one.matches("select") ? one.selectedIndex : one.type === "checkbox" ? Number(one.checked) : one.value;
  });
  return decodeURIComponent(beaconOf(part).dataset.shown || "") === picked.join("|");
}

function samePick(one, other) {
  return shownIn(one) === shownIn(other);
}

/** What is picked, as the kernel's fields tell it: the place of an option, or every tick and place. */
function shownIn(picked) {
  return picked.choice !== null ? String(picked.choice) : picked.picks.join("|");
}

/** Set fields as a person would: the widget hears of it through the same events. */
function write(part, typed) {
  const fill = (field, value) => {
    if (field && value !== null && field.value !== value) {
      field.value = value;
      field.dispatchEvent(new Event("input", { bubbles: true }));
      field.dispatchEvent(new Event("change", { bubbles: true }));
    }
  };
  fill(part.querySelector(".tm-unit select"), typed.unit);
  fill(part.querySelector(".tm-field input, .tm-field textarea"), typed.text);
  picksOf(part).forEach((field, place) => {
    if (field.type !== "checkbox") {
      fill(field, typed.picks[place]);
    } else if (field.checked !== typed.picks[place]) {
      field.click();
    }
  });
  const radio = typed.choice !== null && part.querySelectorAll(".tm-choice input")[typed.choice];
  if (radio && !radio.checked) {
    radio.click();
  }
}

function focusOf(root) {
  const part = document.activeElement?.closest?.(".tm-part");
  if (!part || !root.contains(part) || !beaconOf(part)) {
    return null;
  }
  const field = document.activeElement;
  return {
    id: beaconOf(part).dataset.part,
    whose: beaconOf(part).dataset.whose,
    index: fieldsOf(part).indexOf(field),
    caret: field.matches(".tm-field input, .tm-field textarea") ? field.selectionStart : null,
    typed: read(part),
  };
}
