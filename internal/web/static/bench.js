// @ts-check
// The bench: one scope and one sampling point at a time, the clocks of all samples, and work without a
// network. Nothing is judged here: acts are kept with the time at which they happened, sent in order,
// and the answer says what they mean.

/** @typedef {Record<string, any>} Any */

const root = /** @type {HTMLElement} */ (document.getElementById("bench"));
const at = /** @type {Record<string, string>} */ (/** @type {unknown} */ (root.dataset));
const SECOND = 1e6;

// ---- what is kept in the browser ------------------------------------------------------------------

/** Acts that are not yet stored, in their order, and what was last known. @type {IDBDatabase} */
let db;

/** @template T @param {IDBRequest<T>} request @returns {Promise<T>} */
const done = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

async function openKept() {
  const request = indexedDB.open("rinsate-bench", 1);
  request.onupgradeneeded = () => {
    request.result.createObjectStore("acts", { keyPath: "n", autoIncrement: true });
    request.result.createObjectStore("known");
  };
  db = await done(request);
  navigator.storage?.persist?.().catch(() => {});
}

/** @param {string} name @param {IDBTransactionMode} mode */
const store = (name, mode = "readonly") => db.transaction(name, mode, { durability: "strict" }).objectStore(name);

/** Waits until what was written is on disk. @param {IDBObjectStore} s @param {(s: IDBObjectStore) => IDBRequest} write */
const written = (s, write) =>
  new Promise((resolve, reject) => {
    const request = write(s);
    s.transaction.oncomplete = () => resolve(request.result);
    s.transaction.onerror = s.transaction.onabort = () => reject(s.transaction.error);
  });

/** @param {string} key @param {Any} value */
const keep = (key, value) => written(store("known", "readwrite"), (s) => s.put(value, key));
/** @param {string} key @returns {Promise<any>} */
const kept = (key) => done(store("known").get(key));

/** Small choices that outlive a reload. */
const choices = {
  /** @param {string} key */
  get: (key) => localStorage.getItem("bench." + key) ?? "",
  /** @param {string} key @param {string} value */
  set: (key, value) => localStorage.setItem("bench." + key, value),
};

// ---- what is known --------------------------------------------------------------------------------

/** @type {Any} */
let data;
/** The last answer about each scope. @type {Record<string, Any>} */
const jobs = {};
/** Acts that are not yet stored. @type {Any[]} */
let queue = [];
let tag = choices.get("tag");
let point = choices.get("point");
let kit = choices.get("kit");
let lot = choices.get("lot");
let meter = choices.get("meter");
/** @type {"" | "offline" | "locked"} */
let trouble = "";
/** The value that is being typed with scanned digits. */
let digits = "";
/** How far the server's clock is ahead of this one, in microseconds. */
let ahead = Number(choices.get("ahead")) || 0;

const now = () => Math.round(Date.now() * 1000 + ahead);

/** Where is kept how far the records of this site went: a server that was put back from a copy lacks some of them. */
const seenKey = () => "bench.seen " + (data?.site ?? "");
/** What every request says of that. @returns {Record<string, string>} */
const seen = () => {
  const line = localStorage.getItem(seenKey());
  return line ? { "X-Ledger-Seen": line } : {};
};

/**
 * Keeps how far the records go now. Only an answer to a request that said what was seen before is taken: a server that
 * knows that it is a copy sends nothing that could take the place of that.
 * @param {string | undefined} line
 */
function remember(line) {
  if (line) localStorage.setItem(seenKey(), line);
}

/** @param {Any} answer @param {number} sent */
function learn(answer, sent) {
  const received = Date.now() * 1000;
  // Half of the way there and back is how far the answer's time can be wrong.
  if (received - sent < 4 * SECOND) ahead = Math.round(answer.now - (sent + received) / 2);
  choices.set("ahead", String(ahead));
  data = answer;
}

