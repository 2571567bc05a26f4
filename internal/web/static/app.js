// @ts-check
// Pages work without this file. It keeps live pages up to date and lets a scanner type anywhere.

/** Fetches the live part of the page anew and puts it in place of the old one; what somebody types beside it stays. */
async function refresh() {
  const answer = await fetch(location.href, { headers: { "X-Fragment": "main", "X-Background": "yes" } });
  if (!answer.ok) throw new Error(`answer ${answer.status}`);
  const parsed = document.createElement("template");
  parsed.innerHTML = await answer.text();
  const old = document.querySelector("[data-live]");
  if (old?.querySelector(":popover-open")) return; // somebody reads what a word means
  const fresh = /** @type {HTMLElement|null} */ (parsed.content.querySelector("[data-live]"));
  if (!old || !fresh) return;
  const focused = old.contains(document.activeElement) && document.activeElement?.closest("[href], [popovertarget]");
  old.replaceWith(fresh);
  for (const name of focused ? ["href", "popovertarget"] : []) {
    const value = focused && focused.getAttribute(name);
    if (value) /** @type {HTMLElement|null} */ (fresh.querySelector(`[${name}="${CSS.escape(value)}"]`))?.focus();
  }
}

/** How often an answer is asked for anew, and how old one may be that nothing has confirmed, in milliseconds. */
const ASKED_EVERY = 10_000, ANSWER_KEEPS = 60_000;

/** Keeps the answer whether a scope may be used true: it is asked for again and again, and goes away once nobody confirms it. */
function answering() {
  const section = /** @type {HTMLElement|null} */ (document.querySelector("[data-answer]"));
  const lost = /** @type {HTMLTemplateElement|null} */ (section?.querySelector("template[data-lost]"));
  if (!section || !lost) return;
  let confirmed = performance.timeOrigin;
  /** What an answer says, whenever it was asked for. */
  const said = (/** @type {Element|null} */ answer) => {
    const copy = /** @type {Element|undefined} */ (answer?.cloneNode(true));
    copy?.querySelector(".asked")?.remove();
    return copy?.innerHTML;
  };
  const show = (/** @type {HTMLElement} */ fresh, /** @type {string} */ face) => {
    const old = section.querySelector(".answer");
    const [was, is] = [old?.querySelector(".asked"), fresh.querySelector(".asked")];
    if (said(old) === said(fresh) && section.className === face) { // nothing to read out again
      if (was && is) was.replaceWith(is);
      return;
    }
    const focused = old?.contains(document.activeElement) ? document.activeElement?.getAttribute("href") : null;
    section.className = face;
    old?.replaceWith(fresh);
    if (focused) /** @type {HTMLElement|null} */ (fresh.querySelector(`[href="${CSS.escape(focused)}"]`))?.focus();
  };
  const age = () => Math.abs(Date.now() - confirmed); // a clock that was set back confirms nothing
  const check = () => {
    if (age() >= ANSWER_KEEPS) return show(/** @type {HTMLElement} */ (/** @type {DocumentFragment} */ (lost.content.cloneNode(true)).firstElementChild), "release");
    const line = section.querySelector("[data-age]");
    if (line) line.textContent = `, looked at again ${Math.floor(age() / 1000)} s ago`;
  };
  const look = async () => {
    const asked = Date.now();
    const answer = await fetch(location.href, { headers: { "X-Fragment": "main", "X-Background": "yes" }, signal: AbortSignal.timeout(ASKED_EVERY) });
    const parsed = document.createElement("template");
    parsed.innerHTML = await answer.text();
    const fresh = parsed.content.querySelector("[data-answer]");
    const now = /** @type {HTMLElement|null} */ (fresh?.querySelector(".answer"));
    if (!fresh || !now) throw new Error(`answer ${answer.status}`);
    confirmed = asked;
    show(now, fresh.className);
  };
  const again = () => { check(); look().then(check, check); };
  setInterval(check, 1_000);
  setInterval(again, ASKED_EVERY);
  // A page that was put aside, or kept by the browser, shows what was true then.
  addEventListener("pageshow", (event) => { if (event.persisted) again(); });
  addEventListener("online", again);
  document.addEventListener("visibilitychange", again);
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
  source.addEventListener("error", () => {
    current()?.classList.add("stale");
    // The session has ended or is locked: the page itself says so.
    if (source?.readyState === EventSource.CLOSED) location.reload();
  });
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

/** Says how far an invented year is, until it is complete. */
function filling() {
  const line = /** @type {HTMLElement|null} */ (document.querySelector("[data-filling]"));
  if (!line) return;
  const ask = async () => {
    const answer = await fetch(line.dataset.filling ?? "", { headers: { "X-Background": "yes" } });
    if (!answer.ok && answer.status !== 410) return;
    line.textContent = await answer.text();
    if (answer.status === 410) clearInterval(timer);
  };
  const timer = setInterval(() => ask().catch(() => {}), 2_000);
}

// What came in meanwhile is shown when the word is read.
addEventListener("toggle", (event) => {
  const word = /** @type {Element} */ (event.target);
  if (word.matches("[data-live] [popover]") && /** @type {ToggleEvent} */ (event).newState === "closed") refresh().catch(() => {});
}, true);

listen();
answering();
scanner();
filling();
// Times that pass are shown anew every minute even when nothing is recorded.
if (document.querySelector("[data-live]")) setInterval(() => refresh().catch(() => {}), 60_000);
