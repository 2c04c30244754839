// Steps put in order and batches sorted by dragging, or with the arrow keys: cards above the drop-downs.
//
// A card moved sets the drop-downs as a hand would, so that form, guard and answer know one way only. The drop-downs
// stay: a screen reader and a small hand may like them better.

const START = 5; // pixels before a press becomes a drag
const EDGE = 70; // so near the edge of the window the page moves on
const SPEED = 12;

export function followBoards(root) {
  const boards = new WeakMap();
  let waiting = false;
  const look = () => {
    waiting = false;
    for (const pick of root.querySelectorAll(".tm-order, .tm-batch")) {
      if (!pick.querySelector("select")) {
        continue;
      }
      if (!boards.has(pick)) {
        boards.set(pick, new Board(pick));
      }
      boards.get(pick).show();
    }
  };
  const soon = () => {
    if (!waiting) {
      waiting = true;
      requestAnimationFrame(look);
    }
  };
  new MutationObserver(soon).observe(root, { childList: true, subtree: true });
  root.addEventListener("change", soon);
  soon();
}

class Board {
  constructor(pick) {
    this.pick = pick;
    this.ordered = pick.classList.contains("tm-order");
    this.node = document.createElement("div");
    this.node.className = "tm-board";
    this.node.setAttribute("role", "group");
    this.node.setAttribute("aria-label", "Cards to drag; the lists below do the same");
    const hint = document.createElement("p");
    hint.className = "tm-board-hint";
    hint.textContent = this.ordered
      ? "Drag the steps into their order by the sign ≡, or use the keys: → places a step, ↑ and ↓ move it, ← takes it back. The lists below do the same."
      : "Drag each to where it belongs by the sign ≡, or use the keys: ← and → move it. The lists below do the same.";
    this.told = document.createElement("p");
    this.told.className = "tm-board-told";
    this.told.setAttribute("role", "status");
    this.zones = this.zoneNames().map((name) => this.makeZone(name));
    this.zonesNode = document.createElement("div");
    this.zonesNode.className = "tm-zones";
    this.zonesNode.append(...this.zones.map((zone) => zone.node));
    this.node.append(hint, this.zonesNode, this.told);
    this.cards = new Map();
    this.shown = "";
    pick.prepend(this.node);
  }

  selects() {
    return [...this.pick.querySelectorAll("select")];
  }

  zoneNames() {
    const options = [...this.pick.querySelector("select").options].map((option) => option.textContent);
    return this.ordered ? ["Not placed yet", "Your order"] : ["Not decided yet", ...options.slice(1)];
  }

  makeZone(name) {
    const node = document.createElement("div");
    node.className = "tm-zone";
    const title = document.createElement("p");
    title.textContent = name;
    const list = document.createElement(this.ordered && name === "Your order" ? "ol" : "ul");
    list.setAttribute("aria-label", name);
    node.append(title, list);
    return { node, list, name };
  }

  /** The cards as the drop-downs say. */
  show() {
    const selects = this.selects();
    const values = selects.map((select) => select.selectedIndex);
    const now = values.join();
    if (this.drag || now === this.shown) {
      return;
    }
    this.shown = now;
    const focused = [...this.cards].find(([, card]) => card === document.activeElement)?.[0];
    const last = values.length;
    const order = values.map((_, index) => index);
    if (this.ordered) {
      order.sort((one, other) => (values[one] || last + one + 1) - (values[other] || last + other + 1));
    }
    for (const index of order) {
      const zone = this.zones[this.ordered ? Math.min(values[index], 1) : Math.max(values[index], 0)];
      zone.list.append(this.card(index, selects[index]));
    }
    if (focused !== undefined) {
      this.cards.get(focused).focus({ preventScroll: true });
    }
  }

  card(index, select) {
    let card = this.cards.get(index);
    if (!card) {
      card = document.createElement("button");
      card.type = "button";
      card.className = "tm-card";
      const grip = document.createElement("span");
      grip.className = "tm-grip";
      grip.setAttribute("aria-hidden", "true");
      grip.textContent = "≡";
      const words = document.createElement("span");
      const label = select.closest(".widget-hbox")?.querySelector(".tm-item");
      words.textContent = label ? label.textContent.trim() : select.title;
      card.append(grip, words);
      card.addEventListener("keydown", (event) => this.key(event, index));
      card.addEventListener("pointerdown", (event) => this.press(event, index));
      this.cards.set(index, card);
    }
    const item = card.parentElement || document.createElement("li");
    if (!card.parentElement) {
      item.append(card);
    }
    return item;
  }

  /** Indices of the cards of a zone, from the top. */
  of(zone) {
    const cards = [...this.cards];
    return [...zone.list.querySelectorAll(".tm-card")].map((card) => cards.find(([, other]) => other === card)[0]);
  }

  zoneOf(index) {
    return this.zones.find((zone) => zone.list.contains(this.cards.get(index)));
  }

