// What was typed on an earlier version of the form and has no field on this one: it goes along all the same.

// Counts of a taxon that has left the recording list move to the rows of other taxa, where they can be seen and
// changed; the rest is kept in hidden fields and shown as a list.
export function keepUnplaced(form, entries) {
  const counts = new Map();
  const rest = [];
  for (const [name, value] of entries) {
    const taxon = /^counts-(.+)-(count|range|none|key)$/.exec(name);
    if (taxon && value) counts.set(taxon[1], [...(counts.get(taxon[1]) ?? []), [taxon[2], value]]);
    else if (value && !name.startsWith("counts-")) rest.push([name, value]);
  }
  for (const [taxon, parts] of counts) moveToOthers(form, taxon, parts);
  if (rest.length) keepAlong(form, rest);
}

function moveToOthers(form, taxon, parts) {
  const rows = form.querySelector("[data-other-rows='other']");
  const isEmpty = (row) => !row.querySelector("input[name$='-name']").value;
  const row = [...rows.children].find(isEmpty);
  row.querySelector("input[name$='-name']").value = taxon;
  for (const [part, value] of parts) {
    const field = row.querySelector(`[name$='-${part}']`);
    if (field?.type === "checkbox") field.checked = true;
    else if (field) field.value = value;
  }
  // As if it were typed: so there is always an empty row left.
  row.querySelector("input").dispatchEvent(new Event("input", { bubbles: true }));
}

function keepAlong(form, entries) {
  const part = form.querySelector("[data-unplaced]");
  part.hidden = false;
  for (const [name, value] of entries) {
    const field = Object.assign(document.createElement("input"), { type: "hidden", name, value });
    const line = document.createElement("li");
    line.textContent = `${name}: ${value}`;
    part.append(field);
    part.querySelector("ul").append(line);
  }
}
