// A password that can be looked at is typed right at the first go; it is hidden again before the form is sent.
const words = document.querySelector("script[data-show]").dataset;

function showButton(field) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button button--quiet";
  button.setAttribute("aria-controls", field.id);
  const show = (shown) => {
    field.type = shown ? "text" : "password";
    button.textContent = shown ? words.hide : words.show;
  };
  button.addEventListener("click", () => show(field.type === "password"));
  field.form?.addEventListener("submit", () => show(false));
  field.after(button);
  show(false);
}

document.querySelectorAll("input[type=password]").forEach(showButton);
