/* Checking visits by keyboard. A key stands on the element it works: <a data-key="n">, <button data-key="a">,
   <details data-key="r">. Without this script everything is there all the same, by pointer and Tab. */

const STORE = "review-keys";
const help = document.querySelector("[data-keys]");
const turn = document.querySelector("[data-keys-switch]");

/* Single letters can be switched off: whoever speaks to their computer would press them without meaning to. */
function areOn() {
  try {
    return localStorage.getItem(STORE) !== "off";
  } catch {
    return true;
  }
}

function remember(on) {
  try {
    localStorage.setItem(STORE, on ? "on" : "off");
  } catch {
    /* A browser that stores nothing has its keys on. */
  }
}

function show() {
  const on = areOn();
  for (const hint of document.querySelectorAll("[data-key-hint]")) hint.hidden = !on;
  if (turn) turn.setAttribute("aria-pressed", String(on));
}

function isTyping(target) {
  return target instanceof HTMLElement && (target.isContentEditable || target.matches("input:not([type=checkbox]), textarea, select"));
}

function work(element) {
  if (element instanceof HTMLDetailsElement) {
    element.open = true;
    element.querySelector("textarea, input:not([type=hidden])")?.focus();
    return;
  }
  const missing = [...(element.form?.elements ?? [])].find((each) => each.type === "text" && !each.value.trim());
  // A reason that is wanted first is asked for, instead of a page that comes back with a mistake.
  if (missing) missing.focus();
  else element.click();
}

function press(event) {
  // What lies under an open dialog is not seen: nobody approves it from there.
  if (document.querySelector("dialog[open]")) return;
  if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (isTyping(event.target)) {
    if (event.key === "Escape") event.target.blur();
    return;
  }
  if (event.key === "?" && help) {
    help.hidden = !help.hidden;
    if (!help.hidden) help.scrollIntoView({ block: "nearest" });
    event.preventDefault();
    return;
  }
  const element = areOn() && event.key.length === 1 ? document.querySelector(`[data-key="${CSS.escape(event.key)}"]`) : null;
  if (!element) return;
  event.preventDefault();
  work(element);
}

for (const button of document.querySelectorAll("[data-tick-all]")) {
  button.hidden = false;
  button.addEventListener("click", () => {
    for (const box of button.form.querySelectorAll('input[type="checkbox"]')) box.checked = true;
  });
}
if (help) help.hidden = false;
turn?.addEventListener("click", () => {
  remember(!areOn());
  show();
});
document.addEventListener("keydown", press);
show();
