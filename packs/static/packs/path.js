// Tapping a module or a joint in the drawing writes it into the form below, and nothing typed is
// lost. Without this script the same tap is a link that opens the form with it.
(() => {
  "use strict";
  const places = (box) => box.value.split(/[\s,;]+/).filter(Boolean);
  document.addEventListener("click", (event) => {
    const pick = event.target.closest(".path a.pick");
    const part = document.querySelector("form.entry [name=part]");
    const box = document.querySelector("form.entry [name=places]");
    if (!pick || !part || !box || event.ctrlKey || event.metaKey || event.shiftKey) return;
    if (![...part.options].some((one) => one.value === pick.dataset.part)) return;
    event.preventDefault();
    const kept = part.value === pick.dataset.part ? places(box) : [];
    const place = pick.dataset.place;
    part.value = pick.dataset.part;
    const rest = kept.filter((one) => one !== place);
    box.value = (place && rest.length === kept.length ? [...kept, place] : rest).join(", ");
    for (const one of document.querySelectorAll(".path a.pick")) {
      const chosen = one.dataset.part === part.value && (!one.dataset.place || places(box).includes(one.dataset.place));
      one.querySelector("g").classList.toggle("chosen", chosen);
    }
  });
})();
