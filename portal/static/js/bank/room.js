// Says in time that the phone's storage runs short, and at once when something could not be kept.
const store = self.phoneStore;
const words = document.querySelectorAll("[data-room]");

// What was refused stays said until something is kept again; what is only foreseen is looked at again and again.
let refused = "";

const show = (kinds) => words.forEach((each) => (each.hidden = !kinds.includes(each.dataset.room)));

const look = async () => {
  if (!(await store.isUsable())) return show(["none"]);
  const [isShort, isStaying] = await Promise.all([store.isShort(), store.isStaying()]);
  const kinds = [refused || (isShort && "low"), isStaying ? "staying" : "leaving"];
  show(kinds.filter(Boolean));
};

const lookAnew = async () => {
  await store.reserve();
  await look();
};

document.addEventListener("room-refused", (event) => {
  refused = event.detail;
  look();
});
document.addEventListener("room-kept", () => {
  refused = "";
  look();
});
document.addEventListener("room-changed", lookAnew);
store.listen((number) => number === null && look());
lookAnew();
