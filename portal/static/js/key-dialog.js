// The key inside the form of a visit: opened in a dialog, and its result handed to the tray as "taxon-found".
import { walkKey } from "./key.js";

const dialog = document.querySelector("[data-key-dialog]");
if (dialog) {
  const form = dialog.closest("form");
  const waiting = dialog.querySelector("[data-key-waiting]");
  const failed = dialog.querySelector("[data-key-failed]");
  let walk = null;

  const listed = () => {
    const names = [...form.querySelectorAll("[name^='counts-'][name$='-count']")].map((field) => field.name);
    return names.map((name) => name.slice("counts-".length, -"-count".length));
  };
  const namesIn = (text) => (text ? text.split("|") : []);
  const filled = (words, values) => words.replace(/\{(\w+)\}/g, (_all, name) => values[name]);

  const sentence = (text) => Object.assign(document.createElement("p"), { textContent: text });
  const button = (words, name, kind) => {
    const made = Object.assign(document.createElement("button"), {
      type: "button",
      className: `button ${kind}`,
      textContent: filled(words, { name }),
    });
    made.dataset.keyTaxon = name;
    return made;
  };

  // What the list has for this result: its own line, a wider one, only narrower ones, or none.
  const adviceOn = ({ taxon, lines, narrower }, list) => {
    const name = namesIn(lines).find((each) => list.includes(each));
    if (name === taxon) return [name, ""];
    if (name) return [name, filled(dialog.dataset.under, { taxon, name })];
    const names = namesIn(narrower).filter((each) => list.includes(each));
    const words = names.length ? `${dialog.dataset.narrower} ${dialog.dataset.other}` : dialog.dataset.other;
    return [taxon, filled(words, { taxon, names: names.join(", ") })];
  };

  const offer = (place, list) => {
    const [name, words] = adviceOn(place.dataset, list);
    const wider = namesIn(place.dataset.broader);
    const broader = wider.find((each) => list.includes(each)) ?? wider[0];
    const isPoor = place.dataset.sure === "microscope" && broader;
    const buttons = [button(dialog.dataset.use, name, isPoor ? "button--second" : "")];
    if (broader && broader !== name) {
      const doubt = button(dialog.dataset.doubt, broader, isPoor ? "" : "button--second");
      // Where nobody can be sure at the bank, the broader group is the first thing to press.
      if (isPoor) buttons.unshift(doubt);
      else buttons.push(doubt);
    }
    place.replaceChildren(...(words ? [sentence(words)] : []), ...buttons);
    place.hidden = false;
  };

  const load = async () => {
    const answer = await fetch(dialog.dataset.address);
    if (!answer.ok) throw new Error(String(answer.status));
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const key = document.adoptNode(page.querySelector("[data-key]"));
    const list = listed();
    for (const place of key.querySelectorAll("[data-key-use]")) offer(place, list);
    dialog.querySelector("[data-key-place]").replaceChildren(key);
    walk = walkKey(key);
  };

  const open = async () => {
    dialog.showModal();
    failed.hidden = true;
    waiting.hidden = walk !== null;
    if (walk) return walk.restart();
    try {
      await load();
    } catch {
      failed.hidden = false;
    } finally {
      waiting.hidden = true;
    }
  };

  // Anywhere on the page, so that the button may stand where the tray has it.
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-key-open]")) open();
  });
  dialog.addEventListener("click", (event) => {
    if (event.target.closest("[data-key-close]")) return dialog.close();
    const taxon = event.target.closest("[data-key-taxon]")?.dataset.keyTaxon;
    if (!taxon) return;
    dialog.close();
    form.dispatchEvent(new CustomEvent("taxon-found", { bubbles: true, detail: { taxon } }));
  });
}
