// The visit form: what follows from "made or not", the running total of kicking time, and no sending by Enter.
import { openAround } from "./form-entries.js";

const form = document.querySelector("form#visit-form");

if (form) {
  const madeParts = form.querySelectorAll("[data-when-made]");
  const notMadeParts = form.querySelectorAll("[data-when-not-made]");
  const total = form.querySelector("[data-effort-total]");

  const showParts = () => {
    const notMade = form.elements.was_made.value === "no";
    // What holds an entry or a mistake stays in sight, or nobody could take it out again.
    madeParts.forEach((part) => (part.hidden = notMade && part.dataset.keepOpen === undefined));
    notMadeParts.forEach((part) => (part.hidden = !notMade && !part.querySelector("select").value));
  };

  const showTotal = () => {
    const fields = [...form.querySelectorAll("input[name^='spots-'][name$='-seconds']")];
    const seconds = fields.map((field) => Number(field.value.trim().replace(",", ".")) || 0);
    total.value = Math.round(seconds.reduce((sum, each) => sum + each, 0) * 10) / 10;
  };

  form.addEventListener("input", (event) => {
    if (event.target.name === "was_made") showParts();
    if (event.target.name?.startsWith("spots-")) showTotal();
  });
  form.addEventListener("restored", () => {
    showParts();
    showTotal();
  });

  // The keyboard of a phone has "go" where a thumb lands: in a field it moves nothing and sends nothing.
  form.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target.matches("input:not([type=submit])")) event.preventDefault();
  });

  // One visit, one submission: the portal knows a resend, but nobody should wait for two answers.
  let isSending = false;
  form.addEventListener("submit", (event) => {
    if (isSending) event.preventDefault();
    isSending = true;
  });
  window.addEventListener("pageshow", () => (isSending = false));

  // A link of the error summary leads to a field; the section around it must be open for that.
  const target = () => document.getElementById(decodeURIComponent(location.hash.slice(1)));
  window.addEventListener("hashchange", () => openAround(target()));

  showParts();
  showTotal();
}
