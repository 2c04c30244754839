// One lesson on its page: runs it, says how far it is, and runs it again when the kernel is new.

import { followPlan } from "./bench.js";
import { followDesk } from "./desk.js";
import { SaveGuard } from "./guard.js";
import { pause } from "./kernel.js";
import { nameEverything } from "./names.js";
import { followLinks } from "./place.js";
import { followBoards } from "./sorting.js";
import { holdTab } from "./tabs.js";
import { Way } from "./way.js";

const WORKING = "working";
const SECOND = 1000;

export class LessonPage {
  constructor(app, panel, CodeCell, what) {
    this.app = app;
    this.panel = panel;
    this.session = panel.sessionContext;
    this.CodeCell = CodeCell;
    this.what = what; // lesson or desk: what the page's sentences speak of
    this.running = null;
    this.workProblem = ""; // why a working cell is not saved
    this.stale = false; // true from a kernel's end until the lesson ran in the next one
    this.bar = document.createElement("div");
    this.bar.id = "tm-bar";
    this.bar.setAttribute("role", "status");
  }

  async start() {
    document.body.classList.add("tm-lesson");
    document.documentElement.lang ||= "en";
    document.body.append(this.bar);
    document.body.classList.toggle("tm-on-desk", this.what === "desk");
    this.say("wait", `Getting the ${this.what} ready …`);
    this.plainCells();
    this.saveOnlyWork();
    nameEverything(this.panel.node);
    followLinks(this);
    if (this.what === "desk") {
      followDesk(this.panel.node);
    } else {
      followPlan(this.panel.node);
      followBoards(this.panel.node);
      this.way = new Way(this);
      this.way.start();
    }
    if (!(await holdTab(this))) {
      return;
    }
    // JupyterLab's dialog about a dead kernel would cover the form; this page runs again by itself.
    this.session.statusChanged.disconnect(this.panel._onSessionStatusChanged, this.panel);
    await this.session.ready;
    await this.panel.revealed;
    this.guard = new SaveGuard(this);
    this.guard.start();
    await this.run();
    this.watchKernel();
  }

  /** Say one sentence at the top of the page; an empty text takes the bar away. */
  say(kind, text) {
    if (this.bar.textContent !== text || this.bar.dataset.kind !== kind) {
      this.bar.dataset.kind = text ? kind : "";
      this.bar.setAttribute("role", kind === "bad" ? "alert" : "status");
      this.bar.textContent = text;
      document.body.classList.toggle("tm-bar-shown", Boolean(text));
    }
  }

  lessonCells() {
    return this.panel.content.widgets.filter((cell) => cell.model.type === "code" && !isWorking(cell));
  }

  /** Run every cell but the working cells; one run at a time. Returns true when all of them ran. */
  run() {
    this.running ??= this.runOnce().finally(() => {
      this.running = null;
    });
    return this.running;
  }

  async runOnce() {
    document.body.dataset.tmReady = "no";
    this.stale = false;
    try {
      const cells = this.lessonCells();
      const first = this.opened ? cells : this.firstCells(cells);
      await this.execute(first);
      if (first.length < cells.length) {
        await this.shown(first);
        this.opened = true; // from here on one may work while the rest follows, one cell at a time
        this.way.putBack();
        this.say("", "");
        document.body.dataset.tmFirst = "yes";
        for (const cell of cells.filter((one) => !first.includes(one))) {
          await this.execute([cell]);
        }
      }
      await this.shown(cells);
    } catch (problem) {
      if (problem instanceof Failed) {
        document.body.dataset.tmReady = "failed";
        this.say("bad", `The ${this.what} could not start (${problem.message}). What was saved stays. Reload this page; if that does not help, ${this.what === "desk" ? "close it and open it again" : "tell the instructor"}.`);
        return false;
      }
      // The kernel ended while the cells ran: whoever watches it runs the lesson again.
      console.warn("timing-mark: the run was cut short", problem);
      this.stale = true;
      return false;
    }
    this.way?.putBack();
    this.opened = true;
    this.say("", "");
    document.body.dataset.tmReady = "yes";
    return true;
  }

  /** Run cells; a lesson that finds fault with one ends here. */
  async execute(cells) {
    const replies = await Promise.all(cells.map((cell) => this.CodeCell.execute(cell, this.session, { deletedCells: [] })));
    const failed = replies.find((reply) => reply && reply.content.status === "error");
    if (failed) {
      throw new Failed(`${failed.content.ename}: ${failed.content.evalue}`);
    }
  }