/** A record id: a UUID of version 7. */
function newID() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  let ms = Math.floor(now() / 1000);
  for (let i = 5; i >= 0; i--) {
    b[i] = ms % 256;
    ms = Math.floor(ms / 256);
  }
  b[6] = (b[6] & 0x0f) | 0x70;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = [...b].map((x) => x.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/** Reads a span such as 4h1min30s into microseconds. @param {string | undefined} text */
function span(text) {
  const units = /** @type {Record<string, number>} */ ({ d: 86400e6, h: 3600e6, min: 60e6, s: 1e6, ms: 1e3, us: 1 });
  let total = 0;
  for (const [, n, u] of (text ?? "").matchAll(/(\d+(?:\.\d+)?)(min|ms|us|d|h|s)/g)) total += Number(n) * units[u];
  return total;
}

/** @param {string} name */
const guideOf = (name) => data.guides[data.scopes.find((/** @type {Any} */ s) => s.tag === name)?.model];
/** @param {string} name @param {string} kind */
const guidePoint = (name, kind) => guideOf(name)?.points.find((/** @type {Any} */ p) => p.point === kind);

/** What is known of a scope together with what is not yet stored. @param {string} name @returns {Any} */
function work(name) {
  const job = structuredClone(jobs[name] ?? { unknown: true, points: [], answer: { steps: [], next: [], due: [] } });
  if (!job.points.length) {
    for (const p of guideOf(name)?.points ?? []) job.points.push({ point: p.point, required: p.routine, not_applicable: p.not_applicable });
  }
  for (const { act } of queue) {
    if (act.scope !== name) continue;
    const p = job.points.find((/** @type {Any} */ p) => p.point === act.point);
    const sample = p?.samples?.find((/** @type {Any} */ s) => s.id === act.sample);
    if (act.act === "collect" && p) (p.samples ??= []).push({ id: act.id, kit: act.kit, lot: act.lot, collected: act.at, unsent: true });
    else if (act.act === "not-applicable" && p) (p.samples ??= []).push({ id: act.id, not_applicable: act.why, collected: act.at, unsent: true });
    else if (act.act === "mark" && sample) {
      if (act.mark === "shaken") sample.shaken = (act.at - sample.activated) / SECOND + "s";
      else sample[act.mark] = act.at;
      sample.standing = undefined;
    } else if (act.act === "read" && sample) (sample.readings ??= []).push({ value: act.value + " RLU", unsent: true });
    else if (act.act === "step") {
      const s = job.answer.steps.find((/** @type {Any} */ s) => s.step === act.step.kind);
      if (s) Object.assign(s, { status: act.step.end ? "not yet stored" : "running", record: act.id, start: act.step.start, end: act.step.end });
    }
  }
  return job;
}

/** The sample of a point that is being worked on: the last one without a reading. @param {Any} p */
const openSample = (p) => (p.samples ?? []).findLast((/** @type {Any} */ s) => !s.readings?.length && s.standing?.State !== "void" && !s.not_applicable);

/** What can be done next with a sample, the usual thing first. @param {Any} sample @param {Any} guide @returns {{mark: string, label: string}[]} */
function nextMarks(sample, guide) {
  if (guide?.protocol.method === "rinsate" && !sample.dipped && !sample.activated) {
    const dip = { mark: "dipped", label: "Dipped" };
    if (sample.capped && !sample.uncapped) return [{ mark: "uncapped", label: "Container opened" }];
    return sample.capped ? [dip] : [dip, { mark: "capped", label: "Container closed" }];
  }
  if (!sample.activated) return [{ mark: "activated", label: "Activated" }];
  if (!sample.shaken && span(guideOf(tag)?.shake)) return [{ mark: "shaken", label: "Shaken" }];
  return [];
}

/** When the running clock of a sample ends, 0 when none runs. @param {Any} sample @param {Any} guide */
function deadlineOf(sample, guide) {
  if (sample.standing?.Deadline) return sample.standing.Deadline;
  let first = 0;
  for (const c of guide?.clocks ?? []) {
    const from = sample[c.from];
    if (!from || sample[c.to] || c.to === "read" && sample.readings?.length) continue;
    let end = from + span(c.within);
    const pauses = c.capped_within && sample.capped >= from;
    if (pauses) end = sample.uncapped ? end + sample.uncapped - sample.capped : sample.capped + span(c.capped_within);
    first = first ? Math.min(first, end) : end;
  }
  return first;
}

// ---- acts -----------------------------------------------------------------------------------------

/** Keeps an act and sends it as soon as that is possible. @param {Any} act */
async function commit(act) {
  const entry = { act: { id: newID(), by: data.person, at: now(), ...act } };
  const n = await written(store("acts", "readwrite"), (s) => s.add(entry));
  queue.push({ n, ...entry });
  show();
  await send();
}

/** @param {Any} entry */
async function forget(entry) {
  await written(store("acts", "readwrite"), (s) => s.delete(entry.n));
  queue = queue.filter((e) => e.n !== entry.n);
}

/** @param {Any} entry */
async function change(entry) {
  await written(store("acts", "readwrite"), (s) => s.put(entry));
  queue = queue.map((e) => (e.n === entry.n ? entry : e));
}

let sending = false;
let wanted = false;

/** Sends what is not yet stored, in order. What a person has to look at stays, with all that rests on it. */
async function send() {
  if (sending) {
    wanted = true;
    return;
  }
  sending = true;
  try {
    do {
      wanted = false;
      await sendAll();
    } while (wanted);
  } finally {
    sending = false;
    show();
  }
}

async function sendAll() {
  // A page that has been open in another tab may have sent some of it.
  queue = await done(store("acts").getAll());
  const waiting = new Set();
  for (const entry of queue.slice()) {
    const { act } = entry;
    if (entry.problem || entry.retype || waiting.has(act.sample) || act.by !== data.person) {
      waiting.add(act.id);
      continue;
    }
    /** @type {Response} */
    let answer;
    try {
      answer = await fetch(at.acts, { method: "POST", headers: { "Content-Type": "application/json", Accept: "application/json", ...seen() }, body: JSON.stringify(act) });
    } catch {
      trouble = "offline";
      return;
    }
    if (answer.status === 401) {
      trouble = "locked";
      return;
    }
    if (answer.status >= 500 || answer.status === 429) {
      trouble = "offline";
      return;
    }
    trouble = "";
    const body = await answer.json();
    remember(body.seen);
    if (body.job) await learnJob(body.job, ++turn);
    if (body.stored) {
      await forget(entry);
      tell(act, body);
    } else if (body.retype) {
      await change({ ...entry, retype: body.retype });
    } else if (await pressedAgain(answer.status, act)) {
      await forget(entry);
    } else {
      waiting.add(act.id);
      await change({ ...entry, problem: body });
    }
    show();
  }
}

/**
 * Says whether an act that was refused is a mark which the sample has, of the same moment or an earlier one, from which its clocks run:
 * then the act is dropped. One of an earlier moment than what is on record waits for somebody who looks at it.
 * @param {number} status @param {Any} act
 */
async function pressedAgain(status, act) {
  if (status !== 409 || act.act !== "mark") return false;
  await askJob(act.scope);
  const of = jobs[act.scope]?.points.flatMap((/** @type {Any} */ p) => p.samples ?? []).find((/** @type {Any} */ s) => s.id === act.sample);
  const at = of && markedAt(of, act.mark);
  if (!at || at > act.at) return false;
  twice(act.point, of, act.mark);
  return true;
}

/** Counts what was asked, and what became of acts; learned is, by scope, from which of them on its job is. */
let turn = 0;
/** @type {Record<string, number>} */
const learned = {};

/** Takes up a job unless it was asked for before what is known: it might not know of the last act. @param {Any} job @param {number} from */
async function learnJob(job, from) {
  if (from < (learned[job.answer.scope] ?? 0)) return false;
  learned[job.answer.scope] = from;
  jobs[job.answer.scope] = job;
  await keep("job." + job.answer.scope, job);
  return true;
}

/** Asks anew what is known. */
async function ask() {
  try {
    const sent = Date.now() * 1000;
    const answer = await fetch(at.state, { headers: { Accept: "application/json", "X-Background": "yes", ...seen() } });
    if (answer.status === 401) {
      trouble = "locked";
      return show();
    }
    if (!answer.ok) throw new Error(String(answer.status));
    learn(await answer.json(), sent);
    remember(data.seen);
    trouble = "";
    await keep("state", data);
    if (tag) await askJob(tag, { "X-Background": "yes" });
  } catch {
    trouble = "offline";
  }
  show();
  if (!trouble) await send();
}

/** @param {string} name @param {Record<string, string>} [headers] */
async function askJob(name, headers = {}) {
  const from = ++turn;
  const answer = await fetch(at.jobs + encodeURIComponent(name), { headers: { Accept: "application/json", ...seen(), ...headers } });
  if (answer.ok && !(await learnJob(await answer.json(), from))) await askJob(name, headers);
}

// ---- scanning -------------------------------------------------------------------------------------

/** Scans come faster than disks write: each waits for the one before it. @type {Promise<unknown>} */
let before = Promise.resolve();

/** @param {string} text */
function scan(text) {
  before = before.then(() => scanned(text)).catch((error) => say("problem", String(error)));
}

/** @param {string} text */
async function scanned(text) {
  const word = text.trim();
  const upper = word.toUpperCase();
  if (!word) return;
  if (upper.startsWith("ACT-")) return command(upper.slice(4));
  const same = (/** @type {string | undefined} */ x) => x !== undefined && x !== "" && x.toUpperCase() === upper;
  const which = data.which?.[upper];
  const scope = data.scopes.find((/** @type {Any} */ s) => same(s.tag) || same(s.serial) || s.barcode === word);
  const lots = data.lots.filter((/** @type {Any} */ l) => same(l.lot) || same(l.kit + " " + l.lot));
  const found = data.meters.find((/** @type {Any} */ m) => same(m.code));
  const current = tag ? work(tag).points.find((/** @type {Any} */ p) => p.point === point) : undefined;
  const sample = current && openSample(current);
  if (which) {
    return say("problem", `Which scope? ${word} stands for ${which.join(" and ")}. Compare the serial number on the scope, type its tag, and have the entry set right.`);
  }
  if (scope) return choose(scope.tag);
  if (lots.length > 1) return say("problem", `Lot ${word} exists for several kits: ${lots.map((/** @type {Any} */ l) => l.kit).join(", ")}. Type the kit and the lot.`);
  if (lots.length) return chooseLot(lots[0]);
  if (found) return chooseMeter(found);
  // Only what is nothing else can be a value: a lot number must never become one.
  if (/^\d{1,7}$/.test(word) && sample?.activated && !nextMarks(sample, guidePoint(tag, point)).length) return read(sample, word);
  say("problem", `${word} is not known here: no scope, no lot and no meter. Do not use it before somebody has registered it.${tag ? ` Still ${tag}.` : ""}`);
}

/** @param {string} name */
async function choose(name) {
  tag = name;
  choices.set("tag", tag);
  if (!jobs[tag]) jobs[tag] = (await kept("job." + tag)) ?? jobs[tag];
  pick();
  say("", `${tag} is on the bench.`);
  show();
  const first = point;
  // Whoever has gone to another point before the answer came stays there.
  askJob(name).then(() => tag === name && point === first && pick()).then(show, () => {
    trouble = "offline";
    show();
  });
}

/** Chooses the first point that still lacks something. */
function pick() {
  const points = work(tag).points.filter((/** @type {Any} */ p) => p.required && !p.not_applicable);
  const next = points.find(openSample) ?? points.find((/** @type {Any} */ p) => !p.carried && !p.samples?.some((/** @type {Any} */ s) => s.readings?.length)) ?? points[0];
  goTo(next?.point ?? "");
}

/** @param {string} kind */
function goTo(kind) {
  point = kind;
  digits = "";
  choices.set("point", point);
}

/** @param {Any} l */
function chooseLot(l) {
  if (l.fault || l.expires <= now()) {
    [kit, lot] = ["", ""];
    choices.set("kit", ""), choices.set("lot", "");
    const since = new Date((l.recalled ?? l.expires) / 1000).toLocaleDateString("en-GB", { timeZone: data.zone });
    return say("problem", `Lot ${l.lot} of ${l.kit} ${l.recalled ? "is recalled" : "has expired"} since ${since}. Take another lot.`);
  }
  [kit, lot] = [l.kit, l.lot];
  choices.set("kit", kit), choices.set("lot", lot);
  say("", `Lot ${lot} of ${kit}.`);
  show();
}

/** @param {Any} m */
function chooseMeter(m) {
  if (m.state.condition !== "checked" || m.state.until && m.state.until <= now()) {
    meter = "";
    choices.set("meter", "");
    return say("problem", `Meter ${m.code}: ${m.state.why}. `, h("a", { href: at.meters + encodeURIComponent(m.code) + "#check" }, "Check it before it is used"), ".");
  }
  meter = m.code;
  choices.set("meter", meter);
  say("", `Meter ${meter}.`);
  show();
}

/** @param {string} word */
async function command(word) {
  const p = tag && work(tag).points.find((/** @type {Any} */ p) => p.point === point);
  const sample = p && openSample(p);
  if (word === "PERSON") return leave();
  const marks = /** @type {Record<string, string>} */ ({ DIPPED: "dipped", CLOSED: "capped", OPENED: "uncapped", ACTIVATED: "activated", SHAKEN: "shaken" });
  if (!p) return say("problem", "Scan a scope first.");
  if (word === "COLLECTED") return sample ? say("problem", "A sample of this point is open already.") : collect(p);
  if (word === "NEXT") return pick(), show();
  if (word === "CLEAR") return (digits = ""), show();
  if (/^DIGIT-\d$/.test(word)) return (digits += word.slice(6)), show();
  if (word === "ENTER" && digits) return sample ? read(sample, digits) : undefined;
  if (word.startsWith("POINT-")) {
    const kind = word.slice(6).toLowerCase();
    if (!work(tag).points.some((/** @type {Any} */ p) => p.point === kind)) return say("problem", `${tag} has no such sampling point.`);
    goTo(kind);
    return show();
  }
  if (marks[word] && sample) return markedAt(sample, marks[word]) ? twice(point, sample, marks[word]) : mark(sample, marks[word]);
  say("problem", "That is not what comes next here.");
}

/** @param {Any} p */
async function collect(p) {
  if (!lot) return say("problem", "Scan the kit lot first.");
  const chosen = data.lots.find((/** @type {Any} */ l) => l.kit === kit && l.lot === lot);
  if (!chosen || chosen.fault || chosen.expires <= now()) return chosen ? chooseLot(chosen) : say("problem", `Lot ${lot} is not known. Take another lot.`);
  const asked = flushOf(p.point);
  const volume = /** @type {HTMLInputElement | null} */ (document.querySelector("#flushed"))?.value.trim().replace(",", ".") || String(asked);
  if (!asked) return commit({ act: "collect", scope: tag, point: p.point, kit, lot });
  if (!(Number(volume) > 0)) return say("problem", "How many millilitres were flushed?");
  await commit({ act: "collect", scope: tag, point: p.point, kit, lot, flushed_ml: String(Number(volume)) });
}

/** The water that the protocol of a point sends through the channel to be collected, in millilitres. @param {string} point */
const flushOf = (point) => Number(guidePoint(tag, point)?.flush_ml ?? 0);

/** When a sample got a mark, 0 where it has none. @param {Any} sample @param {string} what @returns {number} */
const markedAt = (sample, what) => (what === "shaken" ? sample.shaken && sample.activated + span(sample.shaken) : sample[what]) || 0;

/** Whoever presses twice hears that the first press counts. @param {string} where @param {Any} sample @param {string} what */
const twice = (where, sample, what) => say("", `${spaced(where)}: ${what} at ${wall(markedAt(sample, what))} is on record already. Nothing is lost, and nothing more is to be done.`);

/** @param {Any} sample @param {string} what */
const mark = (sample, what) => commit({ act: "mark", scope: tag, point, sample: sample.id, mark: what });

/** @param {Any} sample @param {string} value @param {string} [again] */
async function read(sample, value, again) {
  const m = data.meters.find((/** @type {Any} */ m) => m.code === meter);
  if (!m) return say("problem", "Scan the meter first.");
  if (m.state.condition !== "checked" || m.state.until && m.state.until <= now()) return chooseMeter(m);
  if (!/^\d{1,7}$/.test(value)) return say("problem", "A reading is a whole number of at most seven digits.");
  digits = "";
  const act = { act: "read", scope: tag, point, sample: sample.id, meter, value };
  // Without a network nobody can say whether the value is unusual, so that it is always typed twice.
  if (trouble === "offline" && !again) return retype({ act }, "the network is down");
  await commit(again ? { ...act, again } : act);
}

/** A value that is to be typed a second time before it is kept. @type {{act: Any, why: string} | undefined} */
let second;

/** @param {Any} entry @param {string} why */
function retype(entry, why) {
  second = { act: entry.act, why };
  show();
  document.getElementById("again")?.focus();
}

// ---- showing --------------------------------------------------------------------------------------

/** Does a thing once however often somebody presses, until it is done. @param {(e: any) => any} act */
function once(act) {
  let busy = false;
  return async (/** @type {Event} */ e) => {
    e.preventDefault();
    if (busy) return;
    busy = true;
    try {
      await act(e);
    } finally {
      busy = false;
    }
  };
}

/** @param {string} name @param {Any} [attributes] @param {...(Node | string | undefined | null | false)} children */
function h(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), once(value));
    else if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== undefined && value !== "") element.setAttribute(key, value);
  }
  element.append(.../** @type {(Node | string)[]} */ (children.filter((c) => c !== undefined && c !== null && c !== false)));
  return element;
}

