// On every page: pages kept for somebody else go, and the worker that keeps a member's pages is started.
const PAGES = "rifflebook-pages-";
const whose = document.querySelector("meta[name=person]");

// What somebody typed is kept elsewhere and stays.
async function dropPagesOfOthers(person) {
  for (const name of await caches.keys()) {
    if (name.startsWith(PAGES) && name !== PAGES + person) await caches.delete(name);
  }
}

async function keepPages({ worker, scope }, person) {
  const registration = await navigator.serviceWorker.register(worker, { scope });
  const ask = () => registration.active?.postMessage({ type: "refresh", person });
  const askOnceActive = (next) => next?.addEventListener("statechange", () => next.state === "activated" && ask());
  askOnceActive(registration.installing ?? registration.waiting);
  registration.addEventListener("updatefound", () => askOnceActive(registration.installing));
  ask();
}

if (whose && "caches" in self) {
  dropPagesOfOthers(whose.content).catch(() => undefined);
  // Before the portal has answered, in case this page never sees the answer.
  document.addEventListener("submit", (event) => {
    if (event.target.getAttribute("action") === whose.dataset.signOut) dropPagesOfOthers("").catch(() => undefined);
  });
}
if (whose?.dataset.worker && "serviceWorker" in navigator) {
  // A browser that refuses, such as a private window, only lacks what the worker would have added.
  keepPages(whose.dataset, whose.content).catch(() => {
    document.documentElement.dataset.worker = "refused";
    document.dispatchEvent(new Event("worker-refused"));
  });
}
