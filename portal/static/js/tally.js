// Counting one by one with cold hands, and the way back from every step in the tray. The fields are the only truth.
import { fieldOf, readingOf, rowsIn, say, tell } from "./tray-rows.js";

const table = document.querySelector("#counts");
// No thumb taps on purpose this fast; a wet one bounces.
const BOUNCE = 150;
const MOST_STEPS = 200;
const LARGEST = 1_000_000;

if (table) {
  const words = document.querySelector("#tray-words").dataset;
  const bar = table.querySelector("[data-tray-bar]");
  const undo = bar.querySelector("[data-undo]");
  const steps = [];
  let held = new Map();
  let pressed = { button: null, at: 0 };

  const named = () => [...table.querySelectorAll("[name]")];
  const valueOf = (field) => (field.type === "checkbox" ? field.checked : field.value);
  const heldIn = (field) => held.get(field.name) ?? (field.type === "checkbox" ? false : "");
  const hold = () => (held = new Map(named().map((field) => [field.name, valueOf(field)])));

  const put = (field, value) => {
    if (field.type === "checkbox") field.checked = value;
    else field.value = value;
  };

  const stateOf = (row, value) => {
    const { count, range, none, key } = readingOf(row, value);
    const roughly = range && fieldOf(row, "range").querySelector(`[value="${range}"]`).textContent;
    const marks = [none && undo.dataset.none, count, roughly, key && undo.dataset.key];
    return marks.filter(Boolean).join(", ") || undo.dataset.empty;
  };
  const nameOf = (row) => row.querySelector("strong")?.textContent || fieldOf(row, "name").value || undo.dataset.other;

  // What a step did, and what taking it back does, in words.
  const wordsOf = (changes) => {
    const rows = new Set(changes.map(({ field }) => field.closest(".count-row")));
    const [row] = rows;
    if (rows.size > 1) return { done: undo.dataset.several, undone: undo.dataset.several };
    if (!row) return { done: changes[0].field.labels[0].textContent.trim(), undone: changes[0].before };
    const before = stateOf(row, heldIn);
    return { done: `${nameOf(row)}: ${before} → ${stateOf(row)}`, undone: `${nameOf(row)}: ${before}` };
  };

  const note = () => {
    const changed = named().filter((field) => valueOf(field) !== heldIn(field));
    if (!changed.length) return;
    const changes = changed.map((field) => ({ field, before: heldIn(field) }));
    steps.push({ changes, words: wordsOf(changes) });
    steps.splice(0, steps.length - MOST_STEPS);
    hold();
    showLast();
  };

  const showLast = (words = steps.at(-1)?.words.done ?? "") => {
    bar.querySelector("[data-last-step]").textContent = words;
    // Not disabled, which would take the focus from whoever presses it to the end.
    undo.setAttribute("aria-disabled", String(steps.length === 0));
  };

  const takeBack = () => {
    note();
    const step = steps.pop();
    if (!step) return;
    for (const { field, before } of step.changes) put(field, before);
    hold();
    const undone = `${undo.dataset.undone} ${step.words.undone}`;
    showLast(undone);
    const parts = new Map(step.changes.map(({ field }) => [field.closest(".count-section, [data-other-rows]"), field]));
    parts.forEach(tell);
    say(table, undone);
  };

  const count = (row, by) => {
    note();
    const field = fieldOf(row, "count");
    const { count: typed, range } = readingOf(row);
    if (!/^\d*$/.test(typed)) return say(table, words.number);
    if (range && range !== "present") return say(table, `${nameOf(row)}: ${words.roughly}`);
    const number = Math.min(LARGEST, Math.max(0, Number(typed) + by));
    // Back at nought nothing is said of the taxon: that none were found is a statement of its own.
    field.value = number || "";
    if (number) {
      fieldOf(row, "range").value = "";
      if (fieldOf(row, "none")) fieldOf(row, "none").checked = false;
    }
    navigator.vibrate?.(15);
    tell(field);
    say(table, `${nameOf(row)}: ${stateOf(row)}`);
  };

  const press = (button, at) => {
    const isBounce = pressed.button === button && at - pressed.at < BOUNCE;
    if (isBounce) return;
    pressed = { button, at };
    count(button.closest(".count-row"), Number(button.dataset.step));
  };

  const addButtons = (row) => {
    const buttons = document.querySelector("#tally-buttons").content.cloneNode(true);
    const anchor = fieldOf(row, "count").id.slice(0, -"-count".length);
    for (const button of buttons.querySelectorAll("button")) {
      button.id = `${anchor}-step${button.dataset.step}`;
      button.setAttribute("aria-labelledby", `${button.id} ${anchor}-name`);
    }
    row.querySelector(".count-name").after(buttons);
  };

  rowsIn(table).forEach(addButtons);
  bar.hidden = false;
  hold();
  // A click, not a touch: a scroll that begins on a button counts nothing.
  table.addEventListener("click", (event) => {
    const button = event.target.closest("[data-step]");
    if (button) press(button, event.timeStamp);
  });
  table.addEventListener("keydown", (event) => {
    if (event.repeat && event.target.closest("[data-step]")) event.preventDefault();
  });
  table.addEventListener("change", note);
  undo.addEventListener("click", takeBack);
  table.closest("form").addEventListener("restored", () => {
    steps.length = 0;
    hold();
    showLast();
  });
}