/** @param {string} id */
const byID = (id) => /** @type {HTMLElement} */ (document.getElementById(id));

/** The mark of a state or an outcome; what has none is shown as not known. @param {string} word */
const markOf = (word) => data.marks?.[word] ?? { word, shape: "○", class: "unknown" };
/** What a step is called. @param {string} kind */
const stepName = (kind) => data.steps?.[kind] ?? spaced(kind);

/** @param {string} word */
function badge(word) {
  const mark = markOf(word);
  return h("span", { class: "mark " + mark.class }, h("span", { "aria-hidden": "true" }, mark.shape), " " + mark.word);
}

const spaced = (/** @type {string} */ s) => s.replaceAll("-", " ");
/** The time of the site, whatever the clock and the zone of this browser are. @param {number} i */
const wall = (i) => new Date(i / 1000).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", second: "2-digit", timeZone: data.zone });

/** @param {number} us */
function left(us) {
  const s = Math.floor(Math.abs(us) / SECOND);
  const text = s < 3600 ? `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}` : `${Math.floor(s / 3600)} h ${Math.floor((s % 3600) / 60)} min`;
  return us < 0 ? `over by ${text}` : `${text} left`;
}

/** @param {string} kind @param {...(Node | string)} words */
function say(kind, ...words) {
  byID("said").replaceChildren(h("p", { class: kind || "said" }, ...words));
}

