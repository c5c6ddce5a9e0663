// Comfort for paper and the exercise; every page works without.
"use strict";
(() => {
  const show = () => document.querySelectorAll("[data-print]").forEach((b) => { b.hidden = false; });
  document.addEventListener("click", (event) => {
    if (event.target.closest?.("[data-print]")) print();
  });
  new MutationObserver(show).observe(document.body, { childList: true });
  show();
  // the clock of an exercise runs on between two answers of the bench
  setInterval(() => {
    const clock = document.querySelector("[data-clock]");
    if (!clock) return;
    clock.dataset.from ??= String(performance.now());
    const s = Number(clock.dataset.clock) + Math.floor((performance.now() - Number(clock.dataset.from)) / 1000);
    clock.textContent = `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
  }, 1000);
})();
