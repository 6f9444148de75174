// Where the sample was taken: told by this phone or by a picture, and put into the form only when confirmed.
// The phone alone knows it until then; nothing here needs a network.

// The mean radius of the Earth: over a few kilometres a sphere is right to half a per cent.
const EARTH_M = 6371008.8;
const PATIENCE = { enableHighAccuracy: true, timeout: 20000, maximumAge: 0 };
const LETTERED = /^(\d+(?:\.\d+)?)\s*([NS])[,\s]\s*(\d+(?:\.\d+)?)\s*([EW])$/i;
const SIGNED = /^(-?\d+(?:\.\d+)?)\s*[,;\s]\s*(-?\d+(?:\.\d+)?)$/;

const part = document.querySelector("[data-position]");
if (part) offerPosition(part);

function offerPosition(part) {
  const places = JSON.parse(part.dataset.places);
  const form = part.closest("form");
  const { position, position_accuracy_m: accuracy, position_source: source } = form.elements;
  const button = part.querySelector("[data-position-ask]");
  const offer = part.querySelector("[data-position-offer]");
  const said = part.querySelector("[data-position-said]");
  const told = part.querySelector("[data-position-told]");
  let found = null;
  let isOurs = false;

  const words = (key, values = {}) =>
    part.querySelector(`[data-words="${key}"]`).textContent.replace(/\{(\w+)\}/g, (_all, name) => values[name]);

  const say = (text) => {
    said.textContent = text;
    said.hidden = !text;
  };

  // -- asking the phone

  const ask = () => {
    close();
    if (!window.isSecureContext || !navigator.geolocation) return say(words("insecure"));
    button.disabled = true;
    say(words("asking"));
    navigator.geolocation.getCurrentPosition(take, fail, PATIENCE);
  };

  const fail = ({ code }) => {
    button.disabled = false;
    say(words({ 1: "denied", 3: "timeout" }[code] ?? "nowhere"));
  };

  const take = ({ coords }) => {
    button.disabled = false;
    const exact = Math.max(1, Math.ceil(coords.accuracy));
    if (exact > places.roughest_m) return say(words("rough", { accuracy: distance(exact) }));
    say("");
    found = { latitude: coords.latitude, longitude: coords.longitude, accuracy_m: exact };
    const answer = { distance: distance(metres(found, places.site)), site: places.site.code, accuracy: distance(exact) };
    const question = [words("found", answer), doubt(found), words("use")];
    offer.querySelector("[data-offer-words]").textContent = question.filter(Boolean).join(" ");
    offer.hidden = false;
    offer.querySelector("[data-position-use]").focus();
  };

  const close = () => {
    found = null;
    offer.hidden = true;
  };

  // -- taking up what was confirmed

  const put = (text, accuracyM, from) => {
    isOurs = true;
    for (const [field, value] of [[accuracy, accuracyM], [source, from], [position, text]]) {
      field.value = value;
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
    isOurs = false;
    judge();
    position.focus();
  };

  const use = () => {
    const { latitude, longitude, accuracy_m: exact } = found;
    close();
    put(textOf(latitude, longitude), String(exact), "phone");
    say(words("taken"));
  };

  const leave = () => {
    close();
    say(words("left"));
    button.focus();
  };

  const useOfPicture = (chosen) => {
    const [text, exact] = chosen.value.split("|");
    chosen.closest("[data-photo-position]").remove();
    put(text, exact, "photo");
    say(words("taken"));
  };

  // -- setting it against the site

  // The same as `surveys.visits.positions.standing`, for whoever still stands at the water.
  const doubt = (place) => {
    const away = metres(place, places.site);
    const slack = slackOf(place, places.site);
    const isFar = away > places.farthest_m + slack;
    const nearest = [...places.others].sort((one, two) => metres(place, one) - metres(place, two))[0];
    const there = nearest ? metres(place, nearest) : Infinity;
    const fits = there < away && there <= places.farthest_m + slackOf(place, nearest);
    const isClear = fits && away - there > places.nearer_by_m + slack + slackOf(place, nearest);
    if (fits && (isFar || isClear)) return words("other", { other: nearest.code });
    return isFar ? words("far") : "";
  };

  const slackOf = (place, site) => (place.accuracy_m ?? places.unknown_accuracy_m) + site.precision_m;

  const judge = () => {
    const place = read(position.value);
    told.hidden = !place;
    if (!place) return;
    place.accuracy_m = Number(accuracy.value) || undefined;
    const values = { distance: distance(metres(place, places.site)), site: places.site.code };
    told.textContent = `${words("away", values)} ${doubt(place)}`.trim();
    told.classList.toggle("position-doubt", Boolean(doubt(place)));
  };

  const typed = () => {
    if (!isOurs) {
      // What a phone or a picture told of the former place says nothing of this one.
      accuracy.value = "";
      source.value = position.value.trim() ? "typed" : "";
      say("");
    }
    judge();
  };

  button.hidden = false;
  button.addEventListener("click", ask);
  offer.querySelector("[data-position-use]").addEventListener("click", use);
  offer.querySelector("[data-position-leave]").addEventListener("click", leave);
  position.addEventListener("input", typed);
  accuracy.addEventListener("input", judge);
  form.addEventListener("restored", judge);
  form.addEventListener("click", (event) => {
    const chosen = event.target.closest("[name=use_position]");
    if (chosen) {
      event.preventDefault();
      useOfPicture(chosen);
    }
    event.target.closest("[data-photo-position-leave]")?.closest("[data-photo-position]").remove();
  });
  judge();
}

function metres(one, two) {
  const [from, to] = [radians(one.latitude), radians(two.latitude)];
  const [up, along] = [to - from, radians(two.longitude - one.longitude)];
  const half = Math.sin(up / 2) ** 2 + Math.cos(from) * Math.cos(to) * Math.sin(along / 2) ** 2;
  return 2 * EARTH_M * Math.asin(Math.min(1, Math.sqrt(half)));
}

function radians(degrees) {
  return (degrees * Math.PI) / 180;
}

function distance(away) {
  if (away < 20) return `${Math.max(1, Math.round(away))} m`;
  if (away < 995) return `${Math.round(away / 10) * 10} m`;
  return away < 9950 ? `${(away / 1000).toFixed(1)} km` : `${Math.round(away / 1000)} km`;
}

function textOf(latitude, longitude) {
  const north = `${Math.abs(latitude).toFixed(5)} ${latitude >= 0 ? "N" : "S"}`;
  return `${north}, ${Math.abs(longitude).toFixed(5)} ${longitude >= 0 ? "E" : "W"}`;
}

// Plain degrees alone: a grid reference is read by the portal.
function read(text) {
  const lettered = text.trim().match(LETTERED);
  if (lettered) {
    const [, up, north, along, east] = lettered;
    return { latitude: up * (/n/i.test(north) ? 1 : -1), longitude: along * (/e/i.test(east) ? 1 : -1) };
  }
  const signed = text.trim().match(SIGNED);
  return signed ? { latitude: Number(signed[1]), longitude: Number(signed[2]) } : null;
}
