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
