// What a form holds as pairs of name and value, and how such pairs get back into it. Nothing here keeps or sends.

export function entriesOf(form) {
  // What a picture shows goes up with the picture and is no part of the visit.
  const isEntry = ([name, value]) => typeof value === "string" && name !== "caption" && name !== "csrfmiddlewaretoken";
  return [...new FormData(form)].filter(isEntry);
}

// Puts kept pairs back and returns those for which the form has no field; `types` are left as they are.
export function putBack(form, entries, types = ["hidden", "file", "submit"]) {
  const values = new Map(entries);
  for (const name of values.keys()) {
    const rows = form.querySelector(`[data-other-rows="${name.split("-")[0]}"]`);
    while (rows && !form.elements[name] && addRow(rows));
    if (!form.elements[name]) form.dispatchEvent(new CustomEvent("field-needed", { detail: { name } }));
  }
  for (const field of form.elements) {
    if (!field.name || field.name === "csrfmiddlewaretoken" || types.includes(field.type)) continue;
    if (field.type === "checkbox") field.checked = values.has(field.name);
    else if (field.type === "radio") field.checked = values.get(field.name) === field.value;
    else field.value = values.get(field.name) ?? "";
  }
  form.dispatchEvent(new Event("restored"));
  return entries.filter(([name]) => !form.elements[name]);
}

function addRow(rows) {
  const before = rows.children.length;
  rows.dispatchEvent(new Event("row-needed", { bubbles: true }));
  return rows.children.length > before;
}

// Opens the folded parts around an element, so that it can be seen and take the focus.
export function openAround(target) {
  for (let each = target; each; each = each.parentElement) if (each.tagName === "DETAILS") each.open = true;
  if (target?.matches("input, select, textarea")) target.focus();
}
