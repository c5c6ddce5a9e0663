// Comfort for the live page: what happens comes by itself; the page works without.
"use strict";
(() => {
  const box = () => document.getElementById("live");
  let source = null;
  let last = 0;
  let wanted = false;
  let busy = false;

  async function fetched(answer) {
    const made = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = made.getElementById("live");
    if (!fresh || !box()) return;
    const key = document.activeElement?.getAttribute?.("data-key") ?? "";
    box().replaceWith(document.adoptNode(fresh));
    if (key) document.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
    const ask = box().querySelector(".do");
    const news = document.getElementById("news");
    if (ask && news && news.textContent !== ask.textContent) news.textContent = ask.textContent;
    listen();
  }

  // many events on end cost one look, not many
  async function look() {
    wanted = true;
    if (busy) return;
    busy = true;
    while (wanted && box()) {
      wanted = false;
      try {
        await fetched(await fetch("/live", { headers: { "X-Bench-Part": "main" } }));
      } catch { /* the stream tells when the bench is back */ }
      await new Promise((done) => setTimeout(done, 100));
    }
    busy = false;
  }

  function listen() {
    const where = box()?.dataset.events;
    if (!where) {
      source?.close();
      source = null;
      return;
    }
    if (source && source.readyState !== EventSource.CLOSED) return;
    source = new EventSource(`${where}?after=${last}`);
    source.addEventListener("message", (event) => {
      last = Number(event.lastEventId) || last;
      look();
    });
    source.addEventListener("open", look);
  }

  // a hand moved at the stand-in needs no new page
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches?.("form[data-hand]") || !event.submitter) return;
    event.preventDefault();
    const words = new URLSearchParams(new FormData(form, event.submitter));
    try {
      await fetched(await fetch(form.action, { method: "POST", body: words, headers: { "X-Bench-Part": "main" } }));
    } catch {
      location.assign("/live");
    }
  });

  new MutationObserver(listen).observe(document.body, { childList: true });
  listen();
})();
