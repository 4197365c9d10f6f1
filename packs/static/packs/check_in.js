// A scanner that ends in Tab sends the box, as one that ends in Enter does.
"use strict";

(() => {
  const SCAN_MS = 30; // a character; a hand is slower over a whole key (common practice, no source)
  const SCAN_SHORTEST = 4; // characters; a hand may do three as fast
  const SCAN_ENDS_MS = 100; // from the last character to the Tab

  const box = document.getElementById("came");
  if (!box) return;
  let begun = 0;
  let last = 0;
  let before = box.value;

  box.addEventListener("input", (event) => {
    if (!before || !box.value.startsWith(before)) begun = event.timeStamp;
    last = event.timeStamp;
    before = box.value;
  });

  box.addEventListener("keydown", (event) => {
    const length = box.value.length;
    const fast = last - begun <= SCAN_MS * (length - 1) && event.timeStamp - last <= SCAN_ENDS_MS;
    if (event.key !== "Tab" || event.shiftKey || length < SCAN_SHORTEST || !fast) return;
    event.preventDefault();
    box.form.requestSubmit();
  });
})();
