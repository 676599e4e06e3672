// Keeps the screen on while readings are taken, and tells of gaps: browsers stop
// sensors while a page is hidden.

let lock;

export async function stayAwake() {
  try {
    lock = await navigator.wakeLock?.request("screen");
  } catch {
    lock = undefined; // the person keeps it on by touching it
  }
}

/** @param {() => void} onback called when the page is seen again */
export function watchHidden(onback) {
  let hiddenAt = 0;
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) {
      hiddenAt = performance.now();
      return;
    }
    if (lock) void stayAwake();
    if (performance.now() - hiddenAt > 500) onback();
  });
}
