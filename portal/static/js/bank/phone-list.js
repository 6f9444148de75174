// The list "On this phone": what is being typed, what waits, what was sent, what was refused and why.
const store = self.phoneStore;
const KEPT_AFTER_SENDING = 14 * 24 * 3600 * 1000;

const section = document.querySelector("[data-phone-visits]");
if (section) showPhone(section);

function showPhone(section) {
  const list = section.querySelector("[data-phone-list]");
  const { person, site } = section.dataset;
  const states = new Map();

  const draw = async () => {
    const [visits, photos, trouble] = await Promise.all([store.visits(), store.photos(), store.note("trouble")]);
    const own = visits.filter((visit) => visit.person === person && (!site || visit.site === site));
    const others = visits.filter((visit) => visit.person !== person && visit.state !== "sent");
    // What the reader opened stays open while rows are drawn anew.
    const opened = new Set([...list.querySelectorAll("details[open]")].map((each) => each.closest(".phone-visit").dataset.number));
    const focused = document.activeElement?.closest?.(".phone-visit")?.dataset.number;
    list.replaceChildren(...own.reverse().map((visit) => rowOf(visit, photos.filter((photo) => photo.visit === visit.number), trouble)));
    for (const row of list.children) if (opened.has(row.dataset.number)) row.querySelector("details").open = true;
    if (focused) list.querySelector(`[data-number="${focused}"] a`)?.focus();
    showRest(own, others);
    tellChanges(own);
  };

  const showRest = (own, others) => {
    section.hidden = Boolean(site) && own.length === 0;
    section.querySelector("[data-phone-none]").hidden = own.length > 0;
    section.querySelector("[data-send-now]").hidden = !own.some((visit) => visit.state === "waiting");
    const words = section.querySelector("[data-phone-others]");
    words.hidden = others.length === 0 || Boolean(site);
    words.querySelector("[data-slot]").textContent = others.length;
  };

  const rowOf = (visit, photos, trouble) => {
    const row = section.querySelector(`template[data-row="${visit.state}"]`).content.firstElementChild.cloneNode(true);
    const refused = photos.find((photo) => photo.problem);
    row.dataset.number = visit.number;
    fill(row, {
      siteLabel: visit.siteLabel,
      when: timeOf(visit),
      pictures: photos.filter((photo) => photo.blob).length,
      pictureWhy: refused?.problem,
    });
    row.querySelector("[data-why]")?.append(...whyOf(visit, section.dataset.unsaid).map(lineOf));
    for (const link of row.querySelectorAll("[data-open]")) link.href = addressOf(visit);
    reveal(row, "[data-pictures]", photos.some((photo) => photo.blob));
    reveal(row, "[data-differs]", visit.differs);
    reveal(row, "[data-picture-why]", refused);
    const kind = trouble === "signed-out" ? trouble : visit.trouble || trouble || "";
    for (const words of row.querySelectorAll("[data-trouble]")) words.hidden = words.dataset.trouble !== kind;
    return row;
  };

  const tellChanges = (own) => {
    const news = section.querySelector("[data-news]");
    for (const visit of own) {
      const said = { sent: news.dataset.saidSent, refused: news.dataset.saidRefused }[visit.state];
      const before = states.get(visit.number);
      if (before && before !== visit.state && said) news.textContent = `${visit.siteLabel}: ${said}`;
      states.set(visit.number, visit.state);
    }
  };

  const act = async (event) => {
    const name = event.target.closest("[data-do]")?.dataset.do;
    if (name === "send") document.dispatchEvent(new Event("visits-queued"));
    if (name !== "remove") return;
    await store.removeVisit(event.target.closest(".phone-visit").dataset.number);
    document.dispatchEvent(new Event("room-changed"));
  };

  // Drawn once for many changes that come together.
  let planned = 0;
  store.listen(() => {
    planned ||= setTimeout(() => {
      planned = 0;
      draw();
    }, 50);
  });
  section.addEventListener("click", act);
  clearOld().then(draw);
}

function fill(row, words) {
  for (const slot of row.querySelectorAll("[data-slot]")) slot.textContent = words[slot.dataset.slot] ?? "";
}

function reveal(row, selector, isShown) {
  const part = row.querySelector(selector);
  if (part) part.hidden = !isShown;
}

function timeOf(visit) {
  const at = { sent: visit.sentAt, waiting: visit.queuedAt }[visit.state] ?? visit.changedAt;
  return new Date(at).toLocaleString(document.documentElement.lang, { dateStyle: "medium", timeStyle: "short" });
}

function whyOf(visit, unsaid) {
  const words = visit.problems.map(({ control, message }) => [labelIn(visit, control ?? ""), message].filter(Boolean).join(" – "));
  return words.length ? words : [visit.detail || unsaid];
}

function labelIn(visit, control) {
  const count = /^(counts|other|whole)-(.+)-[a-z]+$/.exec(control);
  if (!count) return visit.labels?.[control];
  return count[1] === "counts" ? count[2] : new Map(visit.entries).get(`${count[1]}-${count[2]}-name`);
}

function lineOf(words) {
  const line = document.createElement("li");
  line.textContent = words;
  return line;
}

function addressOf(visit) {
  return visit.state === "sent" ? visit.address : `/bank/${visit.group}/sites/${visit.site}/visit/#${visit.number}`;
}

// What arrived long ago, with all its pictures, need not be shown for ever.
async function clearOld() {
  const [visits, photos] = await Promise.all([store.visits(), store.photos()]);
  const isBusy = (visit) => photos.some((photo) => photo.visit === visit.number && !photo.sent);
  const isOld = (visit) => visit.state === "sent" && Date.now() - visit.sentAt > KEPT_AFTER_SENDING && !isBusy(visit);
  for (const visit of visits.filter(isOld)) await store.removeVisit(visit.number);
}
