// Numbers spoken by a voice that is on the phone itself: there is no network at the river.
export class Speech {
  constructor(language) {
    this.language = language;
  }

  get voice() {
    const voices = globalThis.speechSynthesis?.getVoices() ?? [];
    const own = voices.filter((voice) => voice.localService);
    return own.find((voice) => voice.lang.replace("_", "-").startsWith(this.language)) ?? null;
  }

  // Voices are often listed only some time after they were asked for.
  onVoices(tell) {
    globalThis.speechSynthesis?.addEventListener?.("voiceschanged", tell);
  }

  say(words) {
    const voice = this.voice;
    if (!voice) return;
    // A number that comes late is worse than none.
    speechSynthesis.cancel();
    const spoken = new SpeechSynthesisUtterance(words);
    Object.assign(spoken, { voice, lang: voice.lang, rate: 1.3 });
    speechSynthesis.speak(spoken);
  }

  hush() {
    globalThis.speechSynthesis?.cancel();
  }
}
