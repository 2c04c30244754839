// What opens on a desk comes into view, and the keyboard's place is not lost where a button goes with its step.

const SHOWN = ".tm-change, .tm-verdict";

/** Follow what is put onto the desk below `root`. */
export function followDesk(root) {
  let fresh = null;
  new MutationObserver((changes) => {
    for (const change of changes) {
      const target = change.target.closest?.(SHOWN);
      const added = [...change.addedNodes].find((node) => node.matches?.(SHOWN) || node.querySelector?.(SHOWN));
      const shown = target || (added && (added.matches(SHOWN) ? added : added.querySelector(SHOWN)));
      if (shown && change.addedNodes.length) {
        if (fresh === null) {
          requestAnimationFrame(() => requestAnimationFrame(show));
        }
        fresh = shown;
      }
    }
  }).observe(root, { childList: true, subtree: true });

  function show() {
    const shown = fresh;
    fresh = null;
    if (!shown.isConnected || !shown.textContent.trim()) {
      return;
    }
    const { top, bottom } = shown.getBoundingClientRect();
    if (top < 0 || top > window.innerHeight - 80 || bottom < 40) {
      shown.scrollIntoView({ block: "start" });
    }
    if (!document.activeElement || document.activeElement === document.body || !document.activeElement.isConnected) {
      shown.tabIndex = -1;
      shown.focus({ preventScroll: true });
    }
  }
}
