// The live part of the glance. Everything shown is made on the station; this puts it in
// place, ticks between two events, and covers whatever may be older than 3 s.
"use strict";
const noonmark = (() => {
  const $ = (id) => document.getElementById(id);
  const root = document.documentElement, asked = document.body.dataset.asked;
  const OLD_MS = 2900;    // an answer stands no longer, counted from the judgement
  const DRIFT = 1e-3;     // by which this device's count and the station's may run apart
  const JUMP_MS = 250;    // by which this device's clock may move against its count
  const LATE_MS = 10000;  // after which a question has no answer
  const on = {};          // what more.js wants to hear of: event, round, state, tick
  const wall = () => Date.now() - performance.now();

  // ---- how old is it? Ages are told on the station's boot clock, in ms.
  // tie holds the least and the greatest that this clock can be ahead of
  // performance.now(): an answer left after its question was sent, and came before it
  // was read. Rounds narrow it, time widens it.
  let tie = null;
  function bounds(at) {
    if (!tie) return null;
    const slept = wall() - tie.wall; // performance.now() rests while some devices sleep
    if (Math.abs(slept) > JUMP_MS) { tie = null; ask(0); return null; }
    const wide = Math.abs(at - tie.at) * DRIFT;
    return { lo: tie.lo - wide, hi: tie.hi + wide + Math.max(slept, 0) };
  }
  function learn(lo, hi, run, own) {
    const now = performance.now(), was = tie && tie.run === run ? bounds(now) : null;
    if (was && Math.max(lo, was.lo) <= Math.min(hi, was.hi)) { lo = Math.max(lo, was.lo); hi = Math.min(hi, was.hi); }
    tie = { lo, hi, run, own, at: now, wall: wall() };
  }
  // One round at a time.
  let asking = null, next = 0, rounds = 0;
  function ask(wait) {
    clearTimeout(next);
    next = setTimeout(round, wait);
  }
  async function round() {
    if (asking) return;
    const stop = asking = new AbortController(), late = setTimeout(() => stop.abort(), LATE_MS);
    const was = wall(), sent = performance.now();
    let ok = false;
    try {
      const r = await fetch("/exchange", { cache: "no-store", signal: stop.signal }), a = await r.json(), got = performance.now();
      if (ok = r.ok && Math.abs(wall() - was) < JUMP_MS) learn(a.left - got, a.came - sent, a.run, a.own - a.left);
    } catch { } // asked again below
    clearTimeout(late);
    asking = null;
    const narrow = tie && tie.hi - tie.lo < 60;
    ask(!ok ? 1000 : !narrow && ++rounds < 8 ? 200 : 15000);
    show();
    on.round?.();
  }

  // ---- the stream
  let last = null, stream = null, again = 0;
  const texts = {};
  function open() {
    clearTimeout(again);
    if (stream) stream.close();
    const mine = stream = new EventSource("/live?mode=" + encodeURIComponent(asked) + (last ? "&seen=" + last.run + "." + last.seq : ""));
    stream.onmessage = (m) => take(JSON.parse(m.data));
    stream.onerror = () => { if (stream === mine) { stream.close(); stream = null; again = setTimeout(open, 700); } };
  }
  let arrived = -1; // when the last event came
  function take(e) {
    arrived = performance.now();
    if (last && e.run === last.run && e.seq <= last.seq) return;
    const now = performance.now(), b = bounds(now);
    if (b && tie.run === e.run && e.boot - now > b.hi + 1) tie = null; // this device slept
    else if (tie && tie.run === e.run) tie.lo = Math.max(tie.lo, e.boot - now);
    last = e;
    e.speed ??= 1;
    for (const [id, html] of Object.entries(e.parts ?? {})) put(id, html);
    if (!tie || tie.run !== e.run) { rounds = 0; ask(0); }
    show();
    on.event?.(e);
  }
  // put replaces a part and gives the keyboard's focus back to where it was.
  function put(id, html) {
    const el = $(id);
    if (!el) return;
    const focus = el.contains(document.activeElement) ? document.activeElement.id : "";
    el.innerHTML = texts[id] = html;
    if (focus && $(focus)) $(focus).focus({ preventScroll: true });
  }

  // ---- what may be shown
  // left is for how long the last event may still stand, ms.
  function left(now) {
    const b = bounds(now);
    return b && last && last.run === tie.run ? OLD_MS - (now + b.hi - last.boot) : -1;
  }
  let due = 0, burning = [];
  function show() {
    const now = performance.now(), ms = left(now);
    clearTimeout(due);
    burning.forEach((a) => a.cancel());
    burning = [];
    if (!(ms > 0)) return cover();
    // A fuse burns without this script: what hangs, or wakes from a freeze, shows nothing old.
    for (const el of document.querySelectorAll(".fuse")) {
      const fuse = el.animate([{ opacity: 1 }, { opacity: 1, offset: 0.999 }, { opacity: 0 }], { duration: ms, fill: "forwards" });
      fuse.startTime = now; // else it would be lit when the browser comes to draw
      burning.push(fuse);
    }
    due = setTimeout(show, ms + 1);
    root.dataset.state = last.state;
    root.dataset.live = last.live === true ? "yes" : "no";
    root.toggleAttribute("data-caution", !!last.caution);
    $("answer").hidden = false;
    $("gone").setAttribute("aria-hidden", "true");
    const word = (document.querySelector("#head .word")?.textContent ?? "").trim().replace(/\s+/g, " ");
    document.title = (last.live === true ? "" : "Simulation: ") + word + " – noonmark";
    say(last.state + (last.caution ? "!" : ""), $("say").textContent);
    tick();
  }
  const GONE = "Nothing has come from the station for 3 s: it is off, out of reach, or noonmark has stopped.";
  function cover() {
    const b = bounds(performance.now());
    const slow = last && performance.now() - arrived < 3000 && (!b || tie.run === last.run);
    $("why").textContent = arrived < 0 ? "Asking the station." : !slow ? GONE : tie
      ? "What comes from the station is older than 3 s: the link is too slow, or this device was asleep." : "Comparing clocks with the station.";
    const t = last && last.utc !== null ? new Date(last.utc) : null;
    $("heard").textContent = t ? "Last judged at " + t.toISOString().slice(11, 19) + " UTC." : "";
    root.dataset.state = "gone";
    root.dataset.live = "";
    root.removeAttribute("data-caution");
    $("answer").hidden = true;
    $("gone").setAttribute("aria-hidden", "false");
    document.title = "No contact – noonmark";
    if (arrived >= 0 && !slow) say("gone", "No contact with the station. Do not key up.");
    tick();
  }
  // A worsening is said at once; anything else waits its turn; what stays is not said.
  const ranks = { within: 0, "within!": 1, borderline: 2, unknown: 3, outside: 4, gone: 5 };
  let said = "", saidAs = "";
  function say(as, text) {
    if (as === saidAs && text === said) return;
    const worse = saidAs !== "" && ranks[as] > (ranks[saidAs] ?? 0);
    $(worse ? "told" : "warned").textContent = "";
    $(worse ? "warned" : "told").textContent = text;
    on.state?.(as, saidAs);
    said = text; saidAs = as;
  }

  // ---- the station's time
  // utc is its UTC in ms for an instant of performance.now(), and by how much the
  // exchange leaves it open; null if not known.
  function utc(at) {
    const b = bounds(at);
    if (!b || !last || last.utc === null || last.run !== tie.run) return null;
    return { ms: last.utc + (at + (b.lo + b.hi) / 2 - last.boot) * last.speed, half: (b.hi - b.lo) / 2 * last.speed };
  }
  const two = (n) => String(n).padStart(2, "0");
  const days = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  const upTo = (s) => s < 0.095 ? (Math.ceil(s * 100 - 1e-4) / 100).toFixed(2) : s < 9.95 ? (Math.ceil(s * 10 - 1e-4) / 10).toFixed(1) : String(Math.ceil(s - 1e-4));
  const write = (id, text) => { const el = $(id); if (el && el.textContent !== text) el.textContent = text; };
  let timer = 0;
  function tick() {
    clearTimeout(timer);
    const t = root.dataset.state === "gone" ? null : utc(performance.now());
    if (!t) {
      write("min", "––:––:"); write("sec", "––"); write("date", ""); write("bound", "");
      turn(null);
      timer = setTimeout(tick, 250);
      return;
    }
    const d = new Date(t.ms), worst = last.guard === null ? Infinity : last.guard + t.half / 1000;
    write("min", two(d.getUTCHours()) + ":" + two(d.getUTCMinutes()) + ":"); write("sec", two(d.getUTCSeconds()));
    write("date", days[d.getUTCDay()] + " " + d.toISOString().slice(0, 10));
    write("bound", last.bound === null ? "" : "±\u00a0" + upTo(last.bound + t.half / 1000) + "\u00a0s");
    $("utc").classList.toggle("dim", worst > 0.5);
    turn(t.ms, worst);
    on.tick?.(t);
    const step = last.speed > 1 || still.matches ? 1000 / last.speed : 250;
    timer = setTimeout(tick, Math.max(step - (t.ms / last.speed) % step, 40) + 2);
  }
  // turn moves the hand. Faster than five times, it would flicker; where the worst case is
  // more than a quarter of the period, it would say what nobody knows: then it rests.
  function turn(ms, worst) {
    const svg = document.querySelector("#ring svg"), hand = $("hand-g");
    if (!svg || !hand) return;
    const period = Number(svg.dataset.period);
    const counts = ms !== null && last.speed <= 5 && worst <= period / 4;
    hand.setAttribute("visibility", counts ? "visible" : "hidden");
    if (!counts) {
      write("left", "–");
      write("phase", "Period " + period + " s");
      write("count", ms !== null && last.speed <= 5 ? "not counted: the time is not sure enough" : "");
      return;
    }
    const into = ((ms / 1000 % period) + period) % period, from = Number(svg.dataset.from), to = Number(svg.dataset.to);
    hand.setAttribute("transform", "rotate(" + (into / period * 360).toFixed(1) + ")");
    write("left", String(Math.ceil(period - into)));
    write("phase", into < from ? "About to begin" : into < to ? "Signals on the air" : "Gap: all quiet");
    write("count", "next period in " + Math.ceil(period - into) + " s");
  }

  // ---- the document itself is the first event, and its loading the first round
  const first = JSON.parse($("first").textContent), way = performance.getEntriesByType("navigation")[0];
  if (first) {
    if (location.protocol.startsWith("http") && way && way.requestStart > 0 && way.type !== "back_forward")
      learn(first.left - performance.now(), first.came - way.requestStart + 0.1, first.run, first.own - first.left);
    take(first);
  }
  addEventListener("pageshow", (e) => { if (e.persisted) { tie = null; last = null; cover(); ask(0); open(); } });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { show(); ask(0); } });
  document.addEventListener("resume", () => { show(); ask(0); });
  setInterval(() => { if (root.dataset.state !== "gone" && !(left(performance.now()) > 0)) show(); else if (root.dataset.state === "gone") cover(); }, 200);
  show();
  open();
  ask(0);
  // The rest comes when the answer stands.
  addEventListener("load", () => {
    const files = $("files").dataset;
    document.head.append(Object.assign(document.createElement("link"), { rel: "stylesheet", href: files.css }));
    document.head.append(Object.assign(document.createElement("script"), { src: files.js }));
  });
  // own is an instant of performance.now() on the station's own timescale, ms, and how sure.
  const own = (at) => { const b = bounds(at); return b && { ms: at + (b.lo + b.hi) / 2 + tie.own, half: (b.hi - b.lo) / 2 }; };
  return { $, on, asked, utc, own, upTo, write, state: () => last, sure: () => left(performance.now()) > 0 };
})();
