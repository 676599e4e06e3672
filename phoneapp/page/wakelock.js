// Keeps the screen on while readings are taken. A lock is lost whenever the page
// is hidden, and taken again when it is back.

let wanted = false;

/** @param {(awake: boolean) => void} told whether the screen stays on by itself */
export function stayAwake(told) {
  const now = async () => told(await take());
  if (!wanted) document.addEventListener("visibilitychange", () => !document.hidden && void now());
  wanted = true;
  void now();
}

/** @returns {Promise<boolean>} whether the screen stays on by itself */
async function take() {
  try {
    await navigator.wakeLock.request("screen");
    return true;
  } catch {
    return false; // none here, or the battery is low: a touch now and then does it
  }
}
