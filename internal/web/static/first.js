// @ts-check
// The page works without this file. It suggests a code for the site as soon as the name is typed.

const name = /** @type {HTMLInputElement} */ (document.querySelector("#name"));
const site = /** @type {HTMLInputElement} */ (document.querySelector("#site"));
let suggested = site.value;

name.addEventListener("change", async () => {
  if (site.value !== suggested) return; // typed by hand
  const answer = await fetch(`/first-run/code?${new URLSearchParams({ name: name.value })}`);
  if (answer.ok && site.value === suggested) site.value = suggested = await answer.text();
});
