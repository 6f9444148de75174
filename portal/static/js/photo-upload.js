// Pictures go up without leaving the form; without a script the same button sends the form along.
const part = document.querySelector("#photos");
const button = part?.querySelector("[data-photo-add]");

if (button) {
  const form = button.form;
  const file = part.querySelector("#photo");
  const caption = part.querySelector("#caption");

  const send = async (address, body) => {
    part.setAttribute("aria-busy", "true");
    try {
      body.append("csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value);
      const answer = await fetch(address, { method: "POST", body, headers: { "X-Photo-List": "1" } });
      if (answer.redirected || ![200, 422].includes(answer.status)) throw new Error(String(answer.status));
      show(await answer.text());
      return answer.ok;
    } catch {
      show(null);
      return false;
    } finally {
      part.removeAttribute("aria-busy");
    }
  };

  const show = (text) => {
    const failed = part.querySelector("[data-photo-failed]");
    failed.hidden = text !== null;
    if (text === null) return;
    const page = new DOMParser().parseFromString(text, "text/html");
    part.querySelector("#photo-list").replaceWith(page.querySelector("#photo-list"));
  };

  const add = async () => {
    if (!file.files.length) return;
    const body = new FormData();
    body.append("photo", file.files[0]);
    body.append("caption", caption.value);
    if (await send(button.formAction, body)) file.value = caption.value = "";
  };

  button.addEventListener("click", (event) => {
    if (!file.files.length) return;
    event.preventDefault();
    add();
  });
  part.addEventListener("click", (event) => {
    const remove = event.target.closest("[data-photo-remove]");
    if (!remove) return;
    event.preventDefault();
    send(remove.formAction, new FormData());
  });
}
