// @ts-check
// Passkeys: the server asks a question, the browser hands it to a device, and the server judges the
// answer. Pages work without this file, with passwords.

/** @typedef {Record<string, any>} Any */

/** Sends something to the server. What it refuses is an error with its words. @param {string} address @param {Any} body @returns {Promise<Any>} */
async function send(address, body) {
  const answer = await fetch(address, {
    method: "POST", headers: { Accept: "application/json", "Content-Type": "application/json" }, body: JSON.stringify(body),
  }).catch(() => { throw new Error("The server cannot be reached. Try again."); });
  const content = await answer.json();
  if (!answer.ok) throw new Error([content.message, content.hint].filter(Boolean).join(" "));
  return content;
}

/** Hands a question to a device. @param {string} kind @param {Any} question @returns {Promise<Any>} */
async function device(kind, question) {
  const credential = kind === "add"
    ? await navigator.credentials.create({ publicKey: PublicKeyCredential.parseCreationOptionsFromJSON(/** @type {any} */ (question)) })
    : await navigator.credentials.get({ publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(/** @type {any} */ (question)) });
  return /** @type {PublicKeyCredential} */ (credential).toJSON();
}

/** What went wrong, for a person. @param {Error} error */
export function words(error) {
  switch (error.name) {
    case "InvalidStateError":
      return "This device has a passkey of yours already.";
    case "NotAllowedError":
    case "AbortError":
      return "The device has not answered, or has no passkey for this. Try again, or use the password.";
  }
  return error.message;
}

/** Lets a device answer what the server asks, and returns what the server says to that. @param {string} kind @param {string} ask @param {string} tell @param {Any} [typed] @returns {Promise<Any>} */
export async function prove(kind, ask, tell, typed = {}) {
  const answer = await device(kind, await send(ask, typed));
  return send(`${tell}?${new URLSearchParams({ next: String(typed.next ?? "") })}`, answer);
}

/** Says whether the browser has passkeys. */
export const available = typeof PublicKeyCredential === "function" && "parseRequestOptionsFromJSON" in PublicKeyCredential;

/** Lets a form work. @param {HTMLFormElement} form */
function attach(form) {
  const problem = /** @type {HTMLElement} */ (form.querySelector("[role=alert]"));
  const button = /** @type {HTMLButtonElement} */ (form.querySelector("button"));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const typed = Object.fromEntries(new FormData(form));
    problem.hidden = button.disabled = true;
    try {
      const { ask = "", tell = "", passkey = "" } = form.dataset;
      location.assign((await prove(passkey, ask, tell, typed)).to);
    } catch (error) {
      problem.textContent = words(/** @type {Error} */ (error));
      problem.hidden = button.disabled = false;
    }
  });
}

// Where the browser has no passkeys, the pages stay as they are.
if (available) {
  for (const form of document.querySelectorAll("form[data-passkey]")) attach(/** @type {HTMLFormElement} */ (form));
  for (const place of document.querySelectorAll("[data-passkeys]")) /** @type {HTMLElement} */ (place).hidden = place.getAttribute("data-passkeys") === "none";
}
