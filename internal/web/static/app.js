// @ts-check
// Pages work without this file. It keeps live pages up to date and lets a scanner type anywhere.

/** Fetches the content of the present page anew and puts it in place of the old one. */
async function refresh() {
  const answer = await fetch(location.href, { headers: { "X-Fragment": "main" } });
  if (!answer.ok) throw new Error(`answer ${answer.status}`);
  const main = document.getElementById("main");
  if (!main) return;
  const focused = document.activeElement?.closest("[href]")?.getAttribute("href");
  main.innerHTML = await answer.text();
  if (focused) /** @type {HTMLElement|null} */ (main.querySelector(`[href="${CSS.escape(focused)}"]`))?.focus();
  listen();
}

/** @type {EventSource|undefined} */
let source;

/** Keeps a live page up to date while it is seen. */
function listen() {
  const live = /** @type {HTMLElement|null} */ (document.querySelector("[data-live]"));
  if (!live || source) return;
  source = new EventSource(live.dataset.live ?? "");
  const current = () => document.querySelector("[data-live]");
  // What was recorded before the line stood comes with the first fetch.
  for (const event of ["hello", "recorded"]) {
    source.addEventListener(event, () => refresh().then(() => current()?.classList.remove("stale"), () => current()?.classList.add("stale")));
  }
  source.addEventListener("error", () => current()?.classList.add("stale"));
}

/** What a scanner types goes into the field that waits for it, wherever the focus is. */
function scanner() {
  addEventListener("keydown", (event) => {
    const field = /** @type {HTMLInputElement|null} */ (document.querySelector("[data-scan]"));
    const target = /** @type {HTMLElement} */ (event.target);
    if (!field || target === field || target.matches("input, select, textarea") || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.key.length === 1 && event.key !== " ") field.focus();
  });
}

listen();
scanner();
// Times that pass are shown anew every minute even when nothing is recorded.
if (document.querySelector("[data-live]")) setInterval(() => refresh().catch(() => {}), 60_000);
