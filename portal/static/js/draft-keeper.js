// Keeps what is typed: on the portal every few seconds, and on this device until the portal has it.
const PREFIX = "rifflebook.entry.";
const WAIT = 3000;
const WAIT_AFTER_FAILURE = 8000;

// A visit that has arrived needs no copy here any more.
const arrived = document.querySelector("[data-kept]");
if (arrived) forget(arrived.dataset.kept);

const form = document.querySelector("form[data-keep]");
if (form) keep(form);

function keep(form) {
  const number = form.dataset.keep;
  const words = form.querySelector("[data-keep-words]");
  let timer = 0;
  let changes = 0;
  let isOver = false;

  const say = (text) => (words.textContent = text);

  const changed = (event) => {
    if (event.target.id === "count-filter" || event.target.type === "file") return;
    changes += 1;
    remember(number, entriesOf(form));
    if (form.dataset.saveUrl) plan(WAIT);
    else say(words.dataset.here);
  };

  const plan = (milliseconds) => {
    clearTimeout(timer);
    timer = setTimeout(save, milliseconds);
  };

  const save = async () => {
    const before = changes;
    try {
      const answer = await fetch(form.dataset.saveUrl, { method: "POST", body: new URLSearchParams(entriesOf(form, true)) });
      if (isOver) return;
      if (answer.redirected || answer.status === 403) {
        say(words.dataset.signedOut);
        return plan(WAIT_AFTER_FAILURE);
      }
      if (!answer.ok) throw new Error(String(answer.status));
      const { saved_at: at } = await answer.json();
      say(`${words.dataset.saved} ${at}`);
      if (changes === before) forget(number);
    } catch {
      say(words.dataset.failed);
      if (!isOver) plan(WAIT_AFTER_FAILURE);
    }
  };

  form.addEventListener("input", changed);
  form.addEventListener("submit", () => {
    isOver = true;
    clearTimeout(timer);
  });
  window.addEventListener("pageshow", () => (isOver = false));
  window.addEventListener("online", () => changes && form.dataset.saveUrl && plan(0));
  document.querySelector("form[data-discard]")?.addEventListener("submit", () => forget(number));
  offerCopy(form, number, changed);
}

// Offers what a broken connection or a closed browser left behind, unless the form shows the same already.
function offerCopy(form, number, changed) {
  const copy = recall(number);
  const offer = document.querySelector("[data-local-copy]");
  if (!copy || !offer) return;
  if (JSON.stringify(copy) === JSON.stringify(entriesOf(form))) return forget(number);
  offer.hidden = false;
  offer.querySelector("[data-put-back]").addEventListener("click", () => {
    putBack(form, copy);
    offer.hidden = true;
    changed({ target: form });
    form.querySelector("input:not([type=hidden])").focus();
  });
  offer.querySelector("[data-let-go]").addEventListener("click", () => {
    forget(number);
    offer.hidden = true;
  });
}

function entriesOf(form, withToken = false) {
  // What a picture shows goes up with the picture and is no part of the visit.
  const entries = [...new FormData(form)].filter(([name, value]) => typeof value === "string" && name !== "caption");
  return withToken ? entries : entries.filter(([name]) => name !== "csrfmiddlewaretoken");
}

function putBack(form, copy) {
  const values = new Map(copy);
  for (const name of values.keys()) {
    const rows = form.querySelector(`[data-other-rows="${name.split("-")[0]}"]`);
    while (rows && !form.elements[name] && addRow(rows));
  }
  for (const field of form.elements) {
    if (!field.name || ["hidden", "file", "submit"].includes(field.type)) continue;
    if (field.type === "checkbox") field.checked = values.has(field.name);
    else if (field.type === "radio") field.checked = values.get(field.name) === field.value;
    else field.value = values.get(field.name) ?? "";
  }
  form.dispatchEvent(new Event("restored"));
}

function addRow(rows) {
  const before = rows.children.length;
  rows.dispatchEvent(new Event("row-needed", { bubbles: true }));
  return rows.children.length > before;
}

function remember(number, entries) {
  try {
    localStorage.setItem(PREFIX + number, JSON.stringify(entries));
  } catch {
    // A private window or a full device keeps no copy; saving on the portal goes on.
  }
}

function recall(number) {
  try {
    return JSON.parse(localStorage.getItem(PREFIX + number));
  } catch {
    return null;
  }
}

function forget(number) {
  try {
    localStorage.removeItem(PREFIX + number);
  } catch {
    // Nothing was kept.
  }
}
