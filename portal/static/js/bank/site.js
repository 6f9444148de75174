// A site's page: gives a visit its number, and shows the usual cautions before the first one of a day.
const start = document.querySelector("[data-start-visit]");
const dialog = document.querySelector("[data-cautions]");
const NOTE = "cautionsSeen";

const today = () => new Date().toLocaleDateString("sv");

const begin = () => location.assign(`${start.href}#${crypto.randomUUID()}`);

start?.addEventListener("click", async (event) => {
  event.preventDefault();
  if ((await self.phoneStore.note(NOTE)) === today()) return begin();
  dialog.showModal();
});

dialog.addEventListener("close", async () => {
  if (dialog.returnValue !== "start") return;
  await self.phoneStore.setNote(NOTE, today());
  begin();
});
