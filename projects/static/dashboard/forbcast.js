// Only adds conveniences; every page works without it.
document.querySelectorAll("pre.copy").forEach((text) => {
  if (!navigator.clipboard) return;
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet";
  button.textContent = "Copy";
  button.addEventListener("click", async () => {
    await navigator.clipboard.writeText(text.textContent);
    button.textContent = "Copied";
  });
  text.before(button);
});
document.querySelectorAll(".print-button").forEach((place) => {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet";
  button.textContent = "Print";
  button.addEventListener("click", () => window.print());
  place.append(button);
});
document.querySelectorAll('form[action="/sign-out/"]').forEach((form) => {
  form.addEventListener("submit", (event) => {
    const waiting = Object.keys(localStorage).filter((key) => key.startsWith("forbcast-walk:")).length;
    const text = "A summer walk on this device is not sent yet. It stays here, and can be sent once you have signed in again. Sign out?";
    if (waiting && !window.confirm(text)) event.preventDefault();
  });
});
