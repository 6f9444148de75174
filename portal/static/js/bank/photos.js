// Pictures of a visit on the bank: made smaller, freed from place and camera data, and kept on this phone.
const store = self.phoneStore;
const LONGEST_SIDE = 1600;
const QUALITY = 0.85;

const part = document.querySelector("form[data-bank-form] #photos");
if (part) document.addEventListener("visit-number", (event) => keepPhotos(part, event.detail), { once: true });

function keepPhotos(part, visit) {
  const form = part.closest("form");
  const list = part.querySelector("[data-photo-list]");
  const file = part.querySelector("input[type=file]");
  const news = part.querySelector("[data-photo-news]");
  const shown = new Map();

  const refuse = (reason) => {
    for (const each of part.querySelectorAll("[data-photo-refused]")) each.hidden = each.dataset.photoRefused !== reason;
    file.setAttribute("aria-invalid", String(Boolean(reason)));
  };

  const add = async () => {
    refuse("");
    for (const each of [...file.files]) {
      const reason = await addOne(each);
      if (reason) refuse(reason);
    }
    file.value = "";
  };

  // Resolves to why the picture could not be kept, or "".
  const addOne = async (picked) => {
    if (shown.size >= Number(file.dataset.most)) return "many";
    const blob = await smaller(picked).catch(() => null);
    if (!blob) return "unreadable";
    try {
      await store.addPhoto({ number: crypto.randomUUID(), visit, person: form.dataset.person, blob });
    } catch {
      return "room";
    }
    // A visit that has a picture is one, even before its first word.
    form.elements.was_made[0].dispatchEvent(new Event("change", { bubbles: true }));
    news.textContent = news.dataset.added;
    document.dispatchEvent(new Event("room-changed"));
    await draw();
    return "";
  };

  const draw = async () => {
    const photos = (await store.photos(visit)).filter((photo) => photo.person === form.dataset.person && photo.blob);
    const numbers = new Set(photos.map((photo) => photo.number));
    for (const [number, item] of shown) if (!numbers.has(number)) takeOut(number, item);
    for (const photo of photos) showProblem(shown.get(photo.number) ?? putIn(photo), photo.problem);
  };

  const putIn = (photo) => {
    const item = part.querySelector("template[data-photo]").content.firstElementChild.cloneNode(true);
    const caption = item.querySelector("[data-caption]");
    item.querySelector("img").src = URL.createObjectURL(photo.blob);
    caption.value = photo.caption;
    name(item, photo.caption);
    caption.addEventListener("input", () => {
      name(item, caption.value);
      store.changePhoto(photo.number, (now) => ({ ...now, caption: caption.value }));
    });
    item.querySelector("[data-remove]").addEventListener("click", () => remove(photo));
    list.append(item);
    shown.set(photo.number, item);
    return item;
  };

  const name = (item, caption) => {
    const picture = item.querySelector("img");
    picture.dataset.words ??= picture.alt;
    picture.alt = caption || picture.dataset.words;
  };

  const takeOut = (number, item) => {
    URL.revokeObjectURL(item.querySelector("img").src);
    item.remove();
    shown.delete(number);
  };

  const remove = async (photo) => {
    await store.removePhoto(photo);
    news.textContent = news.dataset.removed;
    refuse("");
    document.dispatchEvent(new Event("room-changed"));
    await draw();
    file.focus();
  };

  const showProblem = (item, problem) => {
    const place = item.querySelector("[data-photo-problem]");
    place.hidden = !problem;
    place.querySelector("[data-message]").textContent = problem ?? "";
  };

  file.addEventListener("change", add);
  store.listen((number) => number === visit && draw());
  draw();
}

// Drawn anew, a picture is pixels and nothing else: neither place nor camera.
async function smaller(file) {
  const picture = await createImageBitmap(file);
  const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * scale));
  canvas.height = Math.max(1, Math.round(picture.height * scale));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return new Promise((resolve, reject) => canvas.toBlob((blob) => (blob ? resolve(blob) : reject()), "image/jpeg", QUALITY));
}
