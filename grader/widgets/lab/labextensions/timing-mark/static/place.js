// Links that lead to an exercise of the lesson: into view, with the focus there.

const LINK = "a.tm-go";

/** Follow the links of one lesson; the browser alone would move the view and leave the focus behind. */
export function followLinks(page) {
  page.panel.node.addEventListener(
    "click",
    async (event) => {
      const link = event.target.closest?.(LINK);
      if (!link || event.ctrlKey || event.metaKey || event.shiftKey) {
        return;
      }
      event.preventDefault();
      event.stopPropagation();
      const name = decodeURIComponent(link.hash.slice(1));
      await page.running; // an exercise further down may not stand yet
      goTo(page.panel.node.querySelector(`#${CSS.escape(name)}`)?.closest(".tm-exercise"));
    },
    true
  );
}

/** The whole exercise takes the focus: its heading is read out, and the next Tab leads to its first field. */
export function goTo(exercise) {
  if (!exercise) {
    return;
  }
  exercise.tabIndex = -1;
  exercise.focus({ preventScroll: true });
  exercise.scrollIntoView({ block: "start" });
}
