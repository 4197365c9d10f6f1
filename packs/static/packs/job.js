// A tablet on the bench: entries outlive a lost network and are sent once; others' entries are
// seen; a scanner alone can fill a form in and store it. Without this script the forms work as
// forms.
(() => {
  "use strict";
  const KEPT = "job-entries", CLOCK = "job-clock-ms", TOLD = "job-told";
  const LOOK_EVERY_MS = 10000;
  const RETRY_EVERY_MS = 5000;
  const SCAN_GAP_MS = 100; // between two letters of a scanner; common practice, no source
  const here = () => document.querySelector("[data-job]");
  if (!here()) return;

  const read = (name) => {
    try { return JSON.parse(localStorage.getItem(name)) || []; } catch { return []; }
  };
  const kept = () => read(KEPT);
  const keep = (entries) => localStorage.setItem(KEPT, JSON.stringify(entries));
  const without = (name) => kept().filter((one) => one.name !== name);
  const place = (address) => address.split("#")[0];

  // ---- what the strip says of the network and of what is kept

  let away = navigator.onLine === false, trouble = "";
  const counted = (many) => (many === 1 ? "One entry is" : `${many} entries are`);

  const words = (waiting) => {
    if (trouble && waiting.length) return `${counted(waiting.length)} kept on this tablet. ${trouble}`;
    if (waiting.length) {
      const what = waiting.map((one) => one.title).join(", ");
      return `No network. ${counted(waiting.length)} kept on this tablet (${what}) and sent, once, when it is back.`;
    }
    return away ? "No network. What you store is kept on this tablet and sent when it is back." : "";
  };

  const tell = () => {
    const strip = document.querySelector("[data-away]");
    if (!strip) return;
    const all = kept(), refused = all.filter((one) => one.refused);
    const said = words(all.filter((one) => !one.refused));
    const state = JSON.stringify([said, refused.map((one) => [one.name, one.refused])]);
    strip.hidden = !said && !refused.length;
    if (strip.dataset.said === state) return;
    strip.dataset.said = state;
    strip.replaceChildren(...(said ? [line(said)] : []), ...refused.map(told));
  };

  const line = (text) => {
    const part = document.createElement("p");
    part.textContent = text;
    return part;
  };

  const told = (one) => {
    const part = line(`Not stored, and kept on this tablet: ${one.title}. ${one.refused} `);
    const open = document.createElement("a");
    open.href = one.action;
    open.className = "button";
    open.textContent = "Open it: what was typed is there";
    const drop = document.createElement("button");
    drop.type = "button";
    drop.className = "quiet";
    drop.textContent = "Drop it";
    drop.addEventListener("click", () => { keep(without(one.name)); tell(); });
    part.append(open, " ", drop);
    return part;
  };

  // ---- forms

  const valueOf = (fields, name) => (fields.find(([one]) => one === name) || [])[1];
  const fieldsOf = (form, submitter) => {
    const fields = [...new FormData(form)].filter(([, value]) => typeof value === "string");
    return submitter && submitter.name ? [...fields, [submitter.name, submitter.value]] : fields;
  };
  // A field may be called “action”, and would be answered in its place.
  const actionOf = (form) => new URL(form.getAttribute("action") || "", location.href).href;
  const hasFile = (form) => [...new FormData(form)].some(([, value]) => value instanceof File && value.name);
  const parsed = (text) => new DOMParser().parseFromString(text, "text/html");

  // The tablet's clock may be wrong; what it notes is told by the clock of the register.
  const noted = () => new Date(Date.now() + Number(localStorage.getItem(CLOCK) || 0)).toISOString();
  const setClock = (answer) => {
    const theirs = Date.parse(answer.headers.get("Date") || "");
    if (theirs) localStorage.setItem(CLOCK, String(theirs - Date.now()));
  };

  const call = async (address, more) => {
    try {
      const answer = await fetch(address, { credentials: "same-origin", ...more });
      const text = await answer.text();
      away = false;
      return { answer, text };
    } catch (lost) { away = true; throw lost; }
  };
  const post = (action, body) => call(action, { method: "POST", body });

  const newName = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = [...bytes].map((one) => one.toString(16).padStart(2, "0")).join("");
    return hex.replace(/(.{8})(.{4})(.{4})(.{4})(.{12})/, "$1-$2-$3-$4-$5");
  };

  const nameField = (form) => [...form.elements].find((one) => one.name.endsWith("sent_as"));

  const hold = (form, fields) => {
    const heading = document.querySelector("main h1");
    const one = {
      name: nameField(form).value,
      action: place(actionOf(form)),
      page: place(location.href),
      title: heading ? heading.textContent.trim() : document.title,
      job: here() ? here().dataset.job : "",
      fields,
    };
    keep([...without(one.name), one]);
    HTMLFormElement.prototype.reset.call(form);
    delete form.dataset.touched;
    nameField(form).value = newName();
    const at = form.elements.namedItem("typed_at");
    if (at) at.value = "";
    tell();
    goTo(form);
  };

  const shown = ({ answer, text }, name) => {
    if (answer.redirected) {
      keep(without(name));
      if (new URL(answer.url).pathname !== location.pathname) {
        carry(text);
        location.assign(answer.url);
        return;
      }
      history.replaceState(null, "", answer.url);
    }
    if (!swap(text)) { location.reload(); return; }
    scrollTo(0, 0);
    const wrong = document.querySelector("#wrong");
    if (wrong) wrong.focus(); else goTo(...entryForms());
  };

  const swap = (text) => {
    const made = parsed(text), main = made.querySelector("main");
    if (!main) return false;
    document.title = made.title;
    document.querySelector("main").replaceWith(main);
    begin();
    return true;
  };

  const submitted = async (event) => {
    const form = event.target;
    event.preventDefault();
    if (form.dataset.busy) return;
    const at = form.elements.namedItem("typed_at");
    if (at && !at.value) at.value = noted();
    const fields = fieldsOf(form, event.submitter), file = hasFile(form);
    form.dataset.busy = "1";
    try {
      shown(await post(actionOf(form), file ? new FormData(form) : new URLSearchParams(fields)), nameField(form) && nameField(form).value);
    } catch (lost) {
      if (!away) throw lost;
      if (file || !nameField(form)) { noFile(); return; }
      hold(form, fields);
    } finally { delete form.dataset.busy; }
  };

  const noFile = () => {
    tell();
    const strip = document.querySelector("[data-away]");
    if (!strip) return;
    strip.hidden = false;
    strip.dataset.said = "";
    strip.append(line("A photograph can not be kept here without network: leave this page open, and store it when it is back."));
  };

  const usable = (form) => [...form.elements].filter((one) =>
    !one.disabled && one.type !== "hidden" && one.tagName !== "FIELDSET" && one.checkVisibility());

  const goTo = (...forms) => {
    const first = forms.flatMap(usable).find((one) => one.matches("input, select, textarea"));
    if (first) first.focus({ preventScroll: true });
  };
  const entryForms = () => [...document.querySelectorAll("form.entry[method=post]")];

  // A scanner types a code and ends with Enter or Tab: Enter goes on as Tab does, and the word
  // “yes”, scanned from a card, ticks a box and presses a button.
  let typed = "", typedAt = 0;
  const pressed = (event) => {
    const at = event.target;
    if (event.key === "Enter" && at.matches("input:not([type=submit]), select")) {
      const fields = usable(event.currentTarget);
      const next = fields[fields.indexOf(at) + 1];
      if (!next) return;
      event.preventDefault();
      next.focus();
      return;
    }
    if (!at.matches("input[type=checkbox], input[type=radio], button[type=submit]") || event.key.length !== 1) return;
    typed = event.timeStamp - typedAt > SCAN_GAP_MS ? event.key : typed + event.key;
    typedAt = event.timeStamp;
    if (typed.toLowerCase() !== "yes") return;
    if (at.matches("button")) at.click(); else at.checked = true;
  };

  const begin = () => {
    for (const form of entryForms()) {
      form.addEventListener("submit", submitted);
      form.addEventListener("keydown", pressed);
      form.addEventListener("input", () => { form.dataset.touched = "1"; });
      const at = form.elements.namedItem("typed_at");
      const name = nameField(form);
      if (at && name && !kept().some((one) => one.name === name.value)) at.value = "";
    }
    restore();
    carried();
    tell();
  };

  // What the register said of an entry goes with it to the page that is shown next.
  const carry = (text) => {
    const said = parsed(text).querySelector("main > .told");
    if (said) sessionStorage.setItem(TOLD, (sessionStorage.getItem(TOLD) || "") + said.innerHTML);
  };

  const carried = () => {
    const said = sessionStorage.getItem(TOLD), main = document.querySelector("main");
    if (!said || !main) return;
    sessionStorage.removeItem(TOLD);
    let box = main.querySelector(":scope > .told");
    if (!box) {
      box = document.createElement("div");
      box.className = "told";
      box.setAttribute("role", "status");
      main.prepend(box);
    }
    box.insertAdjacentHTML("beforeend", said);
  };

  // What was refused after the network came back is put into its form again, and stays kept until
  // it is stored or dropped.
  const restore = () => {
    const one = kept().find((each) => each.refused && each.action === place(location.href))
      || kept().find((each) => each.refused && [...document.forms].some((form) => place(actionOf(form)) === each.action));
    const form = one && entryForms().find((each) => suits(each, one));
    if (!form || nameField(form).value === one.name) return;
    for (const field of form.elements) {
      if (!field.name || field.name === "csrfmiddlewaretoken" || field.type === "file" || field.type === "submit") continue;
      const said = one.fields.filter(([name]) => name === field.name).map(([, value]) => value);
      if (field.type === "checkbox" || field.type === "radio") field.checked = said.includes(field.value);
      else if (said.length) field.value = said[0];
    }
    form.dataset.touched = "1";
  };

  const FREE = /(^csrfmiddlewaretoken|sent_as|typed_at)$/;
  const suits = (form, one) => place(actionOf(form)) === one.action && one.fields.every(([name, value]) => {
    const field = form.elements.namedItem(name);
    if (!field) return [...form.elements].some((each) => each.name === name);
    return FREE.test(name) || field.type !== "hidden" || field.value === value;
  });

  // ---- sending what was kept

  // Someone signed out, or a page made before a new sign-in: the token is taken afresh.
  const fresh = async (one) => {
    const { answer, text } = await call(one.action);
    if (answer.redirected) return null;
    const token = parsed(text).querySelector("input[name=csrfmiddlewaretoken]");
    return one.fields.map(([name, value]) => [name, name === "csrfmiddlewaretoken" && token ? token.value : value]);
  };

  const SIGN_IN = "Sign in as somebody who may store them: they are sent then.";
  const BROKEN = "The register could not take them just now; they are sent again by themselves.";

  // Answers whether to go on with the next.
  const sendOne = async (one) => {
    const fields = await fresh(one);
    if (!fields) { trouble = SIGN_IN; return false; }
    const { answer, text } = await post(one.action, new URLSearchParams(fields));
    if (answer.status === 401 || answer.status === 403) { trouble = SIGN_IN; return false; }
    if (answer.status >= 500 || answer.status === 429) { trouble = BROKEN; return false; }
    trouble = "";
    if (answer.ok) { keep(without(one.name)); carry(text); return true; }
    const why = [...parsed(text).querySelectorAll("#wrong li")].map((each) => each.textContent.trim());
    const refused = why.join(" ") || "The register refused it.";
    keep(kept().map((each) => (each.name === one.name ? { ...each, refused } : each)));
    return true;
  };

  const send = async () => {
    const waiting = kept().filter((one) => !one.refused);
    if (!waiting.length) return;
    try {
      for (const one of waiting) if (kept().some((each) => each.name === one.name) && !await sendOne(one)) break;
    } catch (lost) { if (!away) throw lost; }
    tell();
    if (!kept().some((one) => !one.refused)) await look();
  };

  // Of several windows of one tablet one sends.
  let sending = false;
  const sendAlone = async () => {
    if (sending) return;
    sending = true;
    try {
      if (navigator.locks) await navigator.locks.request(KEPT, { ifAvailable: true }, (mine) => mine && send());
      else await send();
    } finally { sending = false; }
  };

  // ---- looking at what others stored

  const revision = (root) => {
    const part = root && root.querySelector("[data-revision]");
    return part ? part.dataset.revision : "";
  };
  const busy = () => entryForms().some((form) =>
    form.dataset.touched || form.dataset.busy);

  const look = async () => {
    const part = here() && here().querySelector("[data-standing]");
    if (!part || document.hidden) return;
    try {
      const { answer, text } = await call(here().dataset.state);
      if (!answer.ok || answer.redirected) return;
      setClock(answer);
      if (revision(parsed(text)) !== revision(part)) await renew(part, text);
    } catch (lost) { if (!away) throw lost; }
    tell();
  };

  // A form that somebody began to fill in stays; else the whole step is shown anew.
  const renew = async (part, text) => {
    if (!busy()) {
      const page = await call(location.href);
      if (page.answer.ok && !page.answer.redirected && !busy()) {
        const focus = document.activeElement && document.activeElement.id, down = scrollY;
        if (swap(page.text)) {
          const again = focus && document.getElementById(focus);
          if (again) again.focus({ preventScroll: true });
          scrollTo(0, down);
          return;
        }
      }
    }
    if (!part.contains(document.activeElement)) part.innerHTML = text;
    const note = document.querySelector("[data-others]");
    if (note && busy()) note.hidden = false;
  };

  // Without network another page would be an error of the browser, and this one would be gone.
  const stayed = (event) => {
    const link = event.target.closest("a[href]");
    if (!link || link.getAttribute("href").startsWith("#") || link.target) return;
    if (!away && navigator.onLine !== false) return;
    event.preventDefault();
    look().then(() => {
      if (!away) { location.assign(link.href); return; }
      const strip = document.querySelector("[data-away]");
      if (strip) strip.scrollIntoView({ block: "nearest" });
    });
  };

  document.addEventListener("click", stayed);
  addEventListener("online", () => { away = false; sendAlone(); look(); });
  addEventListener("offline", () => { away = true; tell(); });
  setInterval(sendAlone, RETRY_EVERY_MS);
  setInterval(look, LOOK_EVERY_MS);
  begin();
  if (!document.querySelector("#wrong") && !location.hash) goTo(...entryForms());
  sendAlone();
  look();
})();
