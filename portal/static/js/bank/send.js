// Sends what waits on this phone, each visit exactly once. A classic script, for pages and for the worker.
self.phoneSender = (() => {
  const store = self.phoneStore;
  const NAME = "rifflebook-send";
  const PATIENCE = 30_000;
  const PATIENCE_WITH_PICTURE = 90_000;
  // Answers that say "not now" and not "not this".
  const LATER = [408, 425, 429];
  const LONGEST_REST = 300_000;

  // Until when a busy portal has asked to be left alone.
  let restUntil = 0;
  const rest = () => Math.max(0, restUntil - Date.now());

  const noteRest = (answer) => {
    const asked = Number(answer.headers.get("Retry-After")) * 1000;
    if ((answer.status === 503 || answer.status === 429) && asked > 0) restUntil = Date.now() + Math.min(asked, LONGEST_REST);
  };

  // One sender at a time in all tabs and the worker. A browser without locks is saved by the visit's own number.
  const alone = (work) => (navigator.locks ? navigator.locks.request(NAME, work) : work());

  const ask = async (address, options = {}, patience = PATIENCE) => {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), patience);
    const common = { credentials: "same-origin", cache: "no-store", signal: stop.signal };
    try {
      const answer = await fetch(address, { ...common, ...options });
      noteRest(answer);
      return { status: answer.status, body: await bodyOf(answer) };
    } catch {
      return { status: 0, body: {} };
    } finally {
      clearTimeout(timer);
    }
  };

  // An answer that breaks off half-way is no answer; a page of a proxy is one, without anything to read in it.
  const bodyOf = async (answer) => {
    const text = await answer.text();
    try {
      return JSON.parse(text);
    } catch {
      return {};
    }
  };

  const troubleOf = (status) => {
    if (status === 0) return "unreachable";
    return status >= 500 || LATER.includes(status) ? "server" : "";
  };

  // Who is signed in now: {person, token} or {trouble}.
  const sessionNow = async () => {
    const { status, body } = await ask("/bank/state/");
    if (status === 200 && body.person) return body;
    if (status === 401 || status === 403) return { trouble: "signed-out" };
    // Anything else, such as the sign-in page of a café's network, is not the portal.
    return { trouble: troubleOf(status) || "unreachable" };
  };

  // Sends all that waits of the person who is signed in. Resolves to {trouble, isDone}: what stood in the way
  // ("", "unreachable", "server", "signed-out"), whether nothing of theirs is left to send, and how many ms to wait.
  const sendAll = () =>
    alone(async () => {
      if (!(await hasWork())) return { trouble: "", isDone: true };
      if (rest()) return { trouble: "server", isDone: false, rest: rest() };
      const session = await sessionNow();
      const trouble = session.trouble ?? (await sendOf(session));
      await store.setNote("trouble", trouble);
      return { trouble, isDone: !trouble, rest: rest() };
    });

  const hasWork = async () => {
    const [visits, photos] = await Promise.all([store.visits(), store.photos()]);
    return visits.some((visit) => visit.state === "waiting") || photosToSend(visits, photos).length > 0;
  };

  const sendOf = async (session) => {
    const own = (visit) => visit.person === session.person;
    const waiting = (await store.visits()).filter((visit) => visit.state === "waiting" && own(visit));
    waiting.sort((one, other) => one.queuedAt - other.queuedAt);
    const fromVisits = await each(waiting, (visit) => sendVisit(visit, session));
    if (stops(fromVisits) || rest()) return fromVisits;
    const visits = (await store.visits()).filter(own);
    const photos = photosToSend(visits, await store.photos());
    return (await each(photos, (photo) => sendPhoto(photo, visits, session))) || fromVisits;
  };

  // A picture follows its visit.
  const photosToSend = (visits, photos) => {
    const arrived = new Set(visits.filter((visit) => visit.state === "sent").map((visit) => visit.number));
    return photos.filter((photo) => !photo.sent && !photo.problem && arrived.has(photo.visit));
  };

  const stops = (trouble) => trouble === "unreachable" || trouble === "signed-out";

  // Trouble with one thing alone does not hold the next ones up; no connection, no session and a busy portal do.
  const each = async (things, send) => {
    let last = "";
    for (const thing of things) {
      const trouble = await send(thing);
      if (stops(trouble) || rest()) return trouble;
      last = trouble || last;
    }
    return last;
  };

  const headersFor = (session) => ({ "X-CSRFToken": session.token, "X-Rifflebook-Person": session.person });

  const sendVisit = async (visit, session) => {
    // Kept before the first byte goes: an answer that is lost must not hide what the portal may have.
    const begun = await store.changeVisit(visit.number, (now) => now && { ...now, attempts: now.attempts + 1, tried: triedBy(now) });
    const body = new URLSearchParams(begun.entries);
    body.set("site", begun.site);
    body.set("recording_list", begun.recordingList);
    const answer = await ask(addressOf(begun), { method: "PUT", headers: headersFor(session), body });
    return settle(begun, answer, session);
  };

  // The different texts that were under way since the portal last refused one; more than one only after a change.
  const triedBy = (visit) => [...new Set([...(visit.tried ?? []), JSON.stringify(visit.entries)])];

  const addressOf = (visit) => `/api/v1/groups/${visit.group}/visits/${visit.number}/`;

  const settle = async (visit, { status, body }, session) => {
    if (status === 201 || status === 200) return mark(visit, sentBy(body, status));
    const trouble = troubleOf(status) || (isStale(body) ? "server" : "");
    if (trouble) {
      await mark(visit, () => ({ trouble }));
      return trouble;
    }
    if (await isOtherSession(status, body, session)) return "signed-out";
    return mark(visit, refusedBy(body, status));
  };

  // Somebody signed in anew a moment ago, which changes the token; the next try asks for the new one.
  const isStale = (body) => ruleIn(body, "stale_token");

  const ruleIn = (body, rule) => (body.problems ?? []).some((problem) => problem.rule === rule);

  const mark = async (visit, change) => {
    await store.changeVisit(visit.number, (now) => now && { ...now, ...change(now) });
    return "";
  };

  const sentBy = (body, status) => (now) => ({
    state: "sent",
    sentAt: Date.now(),
    address: body.page ?? `/groups/${now.group}/visits/${now.number}/`,
    problems: [],
    detail: "",
    trouble: "",
    // The portal keeps the first text that reached it; what was changed after a lost answer may not be in it.
    differs: status === 200 && now.tried.length > 1,
  });

  const refusedBy = (body, status) => () => ({
    state: "refused",
    problems: body.problems ?? [],
    detail: body.detail ?? "",
    conflict: status === 409,
    trouble: "",
    tried: [],
  });

  // A refusal may mean that the session ended, or that somebody else signed in, between two requests.
  const isOtherSession = async (status, body, session) => {
    if (status === 409) return ruleIn(body, "other_person");
    if (status !== 401 && status !== 403) return false;
    const now = await sessionNow();
    return now.person !== session.person;
  };

  const sendPhoto = async (photo, visits, session) => {
    const visit = visits.find((each) => each.number === photo.visit);
    const body = new FormData();
    body.append("photo", photo.blob, "picture.jpg");
    body.append("caption", photo.caption);
    const address = `${addressOf(visit)}photos/${photo.number}/`;
    const answer = await ask(address, { method: "PUT", headers: headersFor(session), body }, PATIENCE_WITH_PICTURE);
    return settlePhoto(photo, answer, session);
  };

  const settlePhoto = async (photo, { status, body }, session) => {
    const trouble = troubleOf(status) || (isStale(body) ? "server" : "");
    if (trouble) return trouble;
    if (status === 200 || status === 201) {
      // Arrived: the room is given back.
      await store.changePhoto(photo.number, (now) => ({ ...now, sent: true, blob: null }));
    } else if (await isOtherSession(status, body, session)) {
      return "signed-out";
    } else {
      const words = body.problems?.[0]?.message ?? body.detail ?? "";
      await store.changePhoto(photo.number, (now) => ({ ...now, problem: words || String(status) }));
    }
    return "";
  };

  // Only ever here and under the lock, so that no visit changes while it is on its way.
  const takeBack = (number) =>
    alone(() => store.changeVisit(number, (now) => (now?.state === "waiting" ? { ...now, state: "draft", trouble: "" } : undefined)));

  const sendAsNew = (number) =>
    alone(() =>
      store.renumber(number, (now) => {
        const fresh = { number: crypto.randomUUID(), state: "waiting", queuedAt: Date.now(), conflict: false, tried: [] };
        return { ...now, ...fresh, problems: [], detail: "", attempts: 0 };
      }),
    );

  if ("ServiceWorkerGlobalScope" in self) {
    self.addEventListener("sync", (event) => {
      if (event.tag === NAME) event.waitUntil(sendAll().then(({ isDone }) => isDone || Promise.reject(new Error("later"))));
    });
  }

  return { name: NAME, sendAll, takeBack, sendAsNew };
})();
