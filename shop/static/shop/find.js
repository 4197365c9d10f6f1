// The box on every page: a list of what is found as one types, and scanners that end in Tab.
// Without it the form still sends what was typed to the search page.
"use strict";

(() => {
  const WAIT_MS = 150; // after the last character, before the register is asked
  const AGAIN_MS = 3000; // until it is asked again, after no answer
  const SCAN_MS = 30; // a character; a hand is slower over a whole key (common practice, no source)
  const SCAN_SHORTEST = 4; // characters; a hand may do three as fast
  const SCAN_ENDS_MS = 100; // from the last character to the Tab of a scanner
  const SHORTEST = 2; // characters; one alone finds everything

  const box = document.getElementById("q");
  if (!box || !box.form || !box.dataset.suggest) return;
  const lists = !box.hasAttribute("hx-get"); // the search page has its list below already

  const popup = made("div", "found");
  const place = made("div", "");
  const note = made("p", "note");
  const live = made("p", "unseen");
  note.setAttribute("aria-hidden", "true");
  live.setAttribute("role", "status");
  popup.hidden = true;
  popup.append(note, place);
  box.form.append(popup, live);

  let options = [];
  let active = -1;
  let asking = null; // the request under way; an older answer is dropped
  let timer = 0;
  const typed = { before: box.value, begun: 0, last: 0 };

  if (lists) {
    box.setAttribute("role", "combobox");
    box.setAttribute("aria-autocomplete", "list");
    box.setAttribute("aria-haspopup", "listbox");
    box.setAttribute("aria-expanded", "false");
  }

  function made(tag, name) {
    const element = document.createElement(tag);
    if (name) element.className = name;
    return element;
  }

  function say(text) {
    note.textContent = text;
    live.textContent = text;
    popup.hidden = !text && !options.length;
  }

  function choose(index) {
    options.forEach((option, at) => option.setAttribute("aria-selected", String(at === index)));
    active = index;
    if (index < 0) {
      box.removeAttribute("aria-activedescendant");
    } else {
      box.setAttribute("aria-activedescendant", options[index].id);
      options[index].scrollIntoView({ block: "nearest" });
    }
  }

  function empty() {
    place.replaceChildren();
    options = [];
    choose(-1);
    if (lists) box.setAttribute("aria-expanded", "false");
    box.removeAttribute("aria-controls");
  }

  function drop() {
    clearTimeout(timer);
    if (asking) asking.abort();
    asking = null;
  }

  function close() {
    drop();
    empty();
    note.textContent = "";
    popup.hidden = true;
  }

  function show(html) {
    const answered = new DOMParser().parseFromString(html, "text/html");
    const list = answered.querySelector('[role="listbox"]');
    if (!list) return close();
    empty();
    place.append(...answered.body.childNodes);
    options = [...list.querySelectorAll('[role="option"]')];
    if (options.length) {
      box.setAttribute("aria-controls", list.id);
      box.setAttribute("aria-expanded", "true");
    }
    say(list.dataset.said);
  }

  function later(wait) {
    clearTimeout(timer);
    timer = setTimeout(ask, wait);
  }

  async function ask() {
    drop();
    const text = box.value.trim();
    if (text.length && text.length < SHORTEST) return close();
    const mine = new AbortController();
    asking = mine;
    try {
      const address = `${box.dataset.suggest}?q=${encodeURIComponent(text)}`;
      const answer = await fetch(address, { signal: mine.signal });
      const html = await answer.text();
      if (asking !== mine || document.activeElement !== box) return;
      if (answer.redirected) say("Signed out. Press Enter to sign in; what you typed goes along.");
      else if (!answer.ok) say("The register is busy. What you typed is kept; Enter searches.");
      else show(html);
    } catch {
      if (asking === mine) unanswered();
    }
  }

  function unanswered() {
    empty();
    say("No answer from the register just now. What you typed is kept.");
    if (lists && document.activeElement === box) later(AGAIN_MS);
  }

  function move(step) {
    if (!options.length) return later(0);
    const next = active + step;
    choose(next < 0 ? options.length - 1 : next % options.length);
  }

  function scanned(now) {
    const length = box.value.length;
    const fast = typed.last - typed.begun <= SCAN_MS * (length - 1);
    return length >= SCAN_SHORTEST && fast && now - typed.last <= SCAN_ENDS_MS;
  }

  box.addEventListener("input", (event) => {
    const more = typed.before && box.value.startsWith(typed.before);
    if (!more) typed.begun = event.timeStamp;
    typed.last = event.timeStamp;
    typed.before = box.value;
    choose(-1);
    if (lists) later(box.value.trim() ? WAIT_MS : 0);
    else if (note.textContent) say("");
  });

  box.addEventListener("keydown", (event) => {
    if (event.isComposing || event.ctrlKey || event.metaKey) return;
    if (event.key === "Tab" && !event.shiftKey && scanned(event.timeStamp)) {
      event.preventDefault();
      close();
      box.form.requestSubmit();
    } else if (event.key === "Tab") {
      close();
    } else if (!lists) {
      return;
    } else if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      move(event.key === "ArrowDown" ? 1 : active < 0 ? 0 : -1);
    } else if (event.key === "Enter" && active >= 0) {
      event.preventDefault();
      options[active].click();
    } else if (event.key === "Escape" && !popup.hidden) {
      event.preventDefault();
      close();
    } else if (event.key === "Home" || event.key === "End") {
      choose(-1);
    }
  });

  if (lists) {
    for (const kind of ["focus", "click"]) {
      box.addEventListener(kind, () => {
        if (popup.hidden && !box.value.trim()) later(0);
      });
    }
    window.addEventListener("online", () => document.activeElement === box && later(0));
  }
  box.addEventListener("blur", close);
  popup.addEventListener("mousedown", (event) => event.preventDefault()); // the box keeps the focus
  window.addEventListener("pagehide", close);
  for (const kind of ["htmx:sendError", "htmx:responseError", "htmx:timeout"]) {
    box.addEventListener(kind, unanswered);
  }
})();
