// The kick timer: it times the site's kicks one by one and writes what was really done into the fields of the form,
// which are its only memory. Words come from the template.
import { Awake } from "./kick/awake.js";
import { onHold } from "./kick/hold.js";
import { KickRun } from "./kick/run.js";
import { fill, finished, isCutShort, kickOf, nextSpot, readLog, secondsOf, unfinished, withKick, writeLog } from "./kick/schedule.js";
import { Speech } from "./kick/speech.js";
import { Tones } from "./kick/tones.js";

const CHOICES = "rifflebook.timer";
const VIBRATIONS = { ready: [60], start: [350], count: [60], stop: [350, 120, 350] };
// A shake that comes later than this would be taken for the next second, ms.
const STALE = 250;

const root = document.querySelector("[data-kick-timer]");
if (root) kickTimer(root, root.closest("form, [data-practise]"));

function kickTimer(root, scope) {
  const words = root.dataset;
  const part = (name) => root.querySelector(`[data-timer-${name}]`);
  const dialog = part("dialog");
  const tones = new Tones();
  const speech = new Speech(document.documentElement.lang.slice(0, 2) || "en");
  const awake = new Awake((isKept) => (part("awake").textContent = isKept ? words.awake : words.asleep));
  const skipped = new Map();
  let current = 1;
  let again = null;
  let result = "";
  let run = null;

  // --- the fields of the form ---------------------------------------------------------------------------------------
  const field = (number, name) => scope.querySelector(`[name="spots-${number}-${name}"]`);
  const numbers = () =>
    [...scope.querySelectorAll("[name^='spots-'][name$='-timed']")].map((each) => Number(each.name.split("-")[1]));
  const logOf = (number) => readLog(field(number, "timed")?.value);
  const planned = (name) => Math.round(Number(scope.querySelector(`[data-plan-${name}]`)?.value) || Number(words[name]));
  const plan = () => ({ spots: planned("spots"), kicks: planned("kicks"), seconds: planned("seconds") });

  const write = (number, name, value) => {
    const into = field(number, name);
    if (!into || into.value === value) return;
    into.value = value;
    into.dispatchEvent(new Event("input", { bubbles: true }));
  };

  const writeKicks = (number, log) => {
    write(number, "timed", writeLog(log));
    write(number, "kicks", String(finished(log).length || ""));
    write(number, "seconds", finished(log).length ? secondsOf(log) : "");
  };

  const spotState = (number) => {
    const made = finished(logOf(number)).length;
    const typed = !made && Number(field(number, "seconds")?.value.replace(",", ".")) > 0;
    return { number, made, typed, skipped: skipped.get(number) ?? 0 };
  };
  const goOn = () => nextSpot(numbers().map(spotState), plan(), current);

  // --- what the form shows of it ------------------------------------------------------------------------------------
  const lengthWords = ({ seconds }) => {
    const length = Number(seconds).toFixed(1);
    return isCutShort(seconds, plan().seconds) ? fill(words.cut, { seconds: length }) : length;
  };

  const showLogs = () => {
    for (const box of scope.querySelectorAll("[data-spot]")) {
      const log = logOf(box.dataset.spot);
      const kicks = finished(log).map(lengthWords).join(", ");
      const lines = [kicks && fill(words.timed, { kicks }), unfinished(log).length && words.lost].filter(Boolean);
      box.querySelector("[data-spot-words]").textContent = lines.join(" ");
      box.querySelector("[data-spot-timed]").hidden = !lines.length;
    }
    showLost();
  };

  // A kick that was running when the page was closed: its beginning is in the log, its end nobody saw.
  const showLost = () => {
    const lost = run ? [] : numbers().filter((number) => unfinished(logOf(number)).length);
    part("lost").hidden = !lost.length;
    part("lost-words").textContent = lost.length ? fill(words.lostAt, { spot: lost[0] }) : "";
    return lost;
  };

  const restored = () => {
    showLogs();
    current = showLost()[0] ?? goOn() ?? current;
    if (dialog.open) showWait();
  };

  // --- choices that this phone remembers ----------------------------------------------------------------------------
  const remember = () => {
    const chosen = { sound: part("sound").value, shake: part("shake").checked };
    try {
      localStorage.setItem(CHOICES, JSON.stringify(chosen));
    } catch {
      // A private window forgets them.
    }
    showSound();
  };

  const recall = () => {
    try {
      const { sound, shake } = JSON.parse(localStorage.getItem(CHOICES)) ?? {};
      if (sound) part("sound").value = sound;
      if (shake !== undefined) part("shake").checked = shake;
    } catch {
      // Nothing was kept, or nothing that can be read.
    }
    part("shake-choice").hidden = !navigator.vibrate;
    showSound();
  };

  const speaks = () => part("sound").value === "speech" && Boolean(speech.voice);
  const isSilent = () => part("sound").value === "off";
  const showSound = () => {
    const isVoiceless = part("sound").value === "speech" && !speech.voice;
    part("sound-words").textContent = isVoiceless ? words.voiceless : words[`about_${part("sound").value}`];
  };

  // --- between kicks ------------------------------------------------------------------------------------------------
  const showWait = () => {
    const made = finished(logOf(current)).length;
    const next = goOn();
    const total = numbers().reduce((sum, each) => sum + Number(secondsOf(logOf(each))), 0);
    const isDone = next === null && again === null;
    dialog.dataset.phase = isDone ? "done" : "wait";
    part("where").textContent = isDone ? words.allDone : whereWords(made);
    part("result").textContent = result;
    part("net").hidden = !result || again !== null;
    part("again-words").hidden = again === null;
    part("place").hidden = made > 0 && again === null;
    part("typed").textContent = spotState(current).typed ? fill(words.typed, { spot: current }) : "";
    part("total").textContent = fill(words.total, { seconds: Math.round(total * 10) / 10, planned: plannedSeconds() });
    part("start-words").textContent = isDone ? words.more : words.start;
    part("again").hidden = !made || again !== null;
    part("skip").hidden = next !== current || again !== null;
    showSpots();
    showFlow();
  };

  const plannedSeconds = () => plan().spots * plan().kicks * plan().seconds;
  const whereWords = (made) => {
    const kick = again === null ? made + (skipped.get(current) ?? 0) + 1 : again + 1;
    const { kicks } = plan();
    return fill(kick > kicks ? words.whereMore : words.where, { spot: current, kick, kicks });
  };

  const showSpots = () => {
    const chooser = part("spot");
    chooser.replaceChildren(
      ...numbers().map((number) => {
        const { made, typed } = spotState(number);
        const said = typed ? words.spotTyped : words.spotMade;
        return new Option(fill(said, { spot: number, made, kicks: plan().kicks }), number);
      }),
    );
    chooser.value = String(current);
    part("spot-choice").hidden = numbers().length < 2;
  };

  const showFlow = () => {
    const source = field(current, "flow_type");
    part("flow-choice").hidden = !source;
    if (!source) return;
    part("flow").replaceChildren(...[...source.options].map((each) => new Option(each.text, each.value)));
    part("flow").value = source.value;
  };

  // --- a kick -------------------------------------------------------------------------------------------------------
  const start = async () => {
    if (run) return;
    const hasSound = isSilent() ? false : await tones.open();
    if (run || !dialog.open) return;
    const { seconds } = plan();
    const plansTone = speaks() ? (mark) => mark.kind === "start" || mark.kind === "stop" : () => true;
    const listeners = { onSign: showSign, onBegin: noteBeginning, onEnd: ended };
    run = new KickRun({ seconds, tones: hasSound ? tones : null, plan: plansTone, ...listeners });
    dialog.dataset.phase = "ready";
    part("number").textContent = "";
    part("phase").textContent = words.ready;
    run.begin();
    part("stop").focus();
  };

  const showSign = (mark, lateness) => {
    const isKick = mark.number >= 0;
    dialog.dataset.phase = isKick ? "kick" : "ready";
    const text = String(Math.abs(mark.number));
    part("number").textContent = isKick ? text : `\u2212${text}`;
    part("number").dataset.length = part("number").textContent.length;
    part("phase").textContent = isKick ? words.kick : words.ready;
    if (speaks() && (mark.kind === "ready" || mark.kind === "count")) {
      speech.say(isKick ? text : fill(words.minus, { number: text }));
    }
    if (lateness < STALE) shake(mark.kind);
  };

  const shake = (kind) => part("shake").checked && navigator.vibrate?.(VIBRATIONS[kind]);

  // Written before the kick ends, so that after a broken page it is known that there was one.
  const noteBeginning = () => write(current, "timed", writeLog([...finished(logOf(current)), kickOf(Date.now())]));

  const ended = ({ startedAt, milliseconds, how }) => {
    run = null;
    speech.hush();
    if (how === "cut") shake("stop");
    const kept = finished(logOf(current));
    if (how === "whole" || how === "cut") {
      const kick = kickOf(startedAt, milliseconds);
      writeKicks(current, withKick(kept, kick, again));
      result = fill(how === "cut" ? words.doneCut : words.done, { seconds: Number(kick.seconds).toFixed(1) });
      again = null;
    } else {
      write(current, "timed", writeLog(kept));
      result = how === "unknown" ? words.slept : words.cancelled;
    }
    current = again === null ? (goOn() ?? current) : current;
    showLogs();
    showWait();
    if (how === "unknown" || how === "cancelled") part("net").hidden = true;
    part("start").focus();
  };

  const skip = () => {
    const { kicks } = plan();
    skipped.set(current, (skipped.get(current) ?? 0) + 1);
    const state = spotState(current);
    // The form starts with the planned kicks; a spot left out wholly has none.
    if (!state.made && !state.typed && state.skipped >= kicks) write(current, "kicks", "");
    result = words.skipped;
    current = goOn() ?? current;
    showWait();
    part("net").hidden = true;
    part("start").focus();
  };

  const open = () => {
    const lost = showLost();
    current = lost[0] ?? goOn() ?? current;
    again = null;
    result = lost.length ? fill(words.lostAt, { spot: lost[0] }) : "";
    recall();
    dialog.showModal();
    showWait();
    part("net").hidden = true;
    awake.start();
    part("start").focus();
  };

  const close = () => {
    letGo();
    run?.stop(performance.now());
    awake.stop();
    speech.hush();
    showLogs();
  };

  // --- wiring -------------------------------------------------------------------------------------------------------
  const letGo = onHold(part("stop"), (at) => run?.stop(at));
  part("open").addEventListener("click", open);
  part("start").addEventListener("click", start);
  part("skip").addEventListener("click", skip);
  part("again").addEventListener("click", () => {
    again = finished(logOf(current)).length - 1;
    result = "";
    showWait();
    part("start").focus();
  });
  for (const button of root.querySelectorAll("[data-timer-close]")) button.addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", close);
  // The back key in the middle of a kick stops the kick, and only then leaves.
  dialog.addEventListener("cancel", (event) => {
    if (!run) return;
    event.preventDefault();
    run.stop(event.timeStamp);
  });
  part("spot").addEventListener("change", () => {
    current = Number(part("spot").value);
    again = null;
    result = "";
    showWait();
  });
  part("flow").addEventListener("change", () => write(current, "flow_type", part("flow").value));
  for (const name of ["sound", "shake"]) part(name).addEventListener("change", remember);
  speech.onVoices(showSound);
  scope.addEventListener("restored", restored);
  scope.addEventListener("click", (event) => {
    const box = event.target.closest("[data-spot-forget]")?.closest("[data-spot]");
    if (!box) return;
    write(box.dataset.spot, "timed", "");
    skipped.delete(Number(box.dataset.spot));
    showLogs();
    field(box.dataset.spot, "kicks").focus();
  });

  root.hidden = false;
  restored();
}