/** Tells what became of an act. @param {Any} act @param {Any} answer */
function tell(act, answer) {
  if (!answer.outcome) {
    if (answer.held) say("problem", `${act.scope}: ${answer.held}.`);
    else if (answer.why) say("problem", `${act.scope}: ${answer.why}. `, h("strong", {}, "Next: "), answer.job?.answer?.next?.[0] ?? "");
    return;
  }
  const { verification, answer: release } = answer.job ?? {};
  // What passed ends a verification; whether the scope goes on or has to be cleaned first, the whole answer knows.
  const next = (verification?.complete && release?.next?.[0]) || (verification?.next?.words ?? "");
  byID("said").replaceChildren(
    h("div", { class: "outcome " + markOf(answer.outcome).class },
      h("p", { class: "big" }, `${act.value} RLU `, badge(answer.outcome)),
      h("p", {}, `${act.scope}, ${spaced(act.point ?? "")}: ${answer.why}`),
      next && h("p", {}, h("strong", {}, "Next: "), next)));
  if (act.scope === tag && answer.outcome !== "void") pick();
}

const verbs = /** @type {Record<string, (a: Any) => string>} */ ({
  collect: (a) => `collected ${spaced(a.point)}`,
  "not-applicable": (a) => `${spaced(a.point)} was not sampled`,
  mark: (a) => `${spaced(a.point)} ${a.mark}`,
  read: (a) => `${spaced(a.point)} read ${a.value} RLU`,
  "correct-reading": (a) => `corrected to ${a.value} RLU`,
  step: (a) => `${stepName(a.step.kind)} ${a.step.end ? "ended" : "began"}`,
  void: () => "took back a record",
  hold: () => "put on hold",
});

function showUnsent() {
  const section = byID("unsent");
  section.hidden = !queue.length;
  section.querySelector("ul")?.replaceChildren(...queue.map((entry) => {
    const { act, problem } = entry;
    const others = act.by !== data.person;
    return h("li", { class: problem || entry.retype ? "over" : "" },
      `${act.scope}: ${verbs[act.act]?.(act) ?? act.act}, ${wall(act.at)}, by ${act.by}. `,
      others && h("strong", {}, `Waits until ${act.by} signs in. `),
      entry.retype && h("span", {}, h("strong", {}, `Type it again: ${entry.retype}. `), again(entry)),
      problem && h("p", {}, h("strong", {}, problem.message), " ", problem.hint ?? ""),
      problem && h("div", { class: "row" },
        h("button", { type: "button", onclick: () => change({ ...entry, problem: undefined }).then(send) }, "Try again"),
        problem.status === 409 && act.act === "read" && h("button", { type: "button", class: "plain", onclick: () => change({ ...entry, problem: undefined, act: { ...act, duplicate: true } }).then(send) }, "Keep both readings"),
        h("button", { type: "button", class: "plain", onclick: () => forget(entry).then(ask) }, "Drop mine")));
  }));
}

/** Asks for a value the second time. @param {Any} entry */
function again(entry) {
  const field = /** @type {HTMLInputElement} */ (h("input", { id: "again-" + entry.n, inputmode: "numeric", "aria-label": "The value again", autocomplete: "off" }));
  return h("form", { class: "row", onsubmit: async (/** @type {Event} */ e) => {
    e.preventDefault();
    const value = field.value.trim();
    field.value = "";
    if (!value) return;
    if (Number(value) === Number(entry.act.value)) await change({ ...entry, retype: undefined, act: { ...entry.act, again: value } }).then(send);
    else {
      await forget(entry);
      say("problem", `The two entries differ: ${entry.act.value} and ${value}. Look at the meter and type the value again.`);
      show();
    }
  } }, field, h("button", {}, "Store"));
}

