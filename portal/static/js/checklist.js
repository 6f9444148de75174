// The checklist's ticks, kept on this phone alone: for one site and one day. Once all items up to the water are
// ticked, the visit form of that site and day says so by itself.

const today = () => {
  const now = new Date();
  return [now.getFullYear(), now.getMonth() + 1, now.getDate()].join("-");
};
const keyOf = (site) => `rifflebook-checklist:${site}`;

function read(site) {
  try {
    const kept = JSON.parse(localStorage.getItem(keyOf(site)));
    return kept && kept.day === today() ? kept : { day: today(), ticked: [], at: "" };
  } catch {
    // A private window may keep nothing: the list still serves to be read.
    return { day: today(), ticked: [], at: "" };
  }
}

function write(site, kept) {
  try {
    localStorage.setItem(keyOf(site), JSON.stringify(kept));
  } catch {
    // Full or refused: the ticks stand on the page until it is left.
  }
}

const clock = () => new Date().toTimeString().slice(0, 5);

function keepTicks(list) {
  const site = list.dataset.checklist;
  const boxes = [...list.querySelectorAll("input[type=checkbox]")];
  const { ticked } = read(site);
  boxes.forEach((box) => (box.checked = ticked.includes(box.name)));
  tellCount(site, boxes);
  list.addEventListener("change", () => {
    const before = read(site);
    const own = boxes.map((box) => box.name);
    // The part for afterwards stands elsewhere on the page and keeps its own ticks.
    const others = before.ticked.filter((name) => !own.includes(name));
    const counted = boxes.filter((box) => box.hasAttribute("data-counts"));
    const isDone = counted.length > 0 && counted.every((box) => box.checked);
    const at = counted.length === 0 ? before.at : isDone ? before.at || clock() : "";
    write(site, { day: today(), ticked: [...others, ...boxes.filter((box) => box.checked).map((box) => box.name)], at });
    tellCount(site, boxes);
  });
}

function tellCount(site, boxes) {
  const place = document.querySelector(`[data-checklist-count="${site}"]`);
  const counted = boxes.filter((box) => box.hasAttribute("data-counts"));
  if (!place || !counted.length) return;
  place.textContent = `${counted.filter((box) => box.checked).length}/${counted.length}`;
  place.hidden = false;
}

function offerTick(place) {
  const done = place.querySelector("input[name=checklist_done]");
  const at = place.querySelector("input[name=checklist_at]");
  const told = place.querySelector("[data-checklist-told]");
  const form = done?.form;
  if (!form) return;
  const fill = () => {
    const kept = read(place.dataset.checklistMark);
    const day = form.elements.visited_on?.value;
    const isToday = !day || new Date(`${day}T12:00`).toDateString() === new Date().toDateString();
    if (done.checked || place.dataset.offered || !kept.at || !isToday) return;
    place.dataset.offered = "yes";
    done.checked = true;
    at.value = kept.at;
    told.textContent = `${place.dataset.told} ${kept.at}`;
    told.hidden = false;
    done.dispatchEvent(new Event("input", { bubbles: true }));
  };
  done.addEventListener("change", () => {
    at.value = done.checked ? at.value || clock() : "";
    told.hidden = true;
    // Taken back on purpose: not put in again when the form is next opened.
    if (!done.checked) write(place.dataset.checklistMark, { ...read(place.dataset.checklistMark), at: "" });
  });
  form.addEventListener("restored", fill);
  fill();
}

document.querySelectorAll("[data-checklist]").forEach(keepTicks);
document.querySelectorAll("[data-checklist-mark]").forEach(offerTick);
