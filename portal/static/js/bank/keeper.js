// The visit form of the bank: whatever is typed is on this phone a moment later, and stays until it was sent.
import { entriesOf, openAround, putBack } from "../form-entries.js";
import { labelsOf, showProblems } from "./problems.js";
import { keepUnplaced } from "./unplaced.js";

const store = self.phoneStore;
const sender = self.phoneSender;
const NUMBER = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/;
const WAIT = 150;
// A phone that was full may have room again without anything being typed.
const WAIT_FOR_ROOM = 2000;
// Until the tab that gives the visit up has written its last letters.
const HANDOVER = 500;

const form = document.querySelector("form[data-bank-form]");
const panel = document.querySelector("[data-visit-state]");
if (form && panel) open();

async function open() {
  const number = numberOfAddress();
  form.dataset.number = number;
  document.dispatchEvent(new CustomEvent("visit-number", { detail: number }));
  const keeper = keeperOf(number);
  stayOnAddress(number);
  if (await keeper.begin()) keeper.watch();
}

// A visit has its number before anything is typed, so that it can never be sent as two.
function numberOfAddress() {
  const given = location.hash.slice(1).toLowerCase();
  const number = NUMBER.test(given) ? given : crypto.randomUUID();
  history.replaceState(null, "", `#${number}`);
  return number;
}

// The address holds the visit's number: links to parts of the form move the page without taking its place.
function stayOnAddress(number) {
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[href^='#']");
    const target = link && document.getElementById(decodeURIComponent(link.hash.slice(1)));
    if (!target) return;
    event.preventDefault();
    openAround(target);
    target.scrollIntoView();
    if (!target.contains(document.activeElement)) moveTo(target);
  });
  window.addEventListener("hashchange", () => location.hash !== `#${number}` && location.reload());
}

function moveTo(target) {
  if (!target.matches("a, button, input, select, textarea, [tabindex]")) target.tabIndex = -1;
  target.focus({ preventScroll: true });
}