/** Every sample whose clock runs, on any scope. */
function running() {
  /** @type {Any[]} */
  const list = [];
  const seen = new Set();
  for (const name of new Set([...data.open.map((/** @type {Any} */ o) => o.scope), ...queue.map((e) => e.act.scope)])) {
    const job = work(name);
    for (const p of job.points) {
      for (const s of p.samples ?? []) {
        seen.add(s.id);
        if (s.readings?.length || s.not_applicable || s.standing?.State === "void" && jobs[name]?.answer.scope === name && now() - s.collected > 4 * 3600 * SECOND) continue;
        const guide = guidePoint(name, p.point);
        list.push({ scope: name, point: p.point, next: nextMarks(s, guide)[0]?.label ?? "read", deadline: deadlineOf(s, guide), dead: s.standing?.State === "void" && s.standing.Why });
      }
    }
  }
  for (const o of data.open) {
    if (!seen.has(o.id) && !jobs[o.scope]) list.push({ scope: o.scope, point: o.point, next: o.next, deadline: o.deadline ?? 0, dead: o.state === "void" && o.next });
  }
  return list.sort((a, b) => (a.deadline || Infinity) - (b.deadline || Infinity));
}

function showRunning() {
  const list = running();
  byID("running").querySelector("ul")?.replaceChildren(...list.map((r) =>
    h("li", { "data-deadline": r.deadline ? String(r.deadline) : "" },
      h("button", { type: "button", class: "plain", onclick: () => choose(r.scope).then(() => (goTo(r.point), show())) }, `${r.scope} ${spaced(r.point)}`),
      " ", r.dead ? h("strong", {}, r.dead) : h("span", { class: "next" }, r.next.toLowerCase()), " ",
      r.deadline && !r.dead ? h("span", { class: "deadline" }, h("span", { class: "left" }, left(r.deadline - now())), ` by ${wall(r.deadline)}`) : "")));
  if (!list.length) byID("running").querySelector("ul")?.replaceChildren(h("li", { class: "none" }, "none"));
}

function showJob() {
  const place = byID("job");
  if (!tag || !guideOf(tag)) return place.replaceChildren();
  const job = work(tag);
  const answer = job.answer;
  const required = job.points.filter((/** @type {Any} */ p) => p.required && !p.not_applicable);
  const read = required.filter((/** @type {Any} */ p) => p.carried || p.samples?.some((/** @type {Any} */ s) => s.readings?.length));
  const before = /** @type {HTMLFormElement | null} */ (place.querySelector("form[data-step]"));
  const shown = `${tag} ${point}`, unfolded = place.dataset.shown === shown ? [...place.querySelectorAll("details")].map((d) => d.open && d.querySelector("summary")?.textContent) : [];
  place.replaceChildren(
    h("div", { class: "headline" }, h("h2", { id: "scope-name" }, tag), answer.state ? badge(answer.state) : badge("not known without a network"),
      h("span", { class: "by" }, `${job.test ?? "cleaning verification"}, ${read.length} of ${required.length} points read`)),
    pictureOf(job),
    answer.next?.length ? h("ol", { class: "next-acts" }, ...answer.next.map((/** @type {string} */ n) => h("li", {}, n))) : "",
    answer.due?.length ? h("p", { class: "by" }, "Due: ", answer.due.map((/** @type {Any} */ d) => d.why).join("; ")) : "",
    showSteps(job),
    h("nav", { class: "points", "aria-label": "Sampling points" }, ...job.points.map((/** @type {Any} */ p) => {
      const state = p.not_applicable ? "void" : p.outcome && p.outcome !== "none" ? p.outcome : "";
      return h("button", { type: "button", class: "plain", "aria-pressed": String(p.point === point), onclick: () => (goTo(p.point), show()) },
        spaced(p.point), state && !p.not_applicable ? " " : "", state && !p.not_applicable ? badge(state) : p.not_applicable ? " (does not apply)" : openSample(p) ? " …" : "");
    })),
    showCard(job));
  place.dataset.shown = shown;
  [...place.querySelectorAll("details")].forEach((d, i) => (d.open ||= unfolded[i] === d.querySelector("summary")?.textContent)); // what somebody opened stays open
  keepTyped(before, /** @type {HTMLFormElement | null} */ (place.querySelector("form[data-step]")));
}

/** What was typed about a step stays when the step is shown anew. @param {HTMLFormElement | null} before @param {HTMLFormElement | null} after */
function keepTyped(before, after) {
  if (!before || !after || before.dataset.step !== after.dataset.step) return;
  for (const old of /** @type {NodeListOf<HTMLInputElement>} */ (before.querySelectorAll("input, select"))) {
    const fresh = /** @type {HTMLInputElement | null} */ (after.querySelector(`[name="${CSS.escape(old.name)}"]`));
    if (!fresh || fresh.value === old.value) continue;
    fresh.value = old.value;
    fresh.dispatchEvent(new Event("change", { bubbles: true }));
  }
}

/** The cycle from patient to ready, as the server drew it. @param {Any} job */
function pictureOf(job) {
  const place = h("div", { class: "strip" }, h("div", { class: "wide" }), h("div", { class: "middle" }), h("div", { class: "narrow" }));
  if (!job.wide) return "";
  /** @type {HTMLElement} */ (place.children[0]).innerHTML = job.wide;
  /** @type {HTMLElement} */ (place.children[1]).innerHTML = job.middle;
  /** @type {HTMLElement} */ (place.children[2]).innerHTML = job.narrow;
  return place;
}

/** @param {Any} job */
function showSteps(job) {
  const steps = job.answer.steps ?? [];
  // The verification is the samples themselves: what comes after it waits for them.
  const verification = steps.findIndex((/** @type {Any} */ s) => s.step === "verification");
  const open = verification >= 0 && !["done", "not due"].includes(steps[verification].status);
  const acts = open ? steps.slice(0, verification) : steps.filter((/** @type {Any} */ s) => s.step !== "verification");
  const again = job.verification?.next?.act === "clean-and-sample-again" && { step: "manual-cleaning", status: "missing" };
  const next = acts.find((/** @type {Any} */ s) => s.status === "running") ?? acts.find((/** @type {Any} */ s) => ["missing", "failed", "out of order"].includes(s.status)) ?? again;
  if (!next) return "";
  return h("section", { class: "steps", "aria-label": "The next step" },
    h("h3", {}, `Step: ${stepName(next.step)}`), stepForm(next));
}

