// One kick, from minus three to its end. It reads the clock and never counts its own ticks, so that a busy page, a
// hidden tab or a sleeping phone changes when a sign is shown, and never what is said to have been done.
import { markAt, marksOf, untilNext } from "./schedule.js";

// Time to plan the tones and to draw the page before the first sign is due, ms.
const LEAD = 400;
// Time in which a sign is drawn, ms.
const AFTER = 60;
// The end is given by the clock; where nobody could hear it and it is noticed so late, nobody knows when the kick ended.
const TOO_LATE = 2000;
// The clocks of page and phone part when the phone sleeps or is set.
const SLEPT = 500;

export class KickRun {
  // `tones` may be null; `plan(mark)` says which signs have one. `onSign(mark, lateness in ms)`; `onBegin()` soon after
  // the start; `onEnd({startedAt, milliseconds, how})`, how: "whole", "cut", "cancelled" (before it began) or "unknown"
  // (the phone slept).
  constructor({ seconds, tones, plan, onSign, onBegin, onEnd }) {
    Object.assign(this, { seconds, tones, onSign, onBegin, onEnd });
    this.marks = marksOf(seconds);
    this.planned = plan ?? (() => true);
    this.isOver = false;
  }

  begin() {
    const now = performance.now();
    this.zero = now + LEAD + -this.marks[0].at;
    this.offset = Date.now() - now;
    this.tones?.plan(this.marks.filter(this.planned), this.zero);
    document.addEventListener("visibilitychange", this.tick);
    this.tick();
  }

  tick = () => {
    clearTimeout(this.timer);
    if (this.isOver) return;
    const elapsed = performance.now() - this.zero;
    const mark = markAt(this.marks, elapsed);
    if (mark && mark !== this.shown) this.show(mark, elapsed - mark.at);
    if (mark?.kind === "stop") return this.finish();
    this.tones?.realign();
    this.timer = setTimeout(this.tick, Math.max(untilNext(this.marks, performance.now() - this.zero), 1));
  };

  show(mark, lateness) {
    this.shown = mark;
    this.onSign(mark, lateness);
    if (mark.number < 0 || this.startedAt !== undefined) return;
    this.startedAt = this.signAt("start");
    // Whatever is to be noted waits until the sign is on the screen.
    setTimeout(() => this.isOver || this.onBegin(), AFTER);
  }

  finish() {
    const endedAt = this.signAt("stop");
    this.isOver = true;
    setTimeout(() => this.end("whole", endedAt), AFTER);
  }

  // When a sign was given: its tone is exact; without one it was given when it was shown, which is now.
  signAt(kind) {
    const mark = this.marks.find((each) => each.kind === kind);
    return this.tones?.heardAt(mark) ?? performance.now();
  }

  // Stopped by hand: the kick lasted until the finger came down, `at` by performance.now().
  stop(at) {
    if (this.isOver) return;
    this.tick();
    if (this.isOver) return;
    this.isOver = true;
    this.end(this.startedAt !== undefined && at > this.startedAt ? "cut" : "cancelled", at);
  }

  end(how, endedAt) {
    clearTimeout(this.timer);
    document.removeEventListener("visibilitychange", this.tick);
    // A whole kick goes on sounding: its last tone is its end.
    if (how === "cut") this.tones?.stopNow();
    if (how === "cancelled") this.tones?.silence();
    const isKnown = how === "cancelled" || (this.isAwake() && endedAt - this.zero - this.seconds * 1000 < TOO_LATE);
    this.onEnd({
      startedAt: this.startedAt + this.offset,
      milliseconds: endedAt - this.startedAt,
      how: isKnown ? how : "unknown",
    });
  }

  isAwake() {
    return Math.abs(Date.now() - performance.now() - this.offset) < SLEPT;
  }
}
