// The service worker of everything under /bank/. A classic script: the address /bank/worker.js sets it up and
// loads it after store.js and send.js.
(() => {
  const setup = self.bankSetup;
  // Files are kept by release: a page finds the very scripts and styles it was made with.
  const FILES = "rifflebook-files-";
  const ownFiles = FILES + setup.release;
  // Pages are kept by person: hazards and access notes are private.
  const PAGES = "rifflebook-pages-";
  const VERSION = "X-Rifflebook-Version";
  const READY = `${setup.home}ready.json`;
  // One bar of signal is often worse than none: a page that is kept is not waited for longer than this.
  const PATIENCE = 3000;
  const AT_ONCE = 4;
  const ANY = { ignoreVary: true };
  const FRESH = { navigation: 60_000, message: 600_000 };

  // -- a new release: all of its files or none

  const install = async () => {
    const cache = await caches.open(ownFiles);
    const offline = new Request(setup.offline, { credentials: "omit", cache: "reload" });
    await cache.addAll([...setup.files.map((each) => new Request(each, { cache: "reload" })), offline]);
    await self.skipWaiting();
  };

  // A browser holds every page back until this ends, so nothing of the network is waited for: the pages then ask for
  // the refresh.
  const activate = () => self.clients.claim();

  // -- refreshing what is kept

  let running = null;
  const refresh = () => {
    running ??= renew().finally(() => (running = null));
    return running;
  };

  const renew = async () => {
    const answer = await fetch(setup.state, { cache: "no-store" });
    // A session that ran out is no sign-out: what is kept stays of use at the water.
    if (answer.status !== 200) return;
    const wanted = await answer.json();
    await dropOthers(wanted.person);
    if (wanted.release !== setup.release) return makeWay();
    const cache = await caches.open(PAGES + wanted.person);
    await tell({ type: "refreshing" });
    const missed = await fetchAll(cache, wanted);
    await dropUnlisted(cache, wanted.pages);
    await note(cache, wanted, missed);
    if (missed.size === 0) await dropOldFiles();
    await tell({ type: "refreshed" });
  };

  // Not waited for: the next worker takes over when this one has nothing in hand, and a browser may put off an update
  // that a worker asks for by minutes.
  const makeWay = () => {
    const { installing, waiting } = self.registration;
    if (!installing && !waiting) self.registration.update().catch(() => undefined);
  };

  // What was missed, as the names of errors; nothing where all is kept.
  const fetchAll = async (cache, { pages, person }) => {
    const queue = [...pages];
    const missed = new Set();
    const work = async () => {
      for (let page = queue.shift(); page; page = queue.shift()) {
        await fetchPage(cache, page, person).catch((error) => missed.add(error.name));
      }
    };
    await Promise.all(Array.from({ length: AT_ONCE }, work));
    return missed;
  };

  // Keeps the page in this version, or fails.
  const fetchPage = async (cache, { address, version }, person) => {
    const kept = await cache.match(address);
    if (kept?.headers.get(VERSION) === version) return;
    const answer = await fetch(address, { cache: "no-store", redirect: "manual" });
    if (!isPageOf(answer, person)) throw new Error("another page");
    await keep(cache, address, answer, version);
  };

  const keep = async (cache, address, answer, version) => {
    const headers = new Headers(answer.headers);
    headers.set(VERSION, version);
    // The text is unpacked by now, and it is the only one kept, whatever a browser asks for beside it.
    for (const name of ["Content-Encoding", "Vary"]) headers.delete(name);
    await cache.put(address, new Response(await answer.blob(), { headers }));
  };

  // Between two requests somebody else may have signed in, or a new release may have come.
  const isPageOf = (answer, person) =>
    answer.status === 200 &&
    answer.headers.get("X-Rifflebook-Release") === setup.release &&
    answer.headers.get("X-Rifflebook-Person") === person;

  const dropUnlisted = async (cache, pages) => {
    const listed = new Set(pages.map((page) => page.address));
    for (const request of await cache.keys()) {
      if (!listed.has(new URL(request.url).pathname)) await cache.delete(request);
    }
  };

  // For the start page, which says whether the phone is ready.
  const note = async (cache, { kept }, missed) => {
    const state = missed.has("QuotaExceededError") ? "full" : missed.size ? "partly" : "kept";
    const body = JSON.stringify({ kept, state, at: Date.now(), release: setup.release });
    await cache.put(READY, new Response(body, { headers: { "Content-Type": "application/json" } }));
  };

  const dropOthers = async (person) => {
    for (const name of await caches.keys()) {
      if (name.startsWith(PAGES) && name !== PAGES + person) await caches.delete(name);
    }
  };

  // Only now does no kept page need them any more.
  const dropOldFiles = async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith(FILES) && name !== ownFiles) await caches.delete(name);
    }
  };

  const tell = async (message) => {
    for (const client of await self.clients.matchAll()) client.postMessage(message);
  };

  const refreshUnlessFresh = async (milliseconds, person) => {
    const name = person ? PAGES + person : await keptName();
    const cache = name && (await caches.has(name)) ? await caches.open(name) : null;
    const last = await (await cache?.match(READY))?.json();
    const isWhole = last?.state === "kept" && last.release === setup.release;
    if (isWhole && Date.now() - last.at < milliseconds) return;
    await refresh().catch(() => undefined);
  };

  // -- answering

  const keptName = async () => (await caches.keys()).find((name) => name.startsWith(PAGES));

  const keptPage = async (url) => {
    const name = await keptName();
    return name && (await caches.open(name)).match(url, { ignoreSearch: true });
  };

  // What was seen last with a network is what is seen without one, whatever the refresh is about to find.
  const renewKept = async (url, answer) => {
    const name = await keptName();
    const cache = name && (await caches.open(name));
    const { pathname } = new URL(url);
    const isKept = cache && (await cache.match(pathname));
    if (isKept && isPageOf(answer, name.slice(PAGES.length))) await keep(cache, pathname, answer, "seen");
    await refreshUnlessFresh(FRESH.navigation);
  };

  const within = (promise, milliseconds) =>
    Promise.race([promise, new Promise((_done, fail) => setTimeout(fail, milliseconds, new Error("too slow")))]);

  const answerPage = async (event) => {
    const kept = await keptPage(event.request.url);
    try {
      const asked = fetch(event.request);
      const answer = await (kept ? within(asked, PATIENCE) : asked);
      // To the sign-in page, or a portal that is down: neither is of use at the water.
      if (kept && (answer.type === "opaqueredirect" || answer.redirected || answer.status >= 500)) return kept;
      if (answer.ok) event.waitUntil(renewKept(event.request.url, answer.clone()));
      return answer;
    } catch (failure) {
      if (kept) return kept;
      if (event.request.mode !== "navigate") throw failure;
      return (await caches.open(ownFiles)).match(setup.offline, ANY);
    }
  };

  const answerFile = async (request) => {
    const own = await (await caches.open(ownFiles)).match(request, ANY);
    return own ?? (await caches.match(request, ANY)) ?? fetch(request);
  };

  const isPage = ({ pathname }) => pathname.startsWith(setup.home) && !pathname.includes(".") && pathname !== setup.state;

  self.addEventListener("install", (event) => event.waitUntil(install()));
  self.addEventListener("activate", (event) => event.waitUntil(activate()));
  self.addEventListener("fetch", (event) => {
    const url = new URL(event.request.url);
    if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
    if (isPage(url)) event.respondWith(answerPage(event));
    else if (setup.files.includes(url.pathname)) event.respondWith(answerFile(event.request));
  });
  self.addEventListener("message", (event) => {
    const { type, person } = event.data ?? {};
    if (type === "refresh") event.waitUntil(refreshUnlessFresh(FRESH.message, person));
  });
})();