/** @param {Any} step */
function stepForm(step) {
  const kind = step.step;
  const begun = step.status === "running";
  const judged = ["leak-test", "inspection", "disinfection"].includes(kind);
  /** @param {string} name @param {string} label @param {Any} [attributes] */
  const field = (name, label, attributes = {}) => h("label", { class: "grow" }, label, " ", attributes.options
    ? h("select", { name, required: true }, h("option", { value: "" }, "choose"), ...attributes.options.map((/** @type {string} */ o) => h("option", { value: o }, o)))
    : h("input", { name, autocomplete: "off", ...attributes }));
  /** @type {HTMLElement[]} */
  const extra = [];
  if (kind === "disinfection") {
    extra.push(field("disinfectant", "Disinfectant", { options: data.disinfectants }), field("disinfectant_lot", "Lot", { required: true }), field("disinfectant_expires", "Expires", { type: "datetime-local", required: true }),
      field("mec", "Concentration check", { options: ["pass", "fail"] }), field("coldest_cel", "Lowest temperature, °C", { inputmode: "decimal" }),
      field("contact", "Contact time, min", { inputmode: "decimal" }), field("reprocessor", "Reprocessor"), field("cycle_number", "Its cycle"));
    // What only some disinfectants ask for is asked once one of them is chosen.
    const hottest = field("warmest_cel", "Highest temperature, °C", { inputmode: "decimal" });
    const filled = field("disinfectant_filled", "Solution filled", { type: "datetime-local" });
    const asks = () => {
      const chosen = extra[0].querySelector("select")?.value ?? "";
      hottest.hidden = !(data.hottest ?? []).includes(chosen);
      filled.hidden = !(data.reused ?? []).includes(chosen);
      for (const one of [hottest, filled]) one.querySelector("input")?.toggleAttribute("disabled", one.hidden === true); // what is not asked is not sent
    };
    extra[0].addEventListener("change", asks);
    asks();
    extra.push(hottest, filled);
  }
  if (kind === "storage") extra.push(field("cabinet", "Cabinet", { options: data.cabinets }));
  const ending = begun || ["storage", "issue"].includes(kind);
  /** @param {SubmitEvent} e */
  const submit = async (e) => {
    e.preventDefault();
    const form = new FormData(/** @type {HTMLFormElement} */ (e.target));
    const chosen = /** @type {HTMLButtonElement | null} */ (e.submitter)?.value ?? "begin";
    const moment = now();
    /** @type {Any} */
    const s = { kind, start: begun ? step.start : moment };
    if (begun) s.finishes = step.record;
    if (begun && kind !== "storage") s.end = moment;
    if (chosen === "at once") s.end = moment;
    if (judged && chosen !== "begin") s.result = chosen === "fail" ? "fail" : "pass";
    if (kind === "disinfection" && chosen !== "begin") {
      for (const key of ["disinfectant", "disinfectant_lot", "mec", "reprocessor", "cycle_number"]) if (form.get(key)) s[key] = String(form.get(key)).trim();
      if (form.get("disinfectant_expires")) s.disinfectant_expires = new Date(String(form.get("disinfectant_expires"))).getTime() * 1000;
      if (form.get("disinfectant_filled")) s.disinfectant_filled = new Date(String(form.get("disinfectant_filled"))).getTime() * 1000;
      if (form.get("warmest_cel")) s.warmest_cel = String(form.get("warmest_cel")).trim();
      if (form.get("coldest_cel")) (s.coldest_cel = String(form.get("coldest_cel")).trim()), (s.has_temperature = true);
      if (form.get("contact")) s.contact = String(form.get("contact")).trim() + "min";
    }
    if (kind === "storage") s.cabinet = String(form.get("cabinet"));
    await commit({ act: "step", scope: tag, step: s });
  };
  return h("form", { class: "row", onsubmit: submit, "data-step": `${tag} ${kind} ${step.status} ${step.record ?? ""}` },
    ...(ending ? extra : []),
    !begun && kind !== "storage" && h("button", { value: "begin" }, "Begin " + stepName(kind)),
    !begun && kind === "storage" && h("button", { value: "begin" }, "Put into the cabinet"),
    begun && judged && h("button", { value: "pass" }, "Passed"),
    begun && judged && h("button", { value: "fail", class: "plain", formnovalidate: true }, "Failed"),
    begun && !judged && h("button", { value: "end" }, "Done: " + stepName(kind)),
    begun && h("span", { class: "by" }, `since ${wall(step.start)}`));
}

/** Drawings by their address. @type {Record<string, string>} */
const drawings = {};

/** @param {string} model @param {string} kind @param {HTMLElement} place */
async function draw(model, kind, place) {
  const address = at.drawings + encodeURIComponent(model) + "/" + encodeURIComponent(kind);
  if (!drawings[address]) {
    try {
      const answer = await fetch(address);
      if (!answer.ok || answer.redirected) return; // the session was locked meanwhile: that is its page
      drawings[address] = await answer.text();
    } catch {
      return;
    }
  }
  place.innerHTML = drawings[address];
}

/** @param {Any} job */
function showCard(job) {
  const p = job.points.find((/** @type {Any} */ p) => p.point === point);
  const guide = guidePoint(tag, point);
  if (!p || !guide) return "";
  const picture = h("div", { class: "drawing" });
  draw(guideOf(tag).model, point, picture);
  const protocol = guide.protocol;
  const quantities = (/** @type {Any} */ a) => [a.volume_ml && `${a.volume_ml} mL ${spaced(a.medium ?? "")}`, a.length_mm && `${a.length_mm} mm`, a.at_most_mm && `at most ${a.at_most_mm} mm`, a.lasts, a.discard && "discard"].filter(Boolean).join(", ");
  return h("section", { class: "card point", "aria-labelledby": "point-name" },
    h("h3", { id: "point-name" }, spaced(point)),
    p.not_applicable ? h("p", {}, `Does not apply: ${p.not_applicable}`) : "",
    h("details", { open: !p.samples?.length }, h("summary", {}, "How to sample"),
      h("p", {}, h("strong", {}, "At hand: "), protocol.at_hand.join("; ")),
      h("ol", {}, ...protocol.acts.map((/** @type {Any} */ a) => h("li", {}, a.do, quantities(a) ? h("b", {}, ` (${quantities(a)})`) : "", a.invalid ? h("span", { class: "by" }, ` Void if: ${a.invalid}.`) : ""))),
      h("p", { class: "by" }, `Source: ${protocol.citation}${protocol.verified ? "" : " (not verified by the facility)"}. The instructions of the manufacturers of scope and kit override these steps. Wear gloves, a fluid-resistant gown and eye protection.`)),
    ...(p.samples ?? []).map((/** @type {Any} */ s) => showSample(s, guide)),
    !p.not_applicable && !openSample(p) ? newSample(p) : "",
    picture);
}

