// The table of counts: finding a row, ticking the rest of a section, another row for what is not on the list.
const table = document.querySelector("#counts");

if (table) {
  const tools = table.querySelector("[data-count-tools]");
  const filter = table.querySelector("#count-filter");
  const found = table.querySelector("#count-found");
  const sections = [...table.querySelectorAll(".count-section")];
  const others = [...table.querySelectorAll("[data-other-rows]")];
  const wasOpen = new Map();

  const rowsOf = (section) => [...section.querySelectorAll(".count-row")];
  const isFilled = (row) => [...row.querySelectorAll("input, select")].some(isEntry);
  const isEntry = (field) => (field.type === "checkbox" ? field.checked : field.type !== "hidden" && field.value !== "");

  const narrow = () => {
    const words = filter.value.trim().toLowerCase();
    let shown = 0;
    for (const section of sections) {
      const fitting = rowsOf(section).filter((row) => {
        row.hidden = !row.dataset.words.includes(words);
        return !row.hidden;
      });
      shown += fitting.length;
      section.hidden = fitting.length === 0;
      if (words && !wasOpen.has(section)) wasOpen.set(section, section.open);
      section.open = words ? fitting.length > 0 : (wasOpen.get(section) ?? section.open);
    }
    if (!words) wasOpen.clear();
    found.textContent = words ? `${shown} ${shown === 1 ? found.dataset.one : found.dataset.many}` : "";
  };

  const showFilled = (section) => {
    const number = rowsOf(section).filter(isFilled).length;
    section.querySelector("[data-filled]").textContent = number || "";
  };

  const tickRest = (section) => {
    for (const row of rowsOf(section)) {
      if (!row.hidden && !isFilled(row)) row.querySelector("input[type=checkbox]").checked = true;
    }
    showFilled(section);
    section.dispatchEvent(new Event("input", { bubbles: true }));
  };

  // Spare rows are renumbered copies of the last one, so that there is always an empty row left.
  const addRow = (list) => {
    const last = list.lastElementChild;
    const prefix = list.dataset.otherRows;
    const number = Number(last.querySelector("input").name.split("-")[1]);
    const row = last.cloneNode(true);
    for (const part of row.querySelectorAll(".errors, [data-suggestions]")) part.remove();
    for (const part of row.querySelectorAll("*")) {
      for (const name of ["id", "for", "name", "aria-labelledby"]) {
        const value = part.getAttribute(name);
        if (value) part.setAttribute(name, value.replace(`${prefix}-${number}`, `${prefix}-${number + 1}`));
      }
    }
    for (const field of row.querySelectorAll("input, select")) {
      if (field.type === "checkbox") field.checked = false;
      else field.value = "";
    }
    list.append(row);
  };

  tools.hidden = false;
  filter.addEventListener("input", narrow);
  table.addEventListener("input", (event) => {
    const section = event.target.closest(".count-section");
    if (section) showFilled(section);
    const list = event.target.closest("[data-other-rows]");
    if (list && event.target.closest(".count-row") === list.lastElementChild) addRow(list);
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
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.focus();
  });
  table.closest("form").addEventListener("restored", () => sections.forEach(showFilled));
  table.addEventListener("row-needed", (event) => addRow(event.target));
}
