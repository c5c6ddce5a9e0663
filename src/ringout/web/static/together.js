// Comfort for two people on one checkout: what the other enters shows without a reload. Only what is
// marked `data-live` is exchanged, so that nothing that is being typed is lost.
"use strict";
(() => {
  const EVERY_MS = 1500;
  const head = () => document.querySelector("[data-head]");
  const words = (e) => `Step ${e.step}: ${e.text}, ${e.verdict}, ${e.who}`;

  async function look() {
    const at = head();
    if (!at || document.hidden) return;
    const answer = await fetch(`/api/checkout/news?after=${at.dataset.head}`);
    if (!answer.ok) return;
    const news = await answer.json();
    if (String(news.head) === at.dataset.head) return;
    const page = await fetch(location.href, { headers: { "X-Bench-Part": "main" } });
    const fresh = new DOMParser().parseFromString(await page.text(), "text/html");
    const now = fresh.querySelector("[data-head]");
    if (!now || !at.isConnected) return;
    for (const old of document.querySelectorAll("[data-live]")) {
      const made = fresh.querySelector(`[data-live="${old.dataset.live}"]`);
      if (!made) continue;
      const link = old.contains(document.activeElement) ? document.activeElement.getAttribute("href") : "";
      old.replaceWith(document.adoptNode(made));
      if (link) made.querySelector(`[href="${CSS.escape(link)}"]`)?.focus({ preventScroll: true });
    }
    at.dataset.head = now.dataset.head;
    if (news.readings.length) document.getElementById("news").textContent = news.readings.map(words).join(". ");
  }

  (async () => {
    for (;;) {
      await new Promise((done) => { setTimeout(done, EVERY_MS); });
      try { await look(); } catch { /* the bench may be stopped: asked again */ }
    }
  })();
})();