/** @param {Any} p */
function newSample(p) {
  const asked = flushOf(p.point);
  return h("div", { class: "row acts" },
    h("p", { class: "grow" }, lot ? `Kit ${kit}, lot ${lot}` : "Scan the kit lot first"),
    h("button", { type: "button", id: "collect", disabled: !lot, onclick: () => collect(p) }, p.samples?.length ? "Collected another" : "Collected", asked ? `: ${asked} mL flushed` : ""),
    asked ? h("details", {}, h("summary", {}, "Another volume"), h("label", {}, "mL flushed ", h("input", { id: "flushed", inputmode: "decimal", autocomplete: "off" })), h("p", { class: "by" }, `The protocol asks for ${asked} mL. More than a tenth off, the sample does not count.`)) : "",
    !p.samples?.length && h("details", {}, h("summary", {}, "Cannot be sampled"), h("p", { class: "by" }, "The point stays missing. Only the model says that a point does not apply: the lead can change it there."), reason("Why?", "Store", (why) => commit({ act: "not-applicable", scope: tag, point: p.point, why }))));
}

/** @param {string} label @param {string} button @param {(why: string) => any} then */
function reason(label, button, then) {
  const field = /** @type {HTMLInputElement} */ (h("input", { required: true, autocomplete: "off", "aria-label": label }));
  return h("form", { class: "row", onsubmit: () => {
    const why = field.value.trim();
    field.value = "";
    return why && then(why);
  } }, field, h("button", {}, button));
}

/** @param {Any} s @param {Any} guide */
function showSample(s, guide) {
  if (s.not_applicable) return h("div", { class: "sample" }, h("p", {}, `Not sampled at ${wall(s.collected)}: ${s.not_applicable}. The point stays missing.`, s.unsent ? " (not yet stored)" : ""));
  const readings = (s.readings ?? []).map((/** @type {Any} */ r) =>
    h("li", {}, h("strong", {}, r.value), " ", r.unsent ? "not yet stored" : badge(r.outcome), " ", h("span", { class: "by" }, r.unsent ? "" : `${r.why}, by ${r.by}`), r.near ? h("b", {}, " Take a duplicate: a level is within the imprecision of one reading.") : "",
      !r.unsent && correction(s, r)));
  const dead = s.standing?.State === "void" && !readings.length;
  const marks = dead || readings.length ? [] : nextMarks(s, guide);
  const deadline = dead || readings.length ? 0 : deadlineOf(s, guide);
  const shaking = s.activated && !s.shaken ? s.activated + span(guideOf(tag)?.shake) : 0;
  return h("div", { class: "sample", "data-deadline": deadline ? String(deadline) : "" },
    h("p", {}, `Sample of ${wall(s.collected)}, lot ${s.lot}`, s.unsent ? " (not yet stored)" : "", " ",
      deadline ? h("span", { class: "deadline" }, h("span", { class: "left" }, left(deadline - now())), ` by ${wall(deadline)}`) : ""),
    dead && h("p", { class: "problem" }, s.standing.Why, ". Take a new sample."),
    h("ul", { class: "list" }, ...readings),
    marks.length ? h("div", { class: "row acts" }, ...marks.map((m, i) => h("button", { type: "button", class: i ? "plain" : "", id: i ? "" : "mark", disabled: m.mark === "shaken" && now() < shaking, "data-from": m.mark === "shaken" ? String(shaking) : "", onclick: () => mark(s, m.mark) }, m.label)),
      marks[0].mark === "shaken" && h("span", { class: "by" }, `Shake for at least ${guideOf(tag)?.shake}.`)) : "",
    !dead && !readings.length && !marks.length ? valueForm(s) : "",
    !s.unsent && !readings.length && h("details", {}, h("summary", {}, "Taken by mistake"), reason("Why?", "Take back", (why) => commit({ act: "void", scope: tag, point, record: s.id, why }))));
}

/** @param {Any} s @param {Any} r */
function correction(s, r) {
  const value = /** @type {HTMLInputElement} */ (h("input", { inputmode: "numeric", "aria-label": "The right value", autocomplete: "off" }));
  return h("details", {}, h("summary", {}, "Wrong value"),
    h("label", {}, "The right value; empty takes the reading back ", value),
    reason("Why?", "Store", (why) => {
      const right = value.value.trim();
      value.value = "";
      return commit(right
        ? { act: "correct-reading", scope: tag, point, sample: s.id, meter: r.meter, value: right, again: right, record: r.id, why, at: r.at }
        : { act: "void", scope: tag, point, record: r.id, why });
    }));
}

/** @param {Any} s */
function valueForm(s) {
  const twice = second && second.act.sample === s.id;
  const field = /** @type {HTMLInputElement} */ (h("input", { id: twice ? "again" : "value", inputmode: "numeric", autocomplete: "off", required: true, "aria-label": twice ? "The value again" : "Value in RLU" }));
  field.value = digits;
  return h("form", { class: "row acts", onsubmit: async (/** @type {Event} */ e) => {
    e.preventDefault();
    const text = field.value.trim();
    field.value = "";
    if (!text) return;
    if (!twice) return read(s, text);
    const first = second?.act;
    second = undefined;
    if (Number(first?.value) !== Number(text)) return say("problem", `The two entries differ: ${first?.value} and ${text}. Look at the meter and type the value again.`), show();
    await read(s, first?.value, text);
  } },
    h("p", { class: "grow" }, meter ? `Meter ${meter}` : "Scan the meter first"),
    twice && h("p", {}, h("strong", {}, `Type ${second?.act.value} again: ${second?.why}.`)),
    field, h("span", {}, "RLU"), h("button", { disabled: !meter }, "Store"));
}

function showNetwork() {
  byID("copied").hidden = !data?.copied;
  byID("copied").textContent = data?.copied ?? "";
  const n = queue.length;
  const words = n ? `${n} not yet stored` : "all stored";
  byID("network").replaceChildren(trouble === "offline" ? h("span", { class: "mark work" }, h("span", { "aria-hidden": "true" }, "!"), ` no network: ${words}`) : trouble ? h("span", { class: "mark work" }, h("span", { "aria-hidden": "true" }, "!"), ` locked: ${words}`) : h("span", { class: "by" }, words));
}

/** Locks the bench for whoever comes next. */
async function leave() {
  try {
    await fetch(at.lock, { method: "POST", headers: { Accept: "application/json" } });
  } catch {
    return say("problem", "There is no network: nobody else can sign in now.");
  }
  trouble = "locked";
  show();
  byID("door").querySelector("input")?.focus();
}

