// The identification key: one step at a time, the answers so far, and a way back. Without this script the page is an
// outline whose links lead from step to step.

// `keepAddress` is for the page, where every step has its address and the browser's own back works.
export function walkKey(root, { keepAddress = false } = {}) {
  const parts = [...root.querySelectorAll("[data-key-part]")];
  const trail = root.querySelector("[data-key-trail]");
  const said = root.querySelector("[data-key-said]");
  const choices = [...root.querySelectorAll("[data-key-choice]")];

  const partOf = (link) => link.closest("[data-key-part]");
  const headingOf = (part) => part.querySelector("h2");
  const partNamed = (hash) => parts.find((part) => `#${part.id}` === hash);
  // A step is led to by one answer only; an end may be led to by several, of which the first stands for all.
  const answerTo = (part) => choices.find((choice) => choice.hash === `#${part.id}`);

  const wayTo = (part, answer) => {
    const way = [];
    for (let each = answer ?? answerTo(part); each; each = answerTo(partOf(each))) way.unshift(each);
    return way;
  };

  const drawTrail = (way) => {
    const lines = way.map((answer) => {
      const line = root.querySelector("[data-key-answer]").content.cloneNode(true);
      const link = line.querySelector("a");
      link.hash = partOf(answer).id;
      link.textContent = headingOf(partOf(answer)).textContent;
      line.querySelector("strong").textContent = answer.querySelector("span").textContent;
      return line;
    });
    trail.querySelector("ol").replaceChildren(...lines);
    trail.hidden = way.length === 0;
  };

  const show = (part, { answer = null, quietly = false } = {}) => {
    const way = wayTo(part, answer);
    for (const each of parts) each.hidden = each !== part;
    drawTrail(way);
    const back = part.querySelector("[data-key-back]");
    if (back && way.length) back.hash = partOf(way.at(-1)).id;
    if (quietly) return;
    const isEnd = part.dataset.keyEnd !== undefined;
    said.textContent = isEnd ? said.dataset.end : `${said.dataset.step} ${way.length + 1}`;
    root.scrollIntoView({ block: "start", behavior: "instant" });
    headingOf(part).focus({ preventScroll: true });
  };

  root.addEventListener("click", (event) => {
    const link = event.target.closest("a[href*='#']");
    const part = link && partNamed(link.hash);
    if (!part || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    if (keepAddress && location.hash !== link.hash) history.pushState(null, "", link.hash);
    show(part, { answer: link.dataset.keyChoice === undefined ? null : link });
  });
  if (keepAddress) {
    window.addEventListener("popstate", () => show(partNamed(location.hash) ?? parts[0]));
  }
  root.classList.add("key--walked");
  const wanted = keepAddress ? partNamed(location.hash) : null;
  show(wanted ?? parts[0], { quietly: !wanted });
  return { restart: () => show(parts[0], { quietly: true }) };
}

const page = document.querySelector("[data-key-page] [data-key]");
if (page) walkKey(page, { keepAddress: true });
