// The start of the bank pages: says whether this phone is ready, and offers the home screen.
const PAGES = "rifflebook-pages-";
const person = document.querySelector("meta[name=person]").content;
const ready = document.querySelector("[data-bank-ready]");
const states = [...ready.querySelectorAll("[data-ready]")];

const show = (state) => states.forEach((each) => (each.hidden = each.dataset.ready !== state));

const lastRefresh = async () => {
  if (!(await caches.has(PAGES + person))) return undefined;
  const cache = await caches.open(PAGES + person);
  return (await cache.match(`${location.pathname}ready.json`))?.json();
};

const timeWords = (at) => {
  const isToday = at.toDateString() === new Date().toDateString();
  const options = isToday ? { timeStyle: "short" } : { dateStyle: "medium", timeStyle: "short" };
  return new Intl.DateTimeFormat(document.documentElement.lang, options).format(at);
};

const showReadiness = async () => {
  const last = await lastRefresh();
  if (!last) return show(document.documentElement.dataset.worker === "refused" ? "unable" : "busy");
  const at = new Date(last.at);
  const when = ready.querySelector("[data-ready-when]");
  ready.querySelector("[data-ready-what]").textContent = last.kept;
  when.dateTime = at.toISOString();
  when.textContent = timeWords(at);
  show(last.state);
};

if ("serviceWorker" in navigator && "caches" in self) {
  showReadiness();
  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data?.type === "refreshed") showReadiness();
  });
  document.addEventListener("worker-refused", showReadiness);
} else {
  show("unable");
}

// Where the browser can be asked, a button stands in the place of the advice.
const install = document.querySelector("[data-install]");
self.addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault();
  const offer = install.querySelector("[data-install-offer]");
  offer.hidden = false;
  install.querySelector("[data-install-help]").hidden = true;
  offer.querySelector("button").onclick = () => event.prompt();
});
self.addEventListener("appinstalled", () => (install.hidden = true));