/** Opens the locked bench again, or lets the next person take over; what is open stays. */
function showDoor() {
  const place = byID("door");
  if (trouble !== "locked") return place.replaceChildren();
  if (place.firstChild) return;
  /** @param {string} address */
  const enter = (address) => async (/** @type {Event} */ e) => {
    e.preventDefault();
    const form = new URLSearchParams(/** @type {any} */ (new FormData(/** @type {HTMLFormElement} */ (e.target))));
    const answer = await fetch(address, { method: "POST", headers: { Accept: "application/json" }, body: form }).catch(() => undefined);
    const body = await answer?.json();
    if (!answer?.ok) return say("problem", body?.message ?? "There is no network.");
    trouble = "";
    place.replaceChildren();
    say("", `${body.person} is at the bench.`);
    await ask();
  };
  const byPasskey = async () => {
    const { prove, words } = await import(at.device);
    try {
      const { person } = await prove("use", at.ask, at.tell);
      trouble = "";
      place.replaceChildren();
      say("", `${person} is at the bench.`);
      await ask();
    } catch (error) {
      say("problem", words(error));
    }
  };
  place.replaceChildren(h("div", { class: "card" }, h("h2", {}, "Locked"), h("p", {}, "What is open here stays open."),
    h("form", { class: "row", onsubmit: enter(at.switch) }, h("label", { class: "grow" }, "Badge ", h("input", { name: "badge", autocomplete: "off", required: true })), h("label", { class: "grow" }, "PIN ", h("input", { name: "pin", type: "password", inputmode: "numeric", autocomplete: "off", required: true })), h("button", {}, "Take over")),
    h("form", { class: "row", onsubmit: enter(at.unlock) }, h("label", { class: "grow" }, `PIN or password of ${data.person} `, h("input", { name: "secret", type: "password", autocomplete: "current-password", required: true })), h("button", { class: "plain" }, "Open")),
    data.passkeys && typeof PublicKeyCredential === "function" && h("p", {}, h("button", { type: "button", class: "plain", id: "passkey", onclick: byPasskey }, `Open with a passkey of ${data.person}`)),
    h("p", {}, h("a", { class: "button plain", href: at.signin }, "Sign in"))));
}

/** The fields of the work on a scope that are called the same. @param {string} name */
function fieldsLike(name) {
  return /** @type {HTMLElement[]} */ ([...byID("job").querySelectorAll("input, select")]).filter((field) => calledAs(field) === name);
}

/** @param {Element} field */
const calledAs = (field) => field.getAttribute("name") ?? field.getAttribute("aria-label") ?? "";

/** Which of the fields that are called the same has the focus. @param {Element | null} active */
function placeOf(active) {
  if (!active || !byID("job").contains(active) || !active.matches("input, select")) return undefined;
  const name = calledAs(active);
  return { name, at: fieldsLike(name).indexOf(/** @type {HTMLElement} */ (active)) };
}

/** Shows everything, and leaves alone what somebody is typing. */
function show() {
  const active = document.activeElement;
  const typed = active instanceof HTMLInputElement ? active.closest("form, details")?.querySelectorAll("input:not([type=checkbox], [type=radio], [type=hidden])") : undefined;
  const busy = byID("job").contains(active) && [active, ...(typed ?? [])].some((field) => field instanceof HTMLInputElement && field.value !== "");
  const id = active?.id, place = placeOf(active);
  showNetwork();
  showUnsent();
  showRunning();
  showDoor();
  if (!busy) showJob();
  if (document.activeElement !== active) (id ? document.getElementById(id) : place && fieldsLike(place.name)[place.at])?.focus();
  byID("sound").textContent = choices.get("muted") ? "Sound is off" : "Sound is on";
}

// ---- clocks and sound -----------------------------------------------------------------------------

/** @type {AudioContext | undefined} */
let audio;
/** Deadlines that were told already. */
const told = new Set();

/** @param {number} pitch */
function beep(pitch) {
  // Before somebody has touched the page or scanned, browsers let it make no sound.
  if (choices.get("muted") || !navigator.userActivation?.hasBeenActive) return;
  audio ??= new AudioContext();
  const tone = audio.createOscillator();
  const volume = audio.createGain();
  tone.frequency.value = pitch;
  volume.gain.value = 0.2;
  tone.connect(volume).connect(audio.destination);
  tone.start();
  tone.stop(audio.currentTime + 0.25);
}

function tick() {
  for (const element of document.querySelectorAll("[data-deadline]")) {
    const deadline = Number(/** @type {HTMLElement} */ (element).dataset.deadline);
    if (!deadline) continue;
    const rest = deadline - now();
    const place = element.querySelector(".left");
    if (place) place.textContent = left(rest);
    element.classList.toggle("soon", rest < data.warn);
    element.classList.toggle("over", rest < 0);
    for (const [limit, pitch] of [[data.warn, 660], [0, 990]]) {
      const key = deadline + "/" + limit;
      if (rest < limit && rest > limit - 5 * SECOND && !told.has(key)) {
        told.add(key);
        beep(pitch);
      }
    }
  }
  for (const button of document.querySelectorAll("[data-from]")) {
    const from = Number(/** @type {HTMLElement} */ (button).dataset.from);
    if (from && now() >= from) /** @type {HTMLButtonElement} */ (button).disabled = false;
  }
}

// ---- beginning ------------------------------------------------------------------------------------

async function begin() {
  await openKept();
  const sent = Date.now() * 1000;
  const fresh = JSON.parse(byID("bench-data").textContent ?? "");
  const last = await kept("state");
  // A page that comes out of the cache without a network is older than what was last known.
  if (last && last.now > fresh.now) data = last;
  else {
    data = fresh;
    if (performance.now() < 4000) ahead = choices.get("ahead") ? ahead : Math.round(fresh.now - sent);
    await keep("state", data);
  }
  queue = await done(store("acts").getAll());
  if (tag) jobs[tag] = (await kept("job." + tag)) ?? jobs[tag];
  show();
  byID("scan-form").addEventListener("submit", (e) => {
    e.preventDefault();
    const field = /** @type {HTMLInputElement} */ (byID("scan"));
    const text = field.value;
    field.value = "";
    scan(text);
  });
  // What is entered is done with: whatever is scanned next must not land in the field it was typed into.
  byID("job").addEventListener("submit", () => {
    const field = document.activeElement;
    if (field instanceof HTMLElement && !field.id) field.blur();
  });
  byID("person").addEventListener("click", leave);
  byID("sound").addEventListener("click", () => {
    choices.set("muted", choices.get("muted") ? "" : "yes");
    show();
  });
  setInterval(tick, 250);
  setInterval(() => (trouble || queue.length ? ask() : undefined), 5000);
  setInterval(ask, 60_000);
  addEventListener("online", ask);
  addEventListener("offline", () => {
    trouble = "offline";
    show();
  });
  addEventListener("focus", ask);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && ask());
  const source = new EventSource(at.events);
  let timer = 0;
  source.addEventListener("recorded", () => {
    clearTimeout(timer);
    timer = setTimeout(ask, 300);
  });
  source.addEventListener("error", () => ask());
  navigator.serviceWorker?.register(at.worker, { scope: new URL(at.worker, location.href).pathname.replace(/worker\.js$/, "").replace(/\/$/, "") }).catch((error) => say("problem", `Work without a network is not possible in this browser: ${error}`));
  await ask();
}

begin().catch((error) => say("problem", `The bench cannot begin: ${error}`));
