// Keeps the screen on while it is wanted. The browser takes the lock back whenever the page is out of sight.
export class Awake {
  constructor(tell) {
    this.tell = tell;
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.ask());
  }

  start() {
    this.isWanted = true;
    return this.ask();
  }

  async ask() {
    if (!this.isWanted || (this.lock && !this.lock.released)) return;
    try {
      this.lock = await navigator.wakeLock.request("screen");
      this.tell(true);
      this.lock.addEventListener("release", () => this.isWanted && this.tell(false));
      if (!this.isWanted) this.stop();
    } catch {
      // Not offered by this browser, or refused to save the battery.
      this.tell(false);
    }
  }

  stop() {
    this.isWanted = false;
    this.lock?.release();
    this.lock = null;
  }
}
