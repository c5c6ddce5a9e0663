// Comfort only: every page works without this. Links and GET forms with `data-swap` fetch the same
// URL and exchange `main`; what had the focus keeps it; the text of the file is checked while typed.
"use strict";
(() => {
  const token = document.querySelector('meta[name="token"]')?.content ?? "";
  let running = null;

  let last = history.state?.step ?? 0;

  const step = () => history.state?.step ?? 0; // how many swaps led to this view
  const main = () => document.getElementById("main");
  const say = (text) => { document.getElementById("news").textContent = text; };

  function keyOf(node) { return node?.closest?.("[data-key]")?.getAttribute("data-key") ?? ""; }

  function openDetails() {
    return [...main().querySelectorAll("details[open][data-key]")].map((d) => d.dataset.key);
  }

  async function swap(url, { push = true, key = "" } = {}) {
    running?.abort();
    running = new AbortController();
    document.body.classList.add("busy");
    try {
      const answer = await fetch(url, { headers: { "X-Bench-Part": "main" }, signal: running.signal });
      if (!(answer.headers.get("content-type") ?? "").startsWith("text/html")) throw new Error("no page");
      const made = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = made.getElementById("main");
      if (!fresh) throw new Error("no main");
      const open = openDetails();
      const at = document.activeElement;
      const whole = at === main();
      const had = main().contains(at) ? at.getAttribute("data-key") : "";
      const link = main().contains(at) ? at.getAttribute("href") : "";
      const left = [...main().querySelectorAll(".scroll")].map((s) => s.scrollLeft);
      main().replaceWith(document.adoptNode(fresh));
      [...main().querySelectorAll(".scroll")].forEach((s, k) => { s.scrollLeft = left[k] ?? 0; });
      for (const d of main().querySelectorAll("details[data-key]")) d.open = d.open || (open.includes(d.dataset.key) && d.dataset.key !== "pick");
      document.title = made.title;
      if (push) {
        history.pushState({ step: step() + 1 }, "", answer.url || url);
        last = step();
      }
      const wanted = key || had;
      const next = (wanted && main().querySelector(`[data-key="${CSS.escape(wanted)}"]`))
        || (link && main().querySelector(`[href="${CSS.escape(link)}"]`));
      if (whole) main().focus({ preventScroll: true });
      else if (next) next.focus({ preventScroll: true });
      const result = main().querySelector(".result");
      if (result) say(result.textContent);
      begin();
    } catch (problem) {
      if (problem.name !== "AbortError") location.assign(url);
    } finally {
      document.body.classList.remove("busy");
    }
  }

  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("a[data-swap]");
    if (!link || event.defaultPrevented || event.button || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    swap(link.getAttribute("href"), { key: keyOf(link) });
  });

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.matches("form[data-swap]") || form.method !== "get") return;
    event.preventDefault();
    const words = new URLSearchParams(new FormData(form));
    swap(`${form.getAttribute("action")}?${words}`, { key: keyOf(event.submitter) });
  });

  // A list reports each letter of a name that is typed into it: the form waits for the next one.
  let sending = 0;
  document.addEventListener("change", (event) => {
    if (!event.target.matches?.("[data-send]")) return;
    const form = event.target.form;
    clearTimeout(sending);
    sending = setTimeout(() => { if (form.isConnected) form.requestSubmit(); }, 250);
  });

  addEventListener("popstate", () => swap(location.href, { push: false }));

  // -- back and forth, and the view as a link ------------------------------------------------------
  function walk(by) {
    if (by < 0 ? step() > 0 : step() < last) history.go(by);
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("button");
    if (button?.dataset.step) walk(Number(button.dataset.step));
    if (button?.id === "copy") {
      const link = document.getElementById("link");
      link.select();
      const told = () => { say("Copied."); button.textContent = "Copied"; };
      if (navigator.clipboard) navigator.clipboard.writeText(link.value).then(told, () => {});
      else if (document.execCommand("copy")) told();
    }
  });

  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.target.matches?.("input, textarea, select")) return;
    const steps = document.getElementById("steps");
    const by = { z: event.shiftKey ? 1 : -1, y: 1 }[event.key.toLowerCase()];
    if (!steps || !by) return;
    event.preventDefault();
    walk(by);
  });

  function steps() {
    const place = document.getElementById("steps");
    if (place) {
      place.hidden = false;
      // marked, not disabled: the focus must not fall off a button that was just pressed
      place.children[0].setAttribute("aria-disabled", String(step() <= 0));
      place.children[1].setAttribute("aria-disabled", String(step() >= last));
    }
    const copy = document.getElementById("copy");
    if (copy) copy.hidden = false;
    const link = document.getElementById("link");
    if (link && link.value.startsWith("/")) link.value = location.origin + link.value;
  }

  // -- the text of the file ------------------------------------------------------------------
  let pause = 0;
  let asked = 0;

  function number(text, problems) {
    const numbers = document.getElementById("numbers");
    if (!numbers) return;
    const marks = new Map(problems.map((p) => [p.line, p.severity === "error" ? "bad" : "odd"]));
    const count = text.split("\n").length;
    numbers.replaceChildren(...Array.from({ length: count }, (_, k) => {
      const line = document.createElement("span");
      line.textContent = `${k + 1}\n`;
      const mark = marks.get(k + 1);
      if (mark) line.className = mark;
      return line;
    }));
  }

  function list(problems, area) {
    const place = document.getElementById("problems");
    if (!place) return;
    const rows = problems.map((p) => {
      const row = document.createElement("li");
      row.className = `finding ${p.severity}`;
      const head = document.createElement("p");
      const go = document.createElement("a");
      go.href = `?line=${p.line}#text`;
      go.textContent = `${p.severity}, line ${p.line}`;
      go.addEventListener("click", (event) => { event.preventDefault(); jump(area, p.line); });
      head.append(go, ` ${p.code}`);
      const text = document.createElement("p");
      text.textContent = p.message;
      row.append(head, text);
      if (p.fix) {
        const fix = document.createElement("p");
        fix.className = "cure";
        fix.textContent = p.fix;
        row.append(fix);
      }
      return row;
    });
    place.replaceChildren(...rows);
    const sum = document.getElementById("sum");
    if (sum) sum.textContent = problems.length ? `${problems.length} to look at` : "✓ Every line can be used.";
  }

  function jump(area, line) {
    const lines = area.value.split("\n");
    const start = lines.slice(0, line - 1).reduce((n, l) => n + l.length + 1, 0);
    area.focus();
    area.setSelectionRange(start, start + (lines[line - 1] ?? "").length);
    area.scrollTop = Math.max(0, (line - 6) * (area.scrollHeight / lines.length));
  }

  async function check(area) {
    const mine = ++asked;
    try {
      const answer = await fetch("/api/check", {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-Bench-Token": token },
        body: JSON.stringify({ text: area.value }),
      });
      const found = await answer.json();
      if (mine !== asked || !answer.ok) return;
      number(area.value, found.problems);
      list(found.problems, area);
    } catch { /* the page says the same after saving */ }
  }

  function begin() {
    steps();
    const area = document.getElementById("text");
    if (area && !area.dataset.begun) {
      area.dataset.begun = "1";
      const numbers = document.getElementById("numbers");
      const first = area.value;
      area.addEventListener("scroll", () => { numbers.scrollTop = area.scrollTop; });
      area.addEventListener("input", () => { clearTimeout(pause); pause = setTimeout(() => check(area), 350); });
      area.addEventListener("keydown", (event) => {
        if ((event.ctrlKey || event.metaKey) && event.key === "s") { event.preventDefault(); area.form.requestSubmit(); }
      });
      addEventListener("beforeunload", (event) => {
        const now = document.getElementById("text");
        if (now && now.value !== first && !now.form.dataset.sent) event.preventDefault();
      });
      area.form.addEventListener("submit", () => { area.form.dataset.sent = "1"; });
      const line = Number(new URLSearchParams(location.search).get("line"));
      if (line > 0) jump(area, line);
    }
    const again = main().querySelector("[data-again]");
    if (again) setTimeout(() => { if (again.isConnected) swap(location.href, { push: false }); }, Number(again.dataset.again));
  }

  begin();
})();
