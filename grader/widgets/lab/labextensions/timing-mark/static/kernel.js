// Waiting, and whether a kernel answers: what the page, its guard and its tabs share.

const PATIENCE = 3000;

export const pause = (ms) => new Promise((done) => setTimeout(done, ms));

/** True once a kernel answers for the lesson of a page; starts one if the server has none for it. */
export async function kernelStands(page) {
  const { kernels, sessions } = page.app.serviceManager;
  try {
    const late = pause(PATIENCE).then(() => Promise.reject(new Error("no answer")));
    await Promise.race([Promise.all([kernels.refreshRunning(), sessions.refreshRunning()]), late]);
  } catch {
    return false; // no server: nothing can be started
  }
  const among = (running, one) => Boolean(one) && [...running].some((other) => other.id === one.id);
  const open = page.session.session;
  const kernel = open?.kernel;
  if (!among(kernels.running(), kernel) || kernel.status === "dead") {
    if (!among(sessions.running(), open)) {
      open?.dispose(); // asking the server to change a session it forgot would end in a dialog
    }
    await page.session.changeKernel({ name: kernel?.name || "python3" });
    page.stale = true;
  } else if (kernel.connectionStatus !== "connected") {
    await kernel.reconnect();
  }
  return page.session.session?.kernel?.connectionStatus === "connected";
}
