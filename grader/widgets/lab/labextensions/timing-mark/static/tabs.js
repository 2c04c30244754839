// One tab holds a lesson: two would write to the same answers and the same file.

import { pause } from "./kernel.js";

/** True when this tab may go on; otherwise the page says why, with a button to take the lesson over. */
export async function holdTab(page) {
  if (!navigator.locks) {
    return true; // a plain http address of another machine has no locks; the kernel keeps the forms in step
  }
  const name = `timing-mark ${page.panel.context.path}`;
  // A page that is being reloaded lets go of its lock a moment after its successor asks.
  for (let tries = 0; tries < 10; tries += 1) {
    if (await request(page, name, { ifAvailable: true })) {
      return true;
    }
    await pause(100);
  }
  return new Promise((done) => {
    cover(page, `This ${page.what} is open in another tab.`, `Go on in the other tab, or take the ${page.what} over: the other tab then lets go. What is saved is the same in both.`, "Go on here", async (box) => {
      await request(page, name, { steal: true });
      box.remove();
      document.body.classList.remove("tm-covered");
      done(true);
    });
  });
}

/** Ask for the lock and keep it until the page closes or another tab takes it. Resolves to whether we have it. */
function request(page, name, options) {
  return new Promise((answer) => {
    navigator.locks
      .request(name, options, (lock) => {
        answer(Boolean(lock));
        return lock ? new Promise(() => {}) : undefined;
      })
      .catch(() => letGo(page));
  });
}

function letGo(page) {
  page.guard?.stop();
  page.lost = true;
  cover(page, `The ${page.what} goes on in another tab.`, "You may close this one. What was saved is kept.", "Go on here", () => location.reload());
  // Its file must not be saved from here, and its kernel now serves the other tab.
  page.session.kernelPreference = { ...page.session.kernelPreference, shutdownOnDispose: false };
  page.panel.dispose();
}

function cover(page, title, text, label, act) {
  page.say("", "");
  document.body.classList.add("tm-covered");
  const box = document.createElement("div");
  box.id = "tm-cover";
  box.setAttribute("role", "alertdialog");
  box.setAttribute("aria-labelledby", "tm-cover-title");
  box.setAttribute("aria-describedby", "tm-cover-text");
  const heading = Object.assign(document.createElement("h1"), { id: "tm-cover-title", textContent: title });
  const words = Object.assign(document.createElement("p"), { id: "tm-cover-text", textContent: text });
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: label });
  button.addEventListener("click", () => act(box));
  box.append(heading, words, button);
  document.body.append(box);
  button.focus();
}
