// What the tray adds up to while it is counted: animals, taxa, what contradicts, and on demand a provisional score.
import { lineOf, Names, problemOf, repeated, shareOf, totalsOf } from "./count-lines.js";
import { printed, scoresOf } from "./provisional-score.js";
import { fieldOf, readingOf, rowsIn, say } from "./tray-rows.js";

const table = document.querySelector("#counts");
// What a row still lacks while it is being filled in: shown, but nobody is interrupted for it.
const UNFINISHED = new Set(["keyAlone", "nameless", "unsaid"]);

if (table) {
  const words = document.querySelector("#tray-words").dataset;
  const total = table.querySelector("[data-tray-total]");
  const score = table.querySelector("[data-provisional]");
  const fraction = table.querySelector("[name=fraction_sorted]");
  const tables = score && JSON.parse(document.querySelector("#score-tables").textContent);
  const names = new Names(tables ?? { taxa: {}, genera: {}, words: [] });
  let isPlanned = false;

  // Each row with its reading, what it contradicts, and its line.
  const read = () => {
    const rows = rowsIn(table).map((row) => ({ row, reading: readingOf(row) }));
    for (const each of rows) {
      each.problem = problemOf(each.reading);
      each.line = each.problem ? null : lineOf(each.reading, names);
    }
    const twice = new Set(repeated(rows.map(({ line }) => line).filter(Boolean)));
    for (const each of rows) if (twice.has(each.line)) each.problem = "twice";
    return rows;
  };

  const share = () => shareOf(fraction.value);
  const fractionProblem = (rows) => {
    if (Number.isNaN(share())) return "fraction";
    return !fraction.value.trim() && rows.some(({ line }) => line?.whole) ? "noFraction" : "";
  };

  const sayAtRow = (row, problem) => {
    const text = problem && words[problem];
    let place = row.querySelector(".tray-said");
    if (!text || row.querySelector(".errors")?.textContent.includes(text)) return place?.remove();
    if (!place) {
      place = document.querySelector("#tray-said").content.firstElementChild.cloneNode(true);
      place.id = `${fieldOf(row, "count").id}-said`;
      row.querySelector(".count-entry").after(place);
      fieldOf(row, "count").setAttribute("aria-describedby", place.id);
    }
    if (place.lastElementChild.textContent === text) return;
    place.lastElementChild.textContent = text;
    place.classList.toggle("tray-said--open", UNFINISHED.has(problem));
    if (!UNFINISHED.has(problem)) say(table, text);
  };

  const sayAtFraction = (problem) => {
    const place = table.querySelector("[data-said-fraction]");
    place.hidden = !problem;
    place.lastElementChild.textContent = problem && words[problem];
  };

  // While somebody types, "1" on the way to "12" is no contradiction: new ones are told when a value is complete.
  const review = (isComplete) => {
    const rows = read();
    for (const { row, problem } of rows) {
      if (isComplete || row.querySelector(".tray-said")) sayAtRow(row, problem);
    }
    if (isComplete) sayAtFraction(fractionProblem(rows));
    showTotal(rows);
    if (score?.open) showScore(rows);
  };

  const showTotal = (rows) => {
    const { fewest, most, taxa } = totalsOf(rows.map(({ line }) => line).filter(Boolean));
    const shown = (number) => number.toLocaleString(document.documentElement.lang || undefined);
    const span = Number.isFinite(most) && most !== fewest ? `${shown(fewest)}–${shown(most)}` : shown(fewest);
    const least = Number.isFinite(most) ? "" : `${total.dataset.least} `;
    const { animal, animals, taxon, taxa: several } = total.dataset;
    const isOne = fewest === 1 && most === 1;
    total.textContent = `${least}${span} ${isOne ? animal : animals}, ${taxa} ${taxa === 1 ? taxon : several}`;
  };

  const showScore = (rows) => {
    const lines = rows.map(({ line }) => line).filter(Boolean);
    const isOdd = rows.some(({ problem }) => problem) || fractionProblem(rows) === "noFraction";
    const scores = isOdd || !lines.length ? null : scoresOf(lines, share(), tables);
    const why = isOdd ? "odd" : !lines.length ? "empty" : scores ? "" : "unknown";
    for (const each of score.querySelectorAll("[data-score-none]")) each.hidden = each.dataset.scoreNone !== why;
    score.querySelector("[data-score-given]").hidden = !scores;
    for (const place of scores ? score.querySelectorAll("[data-score]") : []) showIndex(place, scores[place.dataset.score]);
  };

  const showIndex = (place, { value, low, high }) => {
    const digits = tables.decimals[place.dataset.score];
    place.querySelector("[data-value]").textContent = printed(value, digits);
    place.querySelector("[data-span]").hidden = low === null;
    place.querySelector("[data-low]").textContent = printed(low, digits);
    place.querySelector("[data-high]").textContent = printed(high, digits);
  };

  const plan = () => {
    if (isPlanned) return;
    isPlanned = true;
    requestAnimationFrame(() => {
      isPlanned = false;
      review(false);
    });
  };

  table.addEventListener("input", plan);
  table.addEventListener("change", () => review(true));
  table.closest("form").addEventListener("restored", () => review(true));
  if (score) {
    score.hidden = false;
    score.addEventListener("toggle", () => review(false));
  }
  review(false);
}
