// What ipywidgets leaves out for screen readers and keyboards: names, live regions, alternative text.

/** Name all widgets on the page, now and whenever they change. */
export function nameEverything(root) {
  let waiting = false;
  const work = () => {
    waiting = false;
    name(root);
  };
  new MutationObserver(() => {
    if (!waiting) {
      waiting = true;
      requestAnimationFrame(work);
    }
  }).observe(root, { childList: true, subtree: true, characterData: true });
  name(root);
}

function name(root) {
  nameSliders(root);
  nameFields(root);
  nameGroups(root);
  nameTheRest(root);
}

function nameSliders(root) {
  for (const handle of root.querySelectorAll(".widget-slider .noUi-handle, .jupyter-widgets .noUi-handle")) {
    const slider = handle.closest(".jupyter-widgets");
    set(handle, "aria-label", description(slider) || labelBefore(slider) || slider.title);
    set(handle, "aria-valuetext", text(slider.querySelector(".widget-readout")));
  }
  for (const readout of root.querySelectorAll(".tm-steps .widget-readout[contenteditable=true]")) {
    readout.removeAttribute("contenteditable"); // ipywidgets offers to type there, and does not listen
  }
  for (const readout of root.querySelectorAll(".widget-readout[contenteditable]")) {
    const slider = readout.closest(".jupyter-widgets");
    set(readout, "role", "textbox");
    set(readout, "aria-label", `${description(slider) || labelBefore(slider) || "Value"}: type a value`);
  }
}

function nameFields(root) {
  for (const field of root.querySelectorAll(
    ".jupyter-widgets input:not([type=radio]):not([type=checkbox]), .jupyter-widgets textarea, .jupyter-widgets select"
  )) {
    const widget = field.closest(".jupyter-widgets");
    const label = labelBefore(widget);
    const own = description(widget);
    if (label && own && widget.closest(".tm-bench")) {
      set(field, "aria-label", `${label}: ${own}`); // two lists under one label differ by their own words
      continue;
    }
    set(field, "aria-label", widget.classList.contains("tm-unit") && label ? `Unit of: ${label}` : label || own || widget.title || field.title);
    const echo = widget.closest(".tm-part")?.querySelector(".tm-echo");
    if (echo && widget.classList.contains("tm-field")) {
      echo.id ||= `tm-echo-${Math.random().toString(36).slice(2)}`;
      set(field, "aria-describedby", echo.id);
    }
  }
}

function nameGroups(root) {
  for (const group of root.querySelectorAll(".widget-radio-box")) {
    const widget = group.closest(".jupyter-widgets:not(.widget-radio-box)") || group;
    set(group, "role", "radiogroup");
    set(group, "aria-label", labelBefore(widget) || description(widget) || "Your answer");
  }
  for (const box of root.querySelectorAll(".tm-exercise")) {
    const heading = box.querySelector("h1, h2, h3, h4");
    set(box, "role", "group");
    set(box, "aria-label", text(heading) || "Exercise");
  }
  for (const column of root.querySelectorAll("[role=feed]")) {
    // JupyterLab calls the page a feed, whose children would all have to be articles.
    set(column, "role", "group");
    set(column, "aria-label", "Lesson");
  }
}

function nameTheRest(root) {
  for (const picture of root.querySelectorAll("img.tm-picture, .tm-picture img")) {
    set(picture, "alt", captionOf(picture));
  }
  for (const live of root.querySelectorAll(".tm-verdict, .tm-echo, .tm-caption")) {
    set(live, "role", "status");
    set(live, "aria-live", "polite");
  }
  for (const button of root.querySelectorAll(".jupyter-widgets.widget-button, button.jupyter-button")) {
    if (!text(button) && button.title) {
      set(button, "aria-label", button.title);
    }
  }
  for (const editor of root.querySelectorAll(".cm-content")) {
    set(editor, "aria-label", "Working cell, Python");
  }
  for (const beacon of root.querySelectorAll(".tm-beacon")) {
    set(beacon, "aria-hidden", "true");
  }
}

function set(node, attribute, value) {
  if (value && node.getAttribute(attribute) !== value) {
    node.setAttribute(attribute, value);
  }
}

function text(node) {
  return node ? node.textContent.replace(/\s+/g, " ").trim() : "";
}

function description(widget) {
  return widget ? text(widget.querySelector(":scope > .widget-label, :scope > .jupyter-widget-label, label.widget-label:not(:has(input))")) : "";
}

/** The label that stands before a widget, or before the row that the widget stands in. */
function labelBefore(widget) {
  for (let node = widget; node && !node.matches(".tm-part, .tm-panel, .tm-exercise, .jp-OutputArea"); node = node.parentElement) {
    for (let before = node.previousElementSibling; before; before = before.previousElementSibling) {
      if (before.classList.contains("tm-label")) {
        return text(before);
      }
    }
  }
  return "";
}

/** A picture's alternative text is its caption with the present values. */
function captionOf(picture) {
  for (let node = picture; node && !node.matches(".jp-OutputArea"); node = node.parentElement) {
    for (let after = node.nextElementSibling; after; after = after.nextElementSibling) {
      const caption = after.matches(".tm-caption") ? after : after.querySelector(".tm-caption");
      if (caption) {
        return text(caption);
      }
    }
  }
  return "";
}

/**
 * Letters that the notebook would take for commands never reach it from outside a working cell.
 *
 * JupyterLab looks on the element that has the focus, and upwards, for the attribute set
 * here. A button or list in a form has no use for letters, and "x" would cut the cell.
 */
export function keepKeys() {
  const MARK = "data-lm-suppress-shortcuts";
  window.addEventListener(
    "keydown",
    (event) => {
      const at = event.target;
      if (!document.body.classList.contains("tm-lesson") || !(at instanceof Element) || at.closest(".jp-Dialog")) {
        return;
      }
      if ((event.ctrlKey || event.metaKey) && event.key === "s") {
        event.preventDefault(); // all is saved while typing; the browser would offer to store the page
      }
      if (at.closest(".tm-open .cm-editor")) {
        at.removeAttribute(MARK);
      } else {
        at.setAttribute(MARK, "true");
      }
    },
    true
  );
}
