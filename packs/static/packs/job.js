// A tablet on the bench: entries outlive a lost network and are sent once; others' entries are
// seen; a scanner's Enter goes to the next field. Without this script the forms work as forms.
(() => {
  "use strict";
  const KEPT = "job-entries";
  const LOOK_EVERY_MS = 10000;
  const RETRY_EVERY_MS = 5000;
  if (!document.querySelector("[data-job]")) return;
  const strip = () => document.querySelector("[data-away]");

  const kept = () => {
    try { return JSON.parse(localStorage.getItem(KEPT)) || []; } catch { return []; }
  };
  const keep = (entries) => localStorage.setItem(KEPT, JSON.stringify(entries));

  const say = (words) => { const away = strip(); if (away) { away.textContent = words; away.hidden = !words; } };
  const tell = () => {
    const waiting = kept();
    if (!waiting.length) { say(navigator.onLine === false ? "No network. What you store is kept on this tablet and sent when it is back." : ""); return; }
    const many = waiting.length === 1 ? "One entry is" : `${waiting.length} entries are`;
    const refused = waiting.find((one) => one.refused);
    if (!refused) { say(`No network. ${many} kept on this tablet and will be sent, once, when it is back.`); return; }
    say("The register refused an entry that was kept on this tablet. ");
    const link = document.createElement("a");
    link.href = refused.action;
    link.textContent = "Open it: what was typed is there.";
    if (strip()) strip().append(link);
  };

  const fieldsOf = (form) => [...new FormData(form)].filter(([, value]) => typeof value === "string");
  const nameOf = (fields) => (fields.find(([name]) => name === "sent_as") || [])[1];

  const post = (action, fields) => fetch(action, {
    method: "POST", body: new URLSearchParams(fields), credentials: "same-origin", redirect: "follow",
  });

  // Someone signed out, or a page made before a new sign-in: the token is taken afresh.
  const fresh = async (one) => {
    const page = await fetch(one.action, { credentials: "same-origin" });
    const made = new DOMParser().parseFromString(await page.text(), "text/html");
    const token = made.querySelector("input[name=csrfmiddlewaretoken]");
    if (token) one.fields = one.fields.map(([n, v]) => [n, n === "csrfmiddlewaretoken" ? token.value : v]);
  };

  let sending = false;
  const send = async () => {
    if (sending) return;
    sending = true;
    try {
      for (const one of kept().filter((each) => !each.refused)) {
        let answer;
        try { await fresh(one); answer = await post(one.action, one.fields); } catch { break; }
        if (answer.status === 401 || answer.status === 403 || answer.status >= 500) break;
        const rest = kept().filter((each) => each.name !== one.name);
        if (answer.ok) {
          keep(rest);
          if (one.page === location.href) { location.assign(answer.url); return; }
          look();
        } else {
          keep([...rest, { ...one, refused: true }]);
        }
      }
    } finally { sending = false; tell(); }
  };

  const held = (form, fields) => {
    const one = { name: nameOf(fields), action: form.action, page: location.href, fields };
    keep([...kept().filter((each) => each.name !== one.name), one]);
    form.classList.add("waiting");
    tell();
  };

  const shown = (answer, text) => {
    if (answer.redirected) { location.assign(answer.url); return; }
    const made = new DOMParser().parseFromString(text, "text/html");
    const main = made.querySelector("main");
    if (!main) { location.reload(); return; }
    document.title = made.title;
    document.querySelector("main").replaceWith(main);
    begin();
    (document.querySelector("#wrong") || document.querySelector("main")).focus();
  };

  const begin = () => {
    for (const form of document.querySelectorAll("form.entry[method=post]")) {
      restore(form);
      form.addEventListener("submit", async (event) => {
        if (form.enctype === "multipart/form-data") return;
        event.preventDefault();
        const typed = form.elements.namedItem("typed_at");
        if (typed && !typed.value) typed.value = new Date().toISOString();
        const fields = fieldsOf(form);
        if (event.submitter && event.submitter.name) fields.push([event.submitter.name, event.submitter.value]);
        let answer, text;
        try { answer = await post(form.action, fields); text = await answer.text(); }
        catch { held(form, fields); return; }
        if (typed && !answer.ok) typed.value = "";
        shown(answer, text);
      });
      form.addEventListener("keydown", (event) => {
        const at = event.target;
        if (event.key !== "Enter" || !at.matches("input:not([type=submit]), select")) return;
        const fields = [...form.elements].filter((one) => !one.disabled && one.type !== "hidden" && one.offsetParent);
        const next = fields[fields.indexOf(at) + 1];
        if (!next) return;
        event.preventDefault();
        next.focus();
      });
    }
  };

  // What was refused after the network came back is put into its form again.
  const restore = (form) => {
    const one = kept().find((each) => each.refused && each.action === form.action);
    if (!one) return;
    for (const [name, value] of one.fields) {
      if (name === "csrfmiddlewaretoken") continue;
      const field = form.elements.namedItem(name);
      if (!field) continue;
      if (field.type === "checkbox") field.checked = true; else field.value = value;
    }
    keep(kept().filter((each) => each.name !== one.name));
  };

  let seen = "";
  const look = async () => {
    const here = document.querySelector("[data-job]");
    const part = here && here.querySelector("[data-standing]");
    if (!part || document.hidden) return;
    let text;
    try {
      const answer = await fetch(here.dataset.state, { credentials: "same-origin" });
      if (!answer.ok || answer.redirected) return;
      text = await answer.text();
    } catch { tell(); return; }
    if (seen && seen !== text && !part.contains(document.activeElement)) part.innerHTML = text;
    seen = text;
    if (kept().length) send(); else tell();
  };

  addEventListener("online", send);
  addEventListener("offline", tell);
  setInterval(() => { if (kept().some((one) => !one.refused)) send(); }, RETRY_EVERY_MS);
  setInterval(look, LOOK_EVERY_MS);
  begin();
  tell();
  if (kept().length) send();
  look();
})();
