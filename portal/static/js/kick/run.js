// One kick, from minus three to its end. It reads the clock and never counts its own ticks, so that a busy page, a
// hidden tab or a sleeping phone changes when a sign is shown, and never what is said to have been done.
import { markAt, marksOf, untilNext } from "./schedule.js";

// Time to plan the first tone before it is due, ms.
const LEAD = 250;
// The end is given by the clock; where nobody could hear it and it is noticed so late, nobody knows when the kick ended.
const TOO_LATE = 2000;
// The clocks of page and phone part when the phone sleeps or is set.
const SLEPT = 500;

export class KickRun {
  // `tones` may be null. `onSign(mark, lateness in ms)`; `onEnd({startedAt, milliseconds, how})`, how: "whole", "cut",
  // "cancelled" (before it began) or "unknown" (the phone slept).
  constructor({ seconds, tones, plan, onSign, onEnd }) {
    Object.assign(this, { seconds, tones, onSign, onEnd });
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
    if (mark?.kind === "stop") return this.end("whole");
    this.tones?.realign();
    this.timer = setTimeout(this.tick, Math.max(untilNext(this.marks, performance.now() - this.zero), 1));
  };

  show(mark, lateness) {
    this.shown = mark;
    if (mark.number >= 0) this.startedAt ??= this.signAt("start");
    this.onSign(mark, lateness);
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
    this.end(this.startedAt !== undefined && at > this.startedAt ? "cut" : "cancelled", at);
  }

  end(how, at) {
    this.isOver = true;
    clearTimeout(this.timer);
    document.removeEventListener("visibilitychange", this.tick);
    const endedAt = at ?? this.signAt("stop");
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
