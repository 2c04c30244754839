// A table to sort, to tick and to open cells of, by mouse or by arrow keys. All text goes in as text.

const SIGN = { right: "✓", partly: "◐", wrong: "✗", blank: "–", waits: "…", new: "+", left: "−", changed: "≠", late: "!" };

export default {
  render({ model, el }) {
    let sort = null; // {column, down}
    let at = [0, 0]; // the cell that the Tab key reaches
    const draw = () => {
      const held = el.contains(document.activeElement);
      el.replaceChildren(build(model, sort, at, (next) => {
        sort = next;
        draw();
        el.querySelector(`th[data-column="${next.column}"] button`)?.focus();
      }, (place) => {
        at = place;
      }));
      if (held) {
        el.querySelector("[data-cell][tabindex='0']")?.focus({ preventScroll: true });
      }
    };
    model.on("change:rows", draw);
    model.on("change:columns", draw);
    model.on("change:ticked", () => {
      const ticked = new Set(model.get("ticked"));
      for (const box of el.querySelectorAll("input[data-row]")) {
        box.checked = ticked.has(box.dataset.row);
      }
    });
    draw();
  },
};

function make(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== undefined && value !== "" && value !== false) {
      node.setAttribute(name, value === true ? "" : value);
    }
  }
  node.append(...children);
  return node;
}

function build(model, sort, at, onSort, onMove) {
  const columns = model.get("columns");
  const rows = ordered(model.get("rows"), sort);
  const tickable = model.get("tickable");
  const box = make("div", { class: "tm-scroll", role: "region", tabindex: 0, "aria-label": model.get("name") });
  const table = make("table", { class: model.get("large") ? "tm-table tm-large" : "tm-table" }, make("caption", {}, model.get("name")));
  const head = make("tr");
  if (tickable) {
    head.append(make("th", { scope: "col", class: "tm-tick" }, tickAll(model, rows)));
  }
  columns.forEach((column, number) => head.append(heading(column, number, sort, onSort)));
  table.append(make("thead", {}, head));
  const body = make("tbody");
  rows.forEach((row, y) => {
    const line = make("tr", { class: row.tone ? `tm-row-${row.tone}` : "" });
    if (tickable) {
      line.append(make("td", { class: "tm-tick" }, tick(model, row)));
    }
    row.cells.forEach((cell, x) => line.append(shown(model, row, cell, columns[x], x, y, at, onMove)));
    body.append(line);
  });
  table.append(body);
  table.addEventListener("keydown", (event) => move(event, table, onMove));
  box.append(table);
  if (!rows.length) {
    box.append(make("p", {}, model.get("empty")));
  }
  return box;
}

function heading(column, number, sort, onSort) {
  const sorted = sort && sort.column === number;
  const cell = make("th", { scope: "col", "data-column": number, "aria-sort": sorted ? (sort.down ? "descending" : "ascending") : undefined });
  if (column.sort) {
    const button = make("button", { type: "button", title: column.says || `Sort by ${column.title}` }, column.title, sorted ? (sort.down ? " ▾" : " ▴") : "");
    button.addEventListener("click", () => onSort({ column: number, down: sorted ? !sort.down : false }));
    cell.append(button);
  } else {
    cell.append(column.title);
    cell.title = column.says || "";
  }
  return cell;
}

function shown(model, row, cell, column, x, y, at, onMove) {
  const first = x === 0;
  const node = make(first ? "th" : "td", { scope: first ? "row" : undefined, class: [cell.tone ? `tm-tone-${cell.tone}` : "", column.number ? "tm-number" : ""].join(" ").trim() });
  const words = [];
  if (cell.tone && SIGN[cell.tone]) {
    words.push(make("span", { class: "tm-sign", "aria-hidden": "true" }, SIGN[cell.tone]), " ");
  }
  words.push(cell.text);
  if (cell.news) {
    words.push(make("span", { class: "tm-news", "aria-hidden": "true" }, " •"));
  }
  if (cell.act) {
    const button = make("button", { type: "button", "data-cell": `${x},${y}`, tabindex: at[0] === x && at[1] === y ? 0 : -1, "aria-label": cell.says || undefined, title: cell.says || undefined }, ...words);
    button.addEventListener("click", () => {
      onMove([x, y]);
      for (const other of button.closest("table").querySelectorAll("[data-cell]")) {
        other.tabIndex = other === button ? 0 : -1;
      }
      model.set("clicked", [row.id, column.key, (model.get("clicked")[2] || 0) + 1]);
      model.save_changes();
    });
    node.append(button);
  } else {
    node.append(...words);
    if (cell.says) {
      node.title = cell.says;
    }
  }
  return node;
}

function tick(model, row) {
  const box = make("input", { type: "checkbox", "data-row": row.id, "aria-label": `Choose ${row.cells[0]?.text || row.id}` });
  box.checked = model.get("ticked").includes(row.id);
  box.addEventListener("change", () => {
    const others = model.get("ticked").filter((id) => id !== row.id);
    model.set("ticked", box.checked ? [...others, row.id] : others);
    model.save_changes();
  });
  return box;
}

function tickAll(model, rows) {
  const box = make("input", { type: "checkbox", "aria-label": "Choose all rows that are shown" });
  box.checked = rows.length > 0 && rows.every((row) => model.get("ticked").includes(row.id));
  box.addEventListener("change", () => {
    model.set("ticked", box.checked ? rows.map((row) => row.id) : []);
    model.save_changes();
  });
  return box;
}

function ordered(rows, sort) {
  if (!sort) {
    return rows;
  }
  const key = (row) => row.cells[sort.column].order ?? row.cells[sort.column].text;
  const missing = (value) => value === null || value === "";
  return [...rows].sort((one, other) => {
    const [a, b] = [key(one), key(other)];
    if (missing(a) || missing(b)) {
      return missing(a) - missing(b); // what is not there stands last, either way
    }
    const found = typeof a === "number" && typeof b === "number" ? a - b : String(a).localeCompare(String(b));
    return sort.down ? -found : found;
  });
}

function move(event, table, onMove) {
  const button = event.target.closest("[data-cell]");
  const step = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] }[event.key];
  if (!button || !step) {
    return;
  }
  event.preventDefault();
  let [x, y] = button.dataset.cell.split(",").map(Number);
  for (let tries = 0; tries < 40; tries += 1) {
    x += step[0];
    y += step[1];
    const next = table.querySelector(`[data-cell="${x},${y}"]`);
    if (next) {
      onMove([x, y]);
      button.tabIndex = -1;
      next.tabIndex = 0;
      next.focus();
      return;
    }
  }
}
