// Keeps what is typed: on the portal every few seconds, and on this device until the portal has it.
import { entriesOf, putBack } from "./form-entries.js";

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
      const answer = await fetch(form.dataset.saveUrl, { method: "POST", body: bodyOf(form) });
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
  if (filledIn(copy) === filledIn(entriesOf(form))) return forget(number);
  offer.hidden = false;
  offer.querySelector("[data-put-back]").addEventListener("click", () => {
    putBack(form, copy);
    bringRevision(form, copy);
    offer.hidden = true;
    changed({ target: form });
    form.querySelector("input:not([type=hidden])").focus();
  });
  offer.querySelector("[data-let-go]").addEventListener("click", () => {
    forget(number);
    offer.hidden = true;
  });
}

// What was typed over an earlier state of the visit is held against what somebody else changed since.
function bringRevision(form, copy) {
  const seen = new Map(copy).get("revision");
  if (seen !== undefined && form.elements.revision) form.elements.revision.value = seen;
}

// A page that comes back has a spare row more than the one that was sent, and may show a later revision of the visit:
// neither was typed.
function filledIn(entries) {
  return JSON.stringify(entries.filter(([name, value]) => value !== "" && name !== "revision"));
}

function bodyOf(form) {
  const token = ["csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value];
  return new URLSearchParams([...entriesOf(form), token]);
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
