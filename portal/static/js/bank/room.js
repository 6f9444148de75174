// Says in time that the phone's storage runs short, and at once when something could not be kept.
const store = self.phoneStore;
const words = document.querySelectorAll("[data-room]");

// What was refused stays said; what was only foreseen is looked at again.
let refused = "";

const show = (kinds) => words.forEach((each) => (each.hidden = !kinds.includes(each.dataset.room)));

const look = async () => {
  if (!(await store.isUsable())) return show(["none"]);
  const [room, isStaying] = await Promise.all([store.room(), store.isStaying()]);
  const kinds = [refused || (room.isLow && "low"), isStaying ? "staying" : "leaving"];
  show(kinds.filter(Boolean));
};

document.addEventListener("room-refused", (event) => {
  refused = event.detail;
  look();
});
document.addEventListener("room-changed", () => {
  refused = "";
  look();
});
if (words.length) look();