  /** The cell that opens the lesson, and those on the first screen: from its beginning, or from where it was left. */
  firstCells(cells) {
    if (!this.way?.exercises.length) {
      return cells;
    }
    const all = this.panel.content.widgets;
    const from = Math.max(0, Math.min(this.way.cell, all.length - 1));
    const shown = cells.filter((cell) => all.indexOf(cell) >= from);
    const last = shown.findIndex((cell) => this.way.exercises.some((stop) => stop.cell === cell));
    return [...new Set([cells[0], cells[1], ...shown.slice(0, last + 1)])].filter(Boolean);
  }

  /** Wait until the widgets of cells stand on the page, at most five seconds. */
  async shown(cells) {
    const empty = () =>
      cells.some((cell) =>
        [...cell.model.outputs.toJSON()].some((output) => (output.data || {})["application/vnd.jupyter.widget-view+json"]) &&
        !cell.node.querySelector(".jupyter-widgets")
      );
    for (let waited = 0; empty() && waited < 5 * SECOND; waited += 50) {
      await pause(50);
    }
    await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
  }

  watchKernel() {
    this.session.statusChanged.connect((_, status) => {
      if (status === "restarting" || status === "autorestarting" || status === "starting") {
        this.stale = true;
      } else if (status === "idle" && this.stale) {
        this.again();
      }
    });
    this.session.kernelChanged.connect(() => {
      this.stale = true;
    });
  }

  /** Run the lesson in a fresh kernel; what was typed and not saved comes back into the fields. */
  async again() {
    if (!this.running && !this.guard.recovering) {
      await this.guard.recover(`The ${this.what} was restarted. Putting everything back …`);
    }
  }

  /**
   * The notebook is written when the trainee wrote in a working cell, and never for display alone.
   *
   * JupyterLab would also save outputs and the kernel's name, and cover the form with a
   * dialog where it cannot; so it is told that there is nothing to save.
   */
  saveOnlyWork() {
    const { context } = this.panel;
    Object.defineProperty(context, "canSave", { get: () => false });
    context.model.stateChanged.connect((model, change) => {
      if (change.name === "dirty" && change.newValue) {
        queueMicrotask(() => {
          model.dirty = false;
        });
      }
    });
    let timer;
    const soon = (ms) => {
      clearTimeout(timer);
      timer = setTimeout(async () => {
        try {
          await this.app.serviceManager.contents.save(context.path, { type: "notebook", format: "json", content: withoutOutputs(context.model.toJSON()) });
          this.workProblem = "";
        } catch (problem) {
          this.workProblem = `Your working cell is not saved (${problem.message}). It stays on this page; trying again.`;
          soon(5 * SECOND);
        }
      }, ms);
    };
    for (const cell of this.panel.content.widgets.filter(isWorking)) {
      cell.model.sharedModel.changed.connect((_, change) => {
        if (change.sourceChange) {
          soon(SECOND);
        }
      });
    }
  }

  /** Prose cannot be opened by a double click; each working cell gets a button that opens it. */
  plainCells() {
    this.panel.node.addEventListener(
      "dblclick",
      (event) => {
        if (event.target.closest(".jp-MarkdownCell")) {
          event.stopPropagation();
        }
      },
      true
    );
    for (const cell of this.panel.content.widgets.filter(isWorking)) {
      cell.addClass("tm-working");
      cell.inputHidden = false;
      const button = document.createElement("button");
      button.type = "button";
      button.className = "tm-open-working";
      const show = (open) => {
        cell.toggleClass("tm-open", open);
        button.setAttribute("aria-expanded", String(open));
        button.textContent = open ? "Close the working cell" : "Open a working cell (Python, if you like to compute)";
      };
      button.addEventListener("click", () => show(!cell.hasClass("tm-open")));
      show(false);
      cell.node.prepend(button);
    }
  }
}

/** A cell of the lesson ended in an error. */
class Failed extends Error {}

function isWorking(cell) {
  return (cell.model.getMetadata("tags") || []).includes(WORKING);
}

function withoutOutputs(notebook) {
  for (const cell of notebook.cells.filter((one) => one.cell_type === "code")) {
    cell.outputs = [];
    cell.execution_count = null;
  }
  return notebook;
}
