// What the portal found wrong with a visit, each at its field and all of it in a summary above the form.

export function showProblems(form, panel, record) {
  for (const undo of shown.splice(0)) undo();
  const summary = panel.querySelector("[data-mistakes]");
  if (!record) return;
  const lines = inOrder(form, record.problems).map((problem) => lineOf(form, panel, problem));
  if (!lines.length) lines.push(textLine(record.detail || summary.dataset.unsaid));
  summary.querySelector("ul").replaceChildren(...lines);
  summary.querySelector("[data-number]").textContent = lines.length;
  form.dispatchEvent(new Event("restored"));
}

// What each field is called, for a list of problems far from the form; a count is called by its taxon.
export function labelsOf(form) {
  const fields = [...form.elements].filter((field) => field.name && field.id && field.type !== "hidden");
  return Object.fromEntries(fields.filter(isLabelled).map((field) => [field.name, placeOf(form, field.name).label]));
}

const isLabelled = (field) => !/^(counts|other|whole)-/.test(field.name) || /-name$/.test(field.name);

// Down the form, as whoever mends them goes; first what stands at no field.
function inOrder(form, problems) {
  const targets = new Map(problems.map((each) => [each, placeOf(form, each.control || each.field)?.target]));
  const isAfter = (one, other) => one && (!other || other.compareDocumentPosition(one) & Node.DOCUMENT_POSITION_FOLLOWING);
  return [...problems].sort((a, b) => Boolean(isAfter(targets.get(a), targets.get(b))) - Boolean(isAfter(targets.get(b), targets.get(a))));
}

// How to take out again what was put in.
const shown = [];

function lineOf(form, panel, { control, field, message }) {
  const place = placeOf(form, control || field);
  if (!place) return textLine(message);
  mark(panel, place, message);
  const line = document.createElement("li");
  const link = document.createElement("a");
  link.href = `#${place.target.id}`;
  link.textContent = `${place.label} – ${message}`;
  line.append(link);
  return line;
}

function textLine(message) {
  const line = document.createElement("li");
  line.textContent = message;
  return line;
}

// The field of that name or the part of the form with that id; a row of counts is found by any name in it.
function placeOf(form, control) {
  const named = form.elements[control] ?? document.getElementById(control);
  const target = named instanceof RadioNodeList ? named[0] : named;
  if (!target?.id || !form.contains(target)) return null;
  const row = target.closest(".count-row");
  const box = row ?? target.closest(".field") ?? target;
  return { target, box, row, label: labelOf(target, box, row) };
}

function labelOf(target, box, row) {
  const spot = target.closest(".spot")?.querySelector("legend");
  const own = row ? row.querySelector(".count-name strong") : box.querySelector(".field-label, legend");
  const typed = row?.querySelector("input[name$='-name']")?.value;
  const words = [spot, own].filter(Boolean).map(wordsOf);
  return [...words, typed].filter(Boolean).join(", ");
}

// Without the word "required" that stands beside a label.
function wordsOf(element) {
  const copy = element.cloneNode(true);
  for (const part of copy.querySelectorAll(".required-mark, .visually-hidden")) part.remove();
  return copy.textContent.trim();
}

function mark(panel, { target, box, row }, message) {
  const list = panel.querySelector("template[data-mistake]").content.firstElementChild.cloneNode(true);
  list.id = `${target.id}_refused${shown.length}`;
  list.querySelector("[data-message]").textContent = message;
  const isPart = target === box;
  if (isPart) (box.querySelector("legend") ?? box.firstElementChild).after(list);
  else if (row) row.querySelector(".count-name").after(list);
  else (target.closest(".field-entry, .choices") ?? target).before(list);
  const name = row ? "count-row--wrong" : "field--wrong";
  if (!isPart) box.classList.add(name);
  const restore = isPart ? () => {} : describe(target, list.id);
  const part = box.closest("[data-when-made]");
  if (part) part.dataset.keepOpen = "";
  for (let each = box; each; each = each.parentElement) if (each.tagName === "DETAILS") each.open = true;
  shown.push(() => {
    list.remove();
    box.classList.remove(name);
    if (part) delete part.dataset.keepOpen;
    restore();
  });
}

function describe(target, id) {
  const before = target.getAttribute("aria-describedby");
  target.setAttribute("aria-invalid", "true");
  target.setAttribute("aria-describedby", [before, id].filter(Boolean).join(" "));
  return () => {
    target.removeAttribute("aria-invalid");
    if (before) target.setAttribute("aria-describedby", before);
    else target.removeAttribute("aria-describedby");
  };
}
