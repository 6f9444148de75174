// A button that acts when it is held: a drop of water is off the glass again before that, a thumb stays. Any finger on
// it counts, since a drop elsewhere may have been the first touch. Keys and reading aids are no drops: they act at once.
export const HOLD = 500;

export function onHold(button, act) {
  const held = new Map();

  const release = (event) => {
    clearTimeout(held.get(event.pointerId));
    held.delete(event.pointerId);
    if (!held.size) delete button.dataset.held;
  };

  button.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    // A wet thumb slides: wherever it is lifted, this button hears of it.
    button.setPointerCapture(event.pointerId);
    button.dataset.held = "";
    const downAt = event.timeStamp;
    held.set(event.pointerId, setTimeout(() => finish(downAt), HOLD));
  });
  for (const kind of ["pointerup", "pointercancel", "lostpointercapture"]) button.addEventListener(kind, release);
  button.addEventListener("contextmenu", (event) => event.preventDefault());
  button.addEventListener("click", (event) => {
    if (event.detail === 0) finish(event.timeStamp);
  });

  const finish = (at) => {
    letGo();
    act(at);
  };

  const letGo = () => {
    for (const timer of held.values()) clearTimeout(timer);
    held.clear();
    delete button.dataset.held;
  };
  return letGo;
}