function keeperOf(number) {
  let record;
  let timer = 0;
  let isDirty = false;
  // Writes that have begun and that nobody has confirmed: a page that goes away ends them unfinished.
  let underWay = 0;
  let isGivenUp = false;
  let writing = Promise.resolve();
  let shown = "";

  const isOpen = () => !["waiting", "sent"].includes(record?.state);
  const isOurs = () => !record || record.person === form.dataset.person;

  const blank = () => ({
    number,
    person: form.dataset.person,
    group: form.dataset.group,
    site: form.dataset.site,
    siteLabel: form.dataset.siteLabel,
    recordingList: form.dataset.list,
    state: "draft",
    problems: [],
    attempts: 0,
    startedAt: Date.now(),
  });

  const begin = async () => {
    panel.addEventListener("click", act);
    isGivenUp = !(await hold("ifAvailable"));
    if (isGivenUp) {
      draw();
      return false;
    }
    record = await store.visit(number);
    if (isOurs() && record) keepUnplaced(form, putBack(form, record.entries, ["file", "submit"]));
    // Read before others wrote into the fields: an empty form is no visit yet.
    draw();
    return true;
  };

  // One tab at a time types into a visit; another one that takes over writes its own words from here on.
  const hold = (how) =>
    new Promise((resolve) => {
      if (!navigator.locks) return resolve(true);
      const kept = (lock) => (resolve(lock !== null), lock && new Promise(() => {}));
      navigator.locks.request(`rifflebook-visit-${number}`, { [how]: true }, kept).catch(giveUp);
    });

  const giveUp = async () => {
    await flush();
    isGivenUp = true;
    draw();
  };

  const takeOver = async () => {
    await hold("steal");
    await new Promise((resolve) => setTimeout(resolve, HANDOVER));
    location.reload();
  };

  // -- keeping

  const changed = (event) => {
    if (!event.target.name || event.target.type === "file" || !isOpen() || isGivenUp) return;
    isDirty = true;
    timer ||= setTimeout(flush, WAIT);
  };

  const flush = () => {
    clearTimeout(timer);
    timer = 0;
    if (isDirty) writing = writing.then(write);
    isDirty = false;
    return writing;
  };

  const write = async () => {
    const isFirst = !record;
    const entries = entriesOf(form);
    underWay += 1;
    try {
      record = await store.changeVisit(number, (now) =>
        now && ["waiting", "sent"].includes(now.state) ? undefined : { ...blank(), ...now, entries },
      );
      sayKept();
    } catch {
      isDirty = true;
      timer ||= setTimeout(flush, WAIT_FOR_ROOM);
      refuse("nothing");
    } finally {
      underWay -= 1;
    }
    if (isFirst && record) store.askToStay().then(sayRoom);
  };

  const sayKept = () => {
    const words = form.querySelector("[data-kept-words]");
    const time = new Date().toLocaleTimeString(document.documentElement.lang, { hour: "2-digit", minute: "2-digit" });
    words.textContent = `${words.dataset.kept} ${time}`;
    sayRoom();
  };

  const sayRoom = () => (record.isSpare ? refuse("text-only") : document.dispatchEvent(new Event("room-kept")));

  const refuse = (kind) => {
    if (kind === "nothing") form.querySelector("[data-kept-words]").textContent = "";
    document.dispatchEvent(new CustomEvent("room-refused", { detail: kind }));
  };

  // A page that is hidden may never be seen again.
  const leave = () => {
    if (isDirty || underWay) store.keepInHaste({ ...blank(), ...record, entries: entriesOf(form) }, record);
    flush();
  };

  // -- sending

  const submit = async (event) => {
    event.preventDefault();
    if (!isOpen() || !isOurs()) return;
    isDirty = true;
    await flush();
    const queued = { state: "waiting", queuedAt: Date.now(), problems: [], detail: "", trouble: "", labels: labelsOf(form) };
    const queue = (now) => (now && now.state !== "sent" ? { ...now, ...queued } : undefined);
    const next = await store.changeVisit(number, queue).catch(() => undefined);
    panel.focus();
    if (!next) return refuse("nothing");
    record = next;
    draw();
    document.dispatchEvent(new Event("visits-queued"));
  };

  const reread = async () => {
    const before = record?.state;
    record = (await store.visit(number)) ?? record;
    if (record && record.state !== before) draw();
  };

  const tried = ({ detail: { trouble } }) => showTrouble(trouble === "signed-out" ? trouble : record?.trouble || trouble);

  // -- showing

  const draw = () => {
    const state = isGivenUp ? "elsewhere" : isOurs() ? stateOf(record) : "not-yours";
    const isShut = state === "not-yours" || !isOpen();
    form.hidden = ["sent", "not-yours", "elsewhere"].includes(state);
    for (const field of form.elements) if (field.tagName === "FIELDSET" || field.type === "submit") field.disabled = isShut;
    if (isOurs()) showProblems(form, panel, record?.state === "refused" ? record : null);
    show(state);
  };

  const show = (state) => {
    const states = state.split(" ");
    for (const part of panel.querySelectorAll("[data-when]")) {
      part.hidden = !part.dataset.when.split(" ").some((each) => states.includes(each));
    }
    for (const part of panel.querySelectorAll("[data-slot]")) part.textContent = record?.[part.dataset.slot] ?? "";
    const link = panel.querySelector("[data-address]");
    if (link && record?.address) link.href = record.address;
    showTrouble(record?.trouble ?? "");
    say(states[0]);
  };

  const showTrouble = (kind) => {
    for (const words of panel.querySelectorAll("[data-trouble]")) words.hidden = words.dataset.trouble !== kind;
  };

  const say = (state) => {
    const news = panel.querySelector("[data-news]");
    // Only what changed is news; where it stands at the opening is read from the page.
    if (shown && shown !== state) news.textContent = panel.querySelector(`[data-said~="${state}"]`)?.textContent ?? "";
    shown = state;
  };

  const act = async (event) => {
    const name = event.target.closest("[data-do]")?.dataset.do;
    if (name === "take-over") return takeOver();
    if (name === "take-back") await sender.takeBack(number);
    if (name !== "send-as-new") return;
    await flush();
    const next = await sender.sendAsNew(number);
    history.replaceState(null, "", `#${next.number}`);
    location.reload();
  };

  const watch = () => {
    form.addEventListener("input", changed);
    form.addEventListener("change", changed);
    form.addEventListener("submit", submit);
    window.addEventListener("pagehide", leave);
    document.addEventListener("visits-tried", tried);
    document.addEventListener("visibilitychange", () => document.visibilityState === "hidden" && leave());
    store.listen((other) => other === number && reread());
  };

  return { begin, watch };
}

function stateOf(record) {
  if (!record) return "new";
  if (record.state === "refused" && record.conflict) return "conflict";
  if (record.state === "sent" && record.differs) return "sent differs";
  return record.state;
}
