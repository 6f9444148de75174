// What the sign-in library's script reports when a passkey was not used.
document.addEventListener("allauth.error", (event) => {
  const trouble = document.getElementById("passkey-trouble");
  if (!trouble) return;
  event.preventDefault();
  trouble.hidden = false;
});
