// The rows of the tray as they stand on the page: what their fields hold, their names, and how they take a value.
const valueOf = (field) => (field.type === "checkbox" ? field.checked : field.value.trim());
const PARTS = ["name", "as", "count", "range", "none", "key"];

export const rowsIn = (part) => [...part.querySelectorAll(".count-row")];
export const fieldOf = (row, part) => row.querySelector(`[name$="-${part}"]`);

// The row as count-lines.js reads it; `valueOf` may look elsewhere than in the field.
export function readingOf(row, value = valueOf) {
  const held = PARTS.map((part) => [part, fieldOf(row, part)]).map(([part, field]) => [part, field ? value(field) : ""]);
  const { name, ...reading } = Object.fromEntries(held);
  const prefix = fieldOf(row, "count").name.slice(0, -"-count".length);
  const own = !prefix.startsWith("counts-");
  return { taxon: own ? name : prefix.slice("counts-".length), own, whole: prefix.startsWith("whole-"), ...reading };
}

export const isFilled = (row) => {
  const { count, range, none, key } = readingOf(row);
  return Boolean(count || range || none || key);
};
export const isFound = (row) => {
  const { count, range, key } = readingOf(row);
  return Boolean(range || key || (count && Number(count) !== 0));
};

// Whoever keeps what is typed listens to "input"; "change" says that a value is complete.
export function tell(field) {
  for (const kind of ["input", "change"]) field.dispatchEvent(new Event(kind, { bubbles: true }));
}

export function say(table, text) {
  table.querySelector("[data-tray-said]").textContent = text;
}
