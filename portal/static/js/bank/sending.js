// When a page tries to send: at its opening, when the network is back, when it is looked at again, and ever more
// seldom in between. The worker does the same in the background where the browser lets it.
const sender = self.phoneSender;
const FIRST = 2_000;
const LONGEST = 300_000;

let wait = FIRST;
let timer = 0;
let isTrying = false;
let isWanted = false;

const tryToSend = async () => {
  clearTimeout(timer);
  isWanted = isTrying;
  if (isTrying) return;
  isTrying = true;
  const outcome = await sender.sendAll().catch(() => ({ trouble: "unreachable", isDone: false }));
  isTrying = false;
  document.dispatchEvent(new CustomEvent("visits-tried", { detail: outcome }));
  if (isWanted) return tryToSend();
  plan(outcome);
};

// Nothing but signing in helps who is signed out, and that opens a page anew.
// A busy portal says how long it wants to be left alone.
const plan = ({ isDone, trouble, rest = 0 }) => {
  if (isDone || trouble === "signed-out") return;
  timer = setTimeout(tryToSend, Math.max(wait, rest));
  wait = Math.min(wait * 2, LONGEST);
};

const tryAnew = () => {
  wait = FIRST;
  tryToSend();
};

const askForBackground = async () => {
  const worker = await navigator.serviceWorker?.ready;
  await worker?.sync?.register(sender.name);
};

window.addEventListener("online", tryAnew);
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && tryAnew());
document.addEventListener("visits-queued", () => {
  tryAnew();
  // A browser without background sending refuses; the next opening of a page serves.
  askForBackground().catch(() => {});
});
window.addEventListener("pageshow", tryAnew);
