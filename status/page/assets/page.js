// The live part of the page. Everything shown is made on the station; this puts
// it in place, ticks between two events, and covers it when the station is gone.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const root = document.documentElement, mode = document.body.dataset.mode;
  const STALE_MS = 2300, LOOK_MS = 200; // from the last event until the page is covered, and how often it is looked: less than 3 s
  const ROUNDS = 8, AGAIN_MS = 60000;
  let heard = -Infinity; // performance.now() of the last event
  let last = null;       // the last event
  let tie = null;        // station's timescale − performance.now(), ms, and how sure
  let rough = 0;         // the same by the last event's arrival alone: late by its way here
  let said = "";

  // ---- the stream
  let stream = null;
  function open() {
    if (stream) stream.close();
    stream = new EventSource("/live?mode=" + encodeURIComponent(mode));
    stream.onmessage = (m) => take(JSON.parse(m.data));
    // The browser tries again by itself, but gives up on an answer that is an error.
    stream.onerror = () => { if (stream.readyState === EventSource.CLOSED) setTimeout(open, 2000); };
  }
  function take(e) {
    if (last && e.seq < last.seq) tie = null; // the station began anew
    const first = !last || last.at > e.at;
    last = e;
    heard = performance.now();
    rough = e.at - heard;
    for (const [id, html] of Object.entries(e.parts)) put($(id), html);
    root.dataset.state = e.verdict;
    $("gone").hidden = true;
    document.title = "noonmark: " + e.say.split(". ")[0];
    say(e.say);
    if (first || !tie) measure();
    tick();
  }
  // put replaces a part and gives the keyboard's focus back to where it was.
  function put(el, html) {
    if (!el) return;
    const focus = el.contains(document.activeElement) ? document.activeElement.id : "";
    const unfolded = !!el.querySelector("details[open]");
    el.innerHTML = html;
    if (focus && $(focus)) $(focus).focus({ preventScroll: true });
    if (unfolded) el.querySelector("details")?.setAttribute("open", "");
  }
  function say(text) {
    if (text !== said) $("say").textContent = said = text;
  }

  // ---- nothing heard: no verdict may stay on the screen
  const wall = () => Date.now() - performance.now();
  let wallWas = wall();
  function watch() {
    // A device that slept wakes with its old page: its two clocks then differ.
    const slept = Math.abs(wall() - wallWas) > 1500;
    wallWas = wall();
    if (slept) { tie = null; heard = -Infinity; open(); }
    if (performance.now() - heard > STALE_MS) gone();
  }
  function gone() {
    if (root.dataset.state === "gone" && !$("gone").hidden) return;
    root.dataset.state = "gone";
    $("gone").hidden = false;
    document.title = "noonmark: station gone";
    const t = last && last.utc !== null ? new Date(last.utc) : null;
    $("heard").textContent = t ? "Last heard at " + t.toISOString().slice(11, 19) + " UTC." : "";
    say("No word from the station. Do not key up.");
    tick();
  }

  // ---- the station's time
  // Two-way exchange: of several rounds the one with the least delay counts; the
  // truth lies within half that delay of its middle.
  async function measure() {
    let best = null;
    for (let i = 0; i < ROUNDS; i++) {
      try {
        const sent = performance.now();
        const r = await fetch("/exchange", { cache: "no-store" });
        const got = performance.now(), a = await r.json();
        const delay = got - sent - (a.left - a.came);
        const t = { offset: ((a.came - sent) + (a.left - got)) / 2, half: Math.max(delay, 0) / 2 };
        if (!best || t.half < best.half) best = t;
      } catch { return; }
      await new Promise((done) => setTimeout(done, 40));
    }
    tie = best;
    device();
  }
  // utc is the station's UTC in ms for an instant of performance.now(), null if not known.
  function utc(at) {
    if (!last || last.utc === null) return null;
    return last.utc + (at + (tie ? tie.offset : rough) - last.at) * last.speed;
  }

  // ---- ticking
  const two = (n) => String(n).padStart(2, "0");
  const days = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  let timer = 0;
  function tick() {
    clearTimeout(timer);
    const now = performance.now(), t = root.dataset.state === "gone" ? null : utc(now);
    if (t === null) {
      if (root.dataset.state === "gone" || (last && last.utc === null)) { $("utc").textContent = "––:––:––"; $("date").textContent = ""; }
      timer = setTimeout(tick, 250);
      return;
    }
    const d = new Date(t);
    $("utc").textContent = two(d.getUTCHours()) + ":" + two(d.getUTCMinutes()) + ":" + two(d.getUTCSeconds());
    $("date").textContent = days[d.getUTCDay()] + " " + d.toISOString().slice(0, 10);
    turn(t);
    const step = last.speed > 1 || still.matches ? 1000 / last.speed : 250;
    timer = setTimeout(tick, Math.max(step - (t / last.speed) % step, 40) + 2);
  }
  // turn moves the hand. Faster than five times, it would flicker: then it rests.
  function turn(t) {
    const svg = document.querySelector("#ring svg"), hand = $("hand");
    if (!svg || !hand) return;
    const period = Number(svg.dataset.period) * 1000;
    if (last.speed > 5 || last.bound === null) { hand.setAttribute("visibility", "hidden"); return; }
    const into = ((t % period) + period) % period;
    hand.setAttribute("visibility", "visible");
    hand.setAttribute("transform", "rotate(" + (into / period * 360).toFixed(1) + ")");
    $("left").textContent = String(Math.ceil((period - into) / 1000));
    $("unit").textContent = "s to next";
  }

  // ---- this device's clock against the station's
  // grain is the step in which this device's clock is given to pages, ms.
  function grain() {
    let least = 100;
    const end = performance.now() + 6;
    for (let was = Date.now(); performance.now() < end;) {
      const now = Date.now();
      if (now !== was) { least = Math.min(least, now - was); was = now; }
    }
    return least;
  }
  function device() {
    if (!last || !last.live || !tie) return;
    const el = $("device");
    if (last.bound === null || last.utc === null) { el.textContent = "Cannot be told: the station does not know the time itself."; return; }
    const at = performance.now(), off = (Date.now() - utc(at)) / 1000;
    const exchange = (tie.half + grain()) / 1000, sure = exchange + last.bound;
    const size = Math.abs(off) >= 86400 ? (Math.abs(off) / 86400).toFixed(1) + " days" : Math.abs(off).toFixed(2) + " s";
    const word = Math.abs(off) <= sure ? "agrees with the station: the difference is " + size
      : "is " + size + (off > 0 ? " fast" : " slow");
    el.textContent = "This device " + word + ", sure to ± " + sure.toFixed(2) + " s (exchange ± " + exchange.toFixed(3) + " s, the rest is the station’s own bound).";
    el.dataset.offset = off.toFixed(4);
    el.dataset.sure = sure.toFixed(4);
  }

  // ---- by hand
  // Taps are instants of the station's own timescale: this device's clock is not in them.
  let taps = [];
  function tapped(at) {
    if (!tie) { $("taps").textContent = "Wait: the exchange with the station is not done yet."; return; }
    taps.push(at + tie.offset);
    const t = utc(at), off = t === null ? null : ((t / 1000 + 30) % 60) - 30;
    $("taps").textContent = taps.length + (taps.length === 1 ? " tap" : " taps") +
      (off === null ? "." : ", the last " + Math.abs(off).toFixed(2) + " s " + (off < 0 ? "before" : "after") + " the station’s minute.");
  }
  async function send(form, extra) {
    const body = new URLSearchParams(new FormData(form));
    body.set("pin", $("pin").value);
    for (const [name, value] of Object.entries(extra)) body.set(name, value);
    try {
      const r = await fetch(form.action, { method: "POST", body });
      $("answer").textContent = await r.text();
      $("answer").dataset.ok = r.ok;
      return r.ok;
    } catch { $("answer").textContent = "The station did not answer."; return false; }
  }
  function byHand() {
    $("tap").addEventListener("pointerdown", (e) => tapped(e.timeStamp));
    $("tap").addEventListener("keydown", (e) => { if (!e.repeat && (e.key === " " || e.key === "Enter")) tapped(e.timeStamp); });
    const clear = () => { taps = []; $("taps").textContent = "No tap yet."; };
    $("again").addEventListener("click", clear);
    $("mark-form").addEventListener("submit", async (e) => {
      e.preventDefault();
      if (await send(e.target, { taps: taps.join(","), slack: tie ? tie.half : "" })) clear();
    });
    $("borrow-form").addEventListener("submit", async (e) => {
      e.preventDefault();
      await measure();
      const now = performance.now();
      await send(e.target, tie ? { at: now + tie.offset, utc: Date.now(), slack: tie.half + grain() } : {});
    });
    $("use-form").addEventListener("submit", async (e) => {
      e.preventDefault();
      await send(e.target, { mode: e.submitter.value });
    });
  }
  if ($("byhand")) byHand();

  document.addEventListener("visibilitychange", () => { if (!document.hidden) watch(); });
  addEventListener("pageshow", (e) => { if (e.persisted) { heard = -Infinity; watch(); open(); } });
  // Scrolling with the wheel over a print preview must not stop the clock: one timer each.
  setInterval(watch, LOOK_MS);
  setInterval(() => { if (last) measure(); }, AGAIN_MS);
  heard = performance.now(); // the page itself is news
  open();
  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js").catch(() => {});
})();
