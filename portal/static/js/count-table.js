// The table of counts: finding a row, what is in sight, ticking the rest of a section, another row for what is not on
// the list, and the row of a taxon that the key found.
import { openAround } from "./form-entries.js";
import { fieldOf, isFilled, isFound, rowsIn, tell } from "./tray-rows.js";

const table = document.querySelector("#counts");
const MODE = "rifflebook.tray-mode";

if (table) {
  const tools = table.querySelector("[data-count-tools]");
  const filter = table.querySelector("#count-filter");
  const found = table.querySelector("#count-found");
  const clear = table.querySelector("[data-search-clear]");
  const sections = [...table.querySelectorAll(".count-section")];
  const others = [...table.querySelectorAll("[data-other-rows]")];
  const wasOpen = new Map();

  const isTally = () => table.dataset.trayMode === "tally";

  // Only ever called by a search, another mode and the like: no row may move under a counting thumb.
  const narrow = () => {
    const words = filter.value.trim().toLowerCase();
    const isNarrow = Boolean(words) || isTally();
    let shown = 0;
    for (const section of sections) {
      const isNamed = words && section.dataset.words.includes(words);
      const fits = (row) => (words ? isNamed || row.dataset.words.includes(words) : !isTally() || isFound(row));
      const fitting = rowsIn(section).filter((row) => !(row.hidden = !fits(row)));
      shown += fitting.length;
      section.hidden = fitting.length === 0;
      if (isNarrow && !wasOpen.has(section)) wasOpen.set(section, section.open);
      section.open = isNarrow ? fitting.length > 0 : (wasOpen.get(section) ?? section.open);
    }
    if (!isNarrow) wasOpen.clear();
    others.forEach(spare);
    clear.hidden = !words;
    found.textContent = words ? `${shown} ${shown === 1 ? found.dataset.one : found.dataset.many}` : nothing(shown);
  };
  // One empty row is enough for whoever has no room.
  const isUsed = (row) => isFilled(row) || fieldOf(row, "name").value !== "";
  const spare = (list) => {
    const empty = rowsIn(list).filter((row) => !(row.hidden = false) && !isUsed(row));
    for (const row of empty.slice(1)) row.hidden = isTally();
  };
  const nothing = (shown) => (isTally() && shown === 0 ? found.dataset.nothing : "");

  const setMode = (mode) => {
    table.dataset.trayMode = mode;
    for (const button of tools.querySelectorAll("[data-mode]")) {
      button.setAttribute("aria-pressed", String(button.dataset.mode === mode));
    }
    tools.querySelector("[data-when-tally]").hidden = mode !== "tally";
    narrow();
  };

  const showFilled = (section) => {
    section.querySelector("[data-filled]").textContent = rowsIn(section).filter(isFilled).length || "";
  };

  const tickRest = (section) => {
    const rest = rowsIn(section).filter((row) => !row.hidden && !isFilled(row));
    for (const row of rest) fieldOf(row, "none").checked = true;
    if (rest.length) tell(fieldOf(rest[0], "none"));
  };

  // Spare rows are renumbered copies of the last one, so that there is always an empty row left.
  const addRow = (list) => {
    const last = list.lastElementChild;
    const prefix = list.dataset.otherRows;
    const number = Number(last.querySelector("input").name.split("-")[1]);
    const row = last.cloneNode(true);
    for (const part of row.querySelectorAll(".errors, .tray-said, [data-suggestions]")) part.remove();
    for (const part of row.querySelectorAll("*")) {
      for (const name of ["id", "for", "name", "aria-labelledby"]) {
        const value = part.getAttribute(name);
        if (value) part.setAttribute(name, value.replaceAll(`${prefix}-${number}`, `${prefix}-${number + 1}`));
      }
    }
    for (const field of row.querySelectorAll("input, select")) {
      if (field.type === "checkbox") field.checked = false;
      else field.value = "";
    }
    list.append(row);
  };

  const rowNamed = (taxon) => {
    const rows = rowsIn(table.querySelector("[data-other-rows=other]"));
    const own = rows.find((row) => fieldOf(row, "name").value.trim() === taxon);
    const row = own ?? rows.find((each) => !fieldOf(each, "name").value && !isFilled(each));
    fieldOf(row, "name").value = taxon;
    return row;
  };

  // The number is for whoever holds the animal to say: the same one may be counted already.
  const showTaxon = (taxon) => {
    filter.value = "";
    narrow();
    const row = table.querySelector(`[name="counts-${CSS.escape(taxon)}-count"]`)?.closest(".count-row") ?? rowNamed(taxon);
    const key = fieldOf(row, "key");
    row.hidden = false;
    if (row.closest(".count-section")) row.closest(".count-section").hidden = false;
    key.checked = true;
    openAround(row);
    const more = row.querySelector("[data-step='1']");
    const target = more?.checkVisibility() ? more : fieldOf(row, "count");
    target.focus();
    target.scrollIntoView({ block: "center" });
    tell(key);
  };

  tools.hidden = false;
  filter.addEventListener("input", narrow);
  clear.addEventListener("click", () => {
    filter.value = "";
    narrow();
    filter.focus();
  });
  tools.addEventListener("click", (event) => {
    const mode = event.target.closest("[data-mode]")?.dataset.mode;
    if (!mode) return;
    remember(mode);
    setMode(mode);
  });
  table.addEventListener("input", (event) => {
    const section = event.target.closest(".count-section");
    if (section) showFilled(section);
    const list = event.target.closest("[data-other-rows]");
    if (list && event.target.closest(".count-row") === list.lastElementChild) addRow(list);
    if (list) spare(list);
  });
  for (const section of sections) {
    const button = section.querySelector("[data-tick-rest]");
    button.hidden = false;
    button.addEventListener("click", () => tickRest(section));
  }
  // A name is only ever taken by whoever typed it; without this script the sentence and the list of names serve.
  for (const offer of table.querySelectorAll("[data-suggestions]")) offer.hidden = false;
  table.addEventListener("click", (event) => {
    const chosen = event.target.closest("[data-fill]");
    if (!chosen) return;
    const field = document.getElementById(chosen.dataset.fill);
    field.value = chosen.value;
    tell(field);
    field.focus();
  });
  const form = table.closest("form");
  form.addEventListener("restored", () => {
    sections.forEach(showFilled);
    if (isTally()) narrow();
  });
  // Later, since a dialog that closes gives the focus back to the button that opened it.
  form.addEventListener("taxon-found", ({ detail }) => setTimeout(() => showTaxon(detail.taxon)));
  table.addEventListener("row-needed", (event) => addRow(event.target));
  setMode(recalled());
}

function remember(mode) {
  try {
    localStorage.setItem(MODE, mode);
  } catch {
    // A device that keeps nothing starts with all groups.
  }
}

function recalled() {
  try {
    return localStorage.getItem(MODE) === "tally" ? "tally" : "list";
  } catch {
    return "list";
  }
}
