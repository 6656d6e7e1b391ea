// Keeps what is typed into a summer walk on this device until the service has said that it received it.
// Every step works without this file; then nothing is kept.
(() => {
  const form = document.getElementById("walk");
  const state = document.getElementById("walk-state");
  if (!form || !state) return;
  const key = `forbcast-walk:${form.dataset.key}`;
  const own = new Set(["csrfmiddlewaretoken", "beside", "shown_quadrats"]);

  const say = (text, link) => {
    state.hidden = false;
    state.textContent = text;
    if (link) {
      const a = document.createElement("a");
      a.href = link.href;
      a.textContent = link.text;
      state.append(" ", a);
    }
  };
  const kept = () => {
    try {
      return JSON.parse(localStorage.getItem(key));
    } catch {
      return null;
    }
  };
  const keep = (waiting) => {
    const fields = [...new FormData(form)].filter(([name, value]) => !own.has(name) && typeof value === "string");
    try {
      localStorage.setItem(key, JSON.stringify({ fields, waiting, beside: form.elements.beside.value, at: Date.now() }));
      return true;
    } catch {
      say("This device has no room to keep what you type: send it while there is a signal.");
      return false;
    }
  };
  let changed = false;
  const letGo = () => {
    changed = false;
    localStorage.removeItem(key);
  };

  const putBack = (draft) => {
    const values = new Map();
    draft.fields.forEach(([name, value]) => values.set(name, [...(values.get(name) || []), value]));
    [...form.elements].forEach((field) => {
      if (!field.name || own.has(field.name) || field.type === "submit") return;
      const found = values.get(field.name) || [];
      if (field.type === "checkbox" || field.type === "radio") field.checked = found.includes(field.value);
      else field.value = found[0] ?? "";
    });
    form.elements.beside.value = draft.beside ?? form.elements.beside.value;
    form.querySelectorAll("details").forEach((part) => {
      const filled = [...part.querySelectorAll("input, textarea, select")].some((field) =>
        field.type === "checkbox" ? field.checked : field.type !== "hidden" && field.value);
      if (filled) part.open = true;
    });
  };

  let sending = false;
  const send = async () => {
    if (sending || !keep(true)) return;
    sending = true;
    say("Sending…");
    const limit = new AbortController();
    const timer = setTimeout(() => limit.abort(), 30000);
    try {
      const answer = await fetch(form.action || location.href, {
        method: "POST", body: new FormData(form), headers: { Accept: "application/json" }, signal: limit.signal,
      });
      const told = (answer.headers.get("content-type") || "").startsWith("application/json") ? await answer.json() : null;
      if (answer.status === 201 && told && told.received === form.elements.submission_id.value) {
        letGo();
        location.assign(told.where);
        return;
      }
      if (answer.status === 403 || answer.status === 401 || answer.redirected) {
        keep(false);
        say("It could not be sent in your name. What you typed is kept on this device.",
          { href: `/sign-in/?next=${encodeURIComponent(location.pathname)}`, text: "Sign in and send it again." });
      } else if (answer.status >= 500 || answer.status === 429) {
        say("The service could not take it just now. It is kept on this device; try again in a minute.");
      } else {
        // The page that comes says what to put right; the draft stays until that is sent.
        keep(false);
        form.submit();
      }
    } catch {
      say("No signal. It is kept on this device and will be sent when the signal is back and this page is open.");
    } finally {
      clearTimeout(timer);
      sending = false;
    }
  };

  const draft = kept();
  if (draft && !("answered" in form.dataset)) {
    putBack(draft);
    const when = new Date(draft.at).toLocaleString("en-GB", { day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" });
    if (draft.waiting) {
      say(`What you typed on ${when} is still to be sent.`);
      if (navigator.onLine) send();
    } else {
      say(`What you typed on ${when} is back. It is not sent yet.`);
      const drop = document.createElement("button");
      drop.type = "button";
      drop.className = "quiet";
      drop.textContent = "Throw it away";
      drop.addEventListener("click", () => { letGo(); location.reload(); });
      state.append(" ", drop);
    }
  }
  let timer;
  form.addEventListener("input", () => {
    changed = true;
    clearTimeout(timer);
    timer = setTimeout(() => keep(false), 200);
  });
  form.addEventListener("submit", (event) => {
    if (event.submitter && event.submitter.name === "more") { keep(false); return; }
    event.preventDefault();
    clearTimeout(timer);
    send();
  });
  addEventListener("online", () => { const draft = kept(); if (draft && draft.waiting) send(); });
  addEventListener("pagehide", () => { if (changed && !kept()?.waiting) keep(false); });
  if ("serviceWorker" in navigator && "caches" in window) {
    // The script that opens this page without a signal comes too late for its first visit, so that is kept here.
    const drawn = [...document.querySelectorAll("link[rel=stylesheet], script[src]")].map((part) => part.href || part.src);
    navigator.serviceWorker.register("/worker.js")
      .then(() => caches.open("forbcast-walks"))
      .then((store) => store.addAll([location.origin + location.pathname, ...drawn]))
      .then(() => { form.dataset.kept = ""; })
      .catch(() => {});
  }
})();
