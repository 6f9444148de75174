// Tones on the clock of the sound hardware: planned ahead, so that a busy page delays none of them.
const SHAPES = {
  ready: { pitch: 660, length: 0.09 },
  start: { pitch: 1320, length: 0.35 },
  count: { pitch: 880, length: 0.07 },
  stop: { pitch: 440, length: 0.8 },
};
// A tone that is further off than this is planned anew: sound may have stood still meanwhile.
const TOLERANCE = 0.015;

export class Tones {
  // Only a press may switch sound on, so this is called in one.
  async open() {
    try {
      this.context ??= new AudioContext({ latencyHint: "interactive" });
      this.output ??= this.makeOutput();
      await Promise.race([this.context.resume(), new Promise((done) => setTimeout(done, 500))]);
    } catch {
      // No sound on this device: the number and the vibration remain.
      this.context = null;
    }
    return this.isRunning;
  }

  get isRunning() {
    return this.context?.state === "running";
  }

  makeOutput() {
    const gain = this.context.createGain();
    gain.connect(this.context.destination);
    return gain;
  }

  // Plans the tones of marks whose zero is at that moment of performance.now().
  plan(marks, zero) {
    this.silence();
    if (!this.context) return;
    this.tones = marks.map((mark) => this.make(mark, zero + mark.at));
  }

  make(mark, at) {
    const { pitch, length } = SHAPES[mark.kind];
    const when = this.timeOf(at);
    const source = new OscillatorNode(this.context, { frequency: pitch, type: "square" });
    const level = new GainNode(this.context, { gain: 0.9 });
    source.connect(level).connect(this.output);
    // The end fades: a hard cut clicks like one more sign.
    level.gain.setValueAtTime(0.9, Math.max(when, 0) + length);
    level.gain.linearRampToValueAtTime(0, Math.max(when, 0) + length + 0.02);
    source.start(Math.max(when, 0));
    source.stop(Math.max(when, 0) + length + 0.03);
    return { mark, at, when, source };
  }

  // Called at each sign: after an interruption the tones still to come go back to their places.
  realign() {
    if (!this.isRunning || !this.tones) return;
    const soon = this.context.currentTime + 0.03;
    this.tones = this.tones.map((tone) => {
      const isOff = Math.abs(this.timeOf(tone.at) - tone.when) > TOLERANCE;
      if (tone.when < soon || !isOff) return tone;
      tone.source.disconnect();
      return this.make(tone.mark, tone.at);
    });
  }

  // When the tone of a mark could be heard, as performance.now(); null where it was not, or not yet.
  heardAt(mark) {
    const tone = this.tones?.find((each) => each.mark.number === mark.number);
    if (!tone || !this.isRunning) return null;
    const heard = this.momentOf(tone.when);
    // The pair of clocks is good to some milliseconds only.
    return heard <= performance.now() + 30 ? heard : null;
  }

  // The sign to stop at once, whatever was planned.
  stopNow() {
    this.silence();
    if (this.isRunning) this.tones = [this.make({ number: null, kind: "stop" }, performance.now())];
  }

  silence() {
    for (const tone of this.tones ?? []) tone.source.disconnect();
    this.tones = null;
  }

  // One pair of moments of both clocks: {sound: s of the sound that is heard, page: ms of performance.now()}.
  pair() {
    const now = performance.now();
    const delay = (this.context.baseLatency || 0) + (this.context.outputLatency || 0);
    const guess = { sound: this.context.currentTime - delay, page: now };
    const stamp = this.context.getOutputTimestamp?.();
    if (!stamp?.performanceTime || !stamp.contextTime) return guess;
    // Some browsers stamp with another clock; both ways must tell about the same.
    const stamped = stamp.contextTime + (now - stamp.performanceTime) / 1000;
    return Math.abs(stamped - guess.sound) < 0.3 ? { sound: stamped, page: now } : guess;
  }

  timeOf(at) {
    const { sound, page } = this.pair();
    return sound + (at - page) / 1000;
  }

  momentOf(when) {
    const { sound, page } = this.pair();
    return page + (when - sound) * 1000;
  }
}