  /** Put a card into a zone, before the card at a place there. */
  move(index, zone, place) {
    const selects = this.selects();
    const wanted = selects.map((select) => select.selectedIndex);
    if (this.ordered) {
      const order = this.of(this.zones[1]).filter((other) => other !== index);
      if (zone === this.zones[1]) {
        order.splice(place, 0, index);
      }
      wanted.fill(0);
      order.forEach((card, position) => { wanted[card] = position + 1; });
    } else {
      wanted[index] = this.zones.indexOf(zone);
    }
    // Two steps never have one place, not even on the way: all that move give theirs up first.
    const changed = selects.filter((select, at) => select.selectedIndex !== wanted[at]);
    if (this.ordered) {
      changed.filter((select) => select.selectedIndex > 0).forEach((select) => choose(select, 0));
    }
    changed.forEach((select) => choose(select, wanted[selects.indexOf(select)]));
    this.shown = "";
    this.show();
    const words = this.cards.get(index).lastChild.textContent;
    const at = this.of(this.zones[1]).indexOf(index) + 1;
    this.told.textContent = this.ordered && at ? `${words}: place ${at}.` : `${words}: ${zone.name}.`;
  }

  key(event, index) {
    const zone = this.zoneOf(index);
    const at = this.zones.indexOf(zone);
    const place = this.of(zone).indexOf(index);
    const by = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -1, ArrowDown: 1 }[event.key];
    if (!by || event.altKey || event.ctrlKey || event.metaKey) {
      return;
    }
    const sideways = event.key === "ArrowLeft" || event.key === "ArrowRight";
    event.preventDefault();
    event.stopPropagation();
    if (sideways) {
      const goal = this.zones[at + by];
      if (goal) {
        this.move(index, goal, this.of(goal).length);
      }
    } else if (this.ordered && at === 1 && place + by >= 0 && place + by < this.of(zone).length) {
      this.move(index, zone, place + by);
    } else {
      const near = this.of(zone)[place + by];
      this.cards.get(near ?? index).focus();
      return;
    }
    this.cards.get(index).focus();
  }

  press(event, index) {
    if (event.button !== 0 || (event.pointerType === "touch" && !event.target.closest(".tm-grip"))) {
      return; // a finger beside the grip scrolls the page
    }
    const card = this.cards.get(index);
    const drag = { index, x: event.clientX, y: event.clientY, at: null, going: false, scrolled: 0 };
    const moved = (moving) => {
      drag.at = { x: moving.clientX, y: moving.clientY };
      if (!drag.going && Math.hypot(drag.at.x - drag.x, drag.at.y - drag.y) < START) {
        return;
      }
      if (!drag.going) {
        drag.going = true;
        this.drag = drag;
        card.classList.add("tm-dragged");
        this.scrollOn(drag, card);
      }
      moving.preventDefault();
      this.carry(drag, card);
    };
    const end = (ending) => {
      for (const [kind, listener] of listeners) {
        card.removeEventListener(kind, listener);
      }
      window.removeEventListener("keydown", escape, true);
      if (!drag.going) {
        return;
      }
      const goal = ending.type === "pointerup" ? this.goal(drag) : null;
      drag.going = false;
      this.drag = null;
      card.classList.remove("tm-dragged");
      card.style.transform = "";
      this.mark(null);
      if (goal) {
        this.move(index, goal.zone, goal.place);
      }
      card.focus({ preventScroll: true });
    };
    const escape = (pressed) => {
      if (pressed.key === "Escape" && drag.going) {
        pressed.preventDefault();
        end(pressed);
      }
    };
    const listeners = [["pointermove", moved], ["pointerup", end], ["pointercancel", end], ["lostpointercapture", end]];
    for (const [kind, listener] of listeners) {
      card.addEventListener(kind, listener);
    }
    window.addEventListener("keydown", escape, true);
    card.setPointerCapture(event.pointerId);
  }

  carry(drag, card) {
    card.style.transform = `translate(${drag.at.x - drag.x}px, ${drag.at.y - drag.y + drag.scrolled}px)`;
    this.mark(this.goal(drag));
  }

  /** Near the edge of the window the page moves on under the card. */
  scrollOn(drag, card) {
    if (!drag.going) {
      return;
    }
    const by = drag.at.y < EDGE ? -SPEED : drag.at.y > window.innerHeight - EDGE ? SPEED : 0;
    const scroller = by && this.node.closest(".jp-WindowedPanel-outer");
    if (scroller) {
      const before = scroller.scrollTop;
      scroller.scrollTop += by;
      drag.scrolled += scroller.scrollTop - before;
      this.carry(drag, card);
    }
    requestAnimationFrame(() => this.scrollOn(drag, card));
  }

  /** The zone under the pointer and the place in it, or null. */
  goal(drag) {
    const zone = this.zones.find(({ node }) => {
      const box = node.getBoundingClientRect();
      return drag.at.x >= box.left && drag.at.x <= box.right && drag.at.y >= box.top && drag.at.y <= box.bottom;
    });
    if (!zone) {
      return null;
    }
    const others = this.of(zone).filter((index) => index !== drag.index);
    const below = others.findIndex((index) => {
      const box = this.cards.get(index).getBoundingClientRect();
      return drag.at.y < box.top + box.height / 2;
    });
    return { zone, place: below < 0 ? others.length : below, before: below < 0 ? null : others[below] };
  }

  mark(goal) {
    for (const zone of this.zones) {
      zone.node.classList.toggle("tm-goal", goal?.zone === zone);
    }
    for (const [index, card] of this.cards) {
      card.classList.toggle("tm-before", this.ordered && goal?.zone === this.zones[1] && goal.before === index);
    }
  }
}

/** Set a drop-down as a person would. */
function choose(select, place) {
  select.selectedIndex = place;
  select.dispatchEvent(new Event("change", { bubbles: true }));
}
