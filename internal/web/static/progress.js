// @ts-check
// Pages of something that takes a while work without this file. It asks how far that is and shows it.

const pause = 700;

/** Puts the page as it stands now in the place of the old one. */
async function look() {
  const old = document.querySelector("[data-progress]");
  if (!old) return;
  const answer = await fetch(location.href, { headers: { "X-Fragment": "main", "X-Background": "yes" } }).catch(() => undefined);
  if (answer?.ok) {
    const parsed = document.createElement("template");
    parsed.innerHTML = await answer.text();
    const fresh = parsed.content.querySelector("[data-progress]");
    if (!fresh) {
      location.reload(); // it is over
      return;
    }
    // Only what changes: the words, which are read aloud, and the bar.
    for (const css of ["[role=status] label", "progress"]) {
      const [was, is] = [old.querySelector(css), fresh.querySelector(css)];
      if (!was || !is) continue;
      if (was.textContent !== is.textContent) was.textContent = is.textContent;
      for (const { name, value } of is.attributes) was.setAttribute(name, value);
    }
  } else if (answer) {
    location.reload(); // signed out, or gone: the page itself says so
    return;
  }
  setTimeout(look, pause);
}

setTimeout(look, pause);
