/* Pictures, large, over the page. Without this script each is a link to the picture itself. */

const dialog = document.querySelector("[data-photo-dialog]");
const links = [...document.querySelectorAll("[data-photo]")];

if (dialog && links.length) {
  const large = dialog.querySelector("[data-photo-large]");
  const title = dialog.querySelector("[data-photo-title]");
  const said = dialog.querySelector("[data-photo-said]");
  const own = dialog.querySelector("[data-photo-own]");
  const steps = [...dialog.querySelectorAll("[data-photo-step]")];
  let at = 0;

  const show = (number) => {
    at = (number + links.length) % links.length;
    const small = links[at].querySelector("img");
    // A new element: the picture before must not stand under the words of the next while that is loading.
    const picture = Object.assign(document.createElement("img"), { alt: small.alt, src: links[at].href });
    large.replaceChildren(picture);
    title.textContent = small.alt;
    said.textContent = said.dataset.words.replace("{number}", at + 1).replace("{all}", links.length);
    own.href = links[at].href;
  };

  links.forEach((link, number) => {
    link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      show(number);
      dialog.showModal();
    });
  });
  for (const button of steps) {
    button.hidden = links.length < 2;
    button.addEventListener("click", () => show(at + Number(button.dataset.photoStep)));
  }
  dialog.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!step || event.altKey || links.length < 2) return;
    event.preventDefault();
    show(at + step);
  });
  dialog.addEventListener("click", (event) => {
    // The dialog itself is hit only beside what is in it.
    if (event.target === dialog || event.target.closest("[data-photo-close]")) dialog.close();
  });
  // Back to the picture that was looked at last, which need not be the one that opened it.
  dialog.addEventListener("close", () => links[at].focus());
}
