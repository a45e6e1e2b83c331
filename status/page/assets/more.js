// What is below the glance: fetched while somebody looks at it, and what a person does.
"use strict";
(() => {
  const { $, asked, utc, own, write } = noonmark;
  const more = $("more"), FRESH_MS = 45000;

  // ---- details: asked for when they are in sight
  let at = -Infinity, busy = false, seen = false;
  async function details() {
    if (busy || document.hidden || performance.now() - at < FRESH_MS) return;
    busy = true;
    try {
      const r = await fetch("/more?part=1&mode=" + encodeURIComponent(asked) + (innerWidth >= 700 ? "&wide=1" : ""));
      if (r.ok) { fill(await r.text()); at = performance.now(); }
    } catch { } // asked again below
    busy = false;
  }
  const kept = $("hand-kept")?.content.cloneNode(true);
  const parts = document.createElement("div"), hands = document.createElement("div");
  parts.className = hands.className = "parts";
  more.append(parts, hands);
  if (kept) hands.append(kept);
  function fill(html) {
    const unfolded = [...parts.querySelectorAll("details")].map((d) => d.open), focus = parts.contains(document.activeElement) ? document.activeElement.id : "";
    parts.innerHTML = html;
    parts.querySelectorAll("details").forEach((d, i) => { d.open = !!unfolded[i]; });
    for (const acts of parts.querySelectorAll(".acts")) {
      const id = acts.dataset.of;
      acts.append(button("Copy", () => copy(id), id + "-copy"), button("Large", () => large($(id), $(id).nextElementSibling?.className ? "" : $(id).nextElementSibling?.textContent), id + "-large"));
    }
    if (focus && $(focus)) $(focus).focus({ preventScroll: true });
  }
  new IntersectionObserver((all) => { seen = all[0].isIntersecting; if (seen) details(); }, { rootMargin: "200px" }).observe(more);
  setInterval(() => { if (seen) details(); }, 1000);
  more.style.minHeight = "4rem";

  // ---- small things
  function button(text, act, id) {
    const b = document.createElement("button");
    b.type = "button"; b.textContent = text; if (id) b.id = id;
    b.addEventListener("click", () => act(b));
    return b;
  }
  async function copy(id) {
    // What is copied is for programs: no groups, and a plain hyphen for the minus.
    const b = $(id + "-copy"), text = $(id).dataset.copy;
    let ok = true;
    try { await navigator.clipboard.writeText(text); } catch {
      // Without a secure context the browser copies only what is selected.
      const area = Object.assign(document.createElement("textarea"), { value: text, className: "sr" });
      b.after(area); area.select();
      ok = document.execCommand("copy");
      area.remove(); b.focus({ preventScroll: true });
    }
    b.textContent = ok ? "Copied" : "Copying is not allowed here";
    setTimeout(() => { b.textContent = "Copy"; }, 2500);
  }
  function large(number, saidAs) {
    const d = document.createElement("dialog"), p = Object.assign(document.createElement("p"), { className: "number" });
    d.className = "large";
    p.append(...number.cloneNode(true).childNodes);
    d.append(p, Object.assign(document.createElement("p"), { textContent: saidAs ?? "" }), button("Close", () => d.close()));
    d.addEventListener("close", () => d.remove());
    document.body.append(d);
    d.showModal();
  }

  // ---- what it means: the manual's paragraph, beside what it explains; the answer stays in sight
  const explains = { head: "the-answer", foot: "good-for", time: "utc", ring: "the-period", place: "place", gone: "no-contact", sim: "simulation" };
  let manual = null, what = null, closing = 0;
  async function explain(href) {
    const at = href.split("#")[1];
    try { manual ??= new DOMParser().parseFromString(await (await fetch("/manual/8-page")).text(), "text/html"); } catch { return; }
    const head = manual.getElementById(at);
    if (!head) return;
    forget();
    what = document.createElement("dialog");
    what.id = "what"; what.setAttribute("aria-labelledby", "what-head");
    what.append(Object.assign(document.createElement("h2"), { id: "what-head", textContent: head.textContent }));
    for (let e = head.nextElementSibling; e && e.tagName !== "H2"; e = e.nextElementSibling) what.append(Object.assign(document.createElement("p"), { textContent: e.textContent }));
    const row = document.createElement("p"), link = Object.assign(document.createElement("a"), { href, className: "help", textContent: "In the manual" });
    row.className = "row";
    row.append(button("Close", forget, "what-close"), link);
    what.append(row);
    document.body.append(what);
    what.show();
    closing = setTimeout(forget, 60000);
  }
  function forget() { clearTimeout(closing); what?.remove(); what = null; }
  document.addEventListener("keydown", (e) => { if (e.key === "Escape") forget(); });
  document.addEventListener("click", (e) => {
    if (document.fullscreenElement || e.target.closest("#what")) return;
    const link = e.target.closest('a[href^="/manual/8-page#"]');
    if (link) { e.preventDefault(); explain(link.getAttribute("href")); return; }
    if (e.target.closest("a, button")) return;
    if (e.target.closest(".level")) explain("/manual/8-page#how-far-off-the-clock-is");
    else if (e.target.closest(".next")) explain("/manual/8-page#the-next-step");
    else for (const [id, at] of Object.entries(explains)) if (e.target.closest("#" + id)) { explain("/manual/8-page#" + at); return; }
  });

  // ---- looks, dimmer, full screen, alarm: kept on this device
  const keep = (name, value) => { try { localStorage.setItem(name, value); } catch { } };
  const kept1 = (name) => { try { return localStorage.getItem(name); } catch { return null; } };
  const tools = $("tools");
  const dims = ["100", "60", "30"];
  function dim(level) { document.documentElement.dataset.dim = level; keep("dim", level); dimmer.textContent = "Brightness " + level + " %"; }
  const dimmer = button("", () => dim(dims[(dims.indexOf(document.documentElement.dataset.dim) + 1) % dims.length]), "dimmer");
  dim(dims.includes(kept1("dim")) ? kept1("dim") : "100");
  const full = button("Full screen", fullScreen, "full");
  let lock = null;
  async function awake() { try { lock = await navigator.wakeLock?.request("screen"); } catch { } } // a secure context only
  async function fullScreen() {
    $("menu").open = false;
    try { await document.documentElement.requestFullscreen(); } catch { }
    awake();
  }
  document.addEventListener("fullscreenchange", () => { if (!document.fullscreenElement) { lock?.release(); lock = null; } });
  document.addEventListener("visibilitychange", () => { if (!document.hidden && document.fullscreenElement) awake(); });
  document.addEventListener("click", (e) => { if (document.fullscreenElement && e.target.closest("#panel")) document.exitFullscreen(); });

  const wants = ["Alarm: off", "Alarm: screen", "Alarm: screen and sound", "Alarm: screen, sound, vibration"];
  let want = Math.min(Math.max(Number(kept1("alarm")) || 0, 0), 3);
  const chooser = button(wants[want], () => { want = (want + 1) % 4; keep("alarm", want); chooser.textContent = wants[want]; if (want > 1) sound(0.15); if (!want) quiet(); }, "alarm-choice");
  tools.append(full, dimmer, chooser);

  // ---- alarm: the answer was good and is not any more
  let audio = null, ringing = 0, shown = null;
  function sound(seconds) {
    try {
      audio ??= new AudioContext();
      audio.resume();
      const o = audio.createOscillator(), g = audio.createGain();
      o.type = "square"; o.frequency.value = 880; g.gain.value = 0.2;
      o.connect(g).connect(audio.destination);
      o.start(); o.stop(audio.currentTime + seconds);
    } catch { } // no sound here
  }
  // A browser lets nothing sound before the page was touched once: say so.
  if (want > 1 && !navigator.userActivation?.hasBeenActive) {
    const unlock = button("Touch here once: before that the alarm cannot sound", () => { unlock.remove(); sound(0.15); }, "unlock");
    document.body.append(unlock);
  }
  function ring() {
    if (want > 1) { sound(0.4); setTimeout(() => sound(0.4), 600); }
    if (want > 2) navigator.vibrate?.([400, 200, 400]);
  }
  function raise(text) {
    quiet();
    shown = document.createElement("div");
    shown.id = "alarm"; shown.setAttribute("role", "alertdialog"); shown.setAttribute("aria-label", "Alarm");
    shown.append(Object.assign(document.createElement("p"), { textContent: text }),
      button("Seen", quiet, "alarm-seen"), button("Silence for 10 min", () => { hush = performance.now() + 600000; quiet(); }, "alarm-hush"));
    document.body.append(shown);
    ring();
    ringing = setInterval(ring, 5000);
  }
  function quiet() { clearInterval(ringing); shown?.remove(); shown = null; }
  let hush = -Infinity;
  const good = (as) => as === "within" || as === "within!";
  noonmark.on.state = (now, was) => {
    if (good(now)) quiet(); // it comes again when the answer is lost again
    else if (good(was) && want && performance.now() > hush) raise(document.title.replace(/ – noonmark$/, "") + ". Do not key up.");
  };

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
    const el = $("device"), last = noonmark.state();
    if (!el || !last) return;
    if (last.live !== true) { el.textContent = "The station’s time is simulated: this device is not compared with it."; return; }
    const now = performance.now(), t = utc(now);
    if (!t || last.bound === null) { el.textContent = "Cannot tell: the station does not know the time itself."; return; }
    const off = (Date.now() - t.ms) / 1000, sure = (t.half + grain()) / 1000 + last.bound;
    const size = Math.abs(off) >= 86400 ? (Math.abs(off) / 86400).toFixed(1) + " days" : Math.abs(off).toFixed(2) + " s";
    el.textContent = sure > 2 ? "Cannot tell: the station’s own time is known to ± " + sure.toFixed(0) + " s only."
      : Math.abs(off) <= sure ? "This device agrees with the station to ± " + sure.toFixed(2) + " s."
        : "This device is " + size + (off > 0 ? " fast" : " slow") + ", ± " + sure.toFixed(2) + " s.";
    el.dataset.offset = off.toFixed(4);
    el.dataset.sure = sure.toFixed(4);
  }
  noonmark.on.round = device;
  device();

  // ---- by hand
  // Taps are instants of the station's own timescale: this device's clock is not in them.
  const BOUNCE_MS = 5000, LEAST = 3;
  let taps = []; // {at, half, minute, off}
  function tapped(at) {
    const t = own(at), u = utc(at);
    if (!t || !noonmark.sure()) return tell("Wait: this device has no contact with the station.");
    const lastTap = taps[taps.length - 1];
    if (lastTap && t.ms - lastTap.at < BOUNCE_MS) return tell("That was a bounce: one tap a minute.");
    taps.push({ at: t.ms, half: t.half, off: u === null ? null : ((u.ms / 1000 + 30) % 60) - 30 });
    list();
  }
  // Minutes are told apart by the time between taps, for UTC may be what is not known; a
  // tap between two minutes counts for none.
  const OFF_MS = 10000;
  const minutes = () => new Set(taps.map((t) => (t.at - taps[0].at) / 60000).filter((m) => Math.abs(m - Math.round(m)) * 60000 < OFF_MS).map(Math.round)).size;
  function tell(text) { $("taps").textContent = text; }
  function list() {
    const n = taps.length ? minutes() : 0;
    const t = taps[taps.length - 1];
    tell(!t ? "No tap yet: three different minutes make a mark."
      : (n < LEAST ? n + " of " + LEAST + " minutes" : n + " minutes: ready to send") + (t.off === null ? "." : ". The last tap: " + Math.abs(t.off).toFixed(2) + " s " + (t.off < 0 ? "before" : "after") + " the station’s minute."));
    $("list").replaceChildren(...taps.map((t, i) => Object.assign(document.createElement("li"), { textContent: "Tap " + (i + 1) + (t.off === null ? "" : ": " + (t.off < 0 ? "−" : "+") + Math.abs(t.off).toFixed(2) + " s") })));
    $("undo").disabled = $("again").disabled = !taps.length;
    $("mark-send").disabled = n < LEAST;
    $("tap").disabled = taps.length >= 20;
  }
  // A mark after which no mode is good any more offers to be taken back.
  const anyGood = () => !!document.querySelector('#modes [data-verdict="within"]'), slipText = $("hand-kept")?.content.getElementById("slip").textContent;
  function slip(is) {
    $("withdraw-form").toggleAttribute("data-slip", is);
    $("slip").textContent = is ? "Since this mark no mode is good any more. If it was a slip, take it back; if not, mark again." : slipText;
    if (is) $("withdraw-send").scrollIntoView({ block: "nearest" });
  }
  function watchSlip(was) {
    const end = performance.now() + 6000, look = setInterval(() => {
      if (was && noonmark.sure() && !anyGood()) slip(true);
      else if (performance.now() < end) return;
      clearInterval(look);
    }, 250);
  }
  async function send(form, extra) {
    const body = new URLSearchParams(new FormData(form)), answer = form.querySelector(".answer");
    body.set("pin", $("pin").value);
    for (const [name, value] of Object.entries(extra)) body.set(name, value);
    answer.textContent = "…";
    try {
      const r = await fetch(form.action, { method: "POST", body });
      answer.textContent = await r.text();
      answer.dataset.ok = r.ok;
      if (r.status === 403) $("pin").focus();
      return r.ok;
    } catch { answer.textContent = "The station did not answer."; return false; }
  }
  function byHand() {
    $("tap").addEventListener("pointerdown", (e) => tapped(e.timeStamp));
    $("tap").addEventListener("keydown", (e) => { if (!e.repeat && (e.key === " " || e.key === "Enter")) tapped(e.timeStamp); });
    $("undo").addEventListener("click", () => { taps.pop(); list(); });
    $("again").addEventListener("click", () => { taps = []; list(); });
    $("mark-form").addEventListener("submit", async (e) => {
      e.preventDefault();
      if (minutes() < LEAST) return;
      const was = anyGood();
      if (await send(e.target, { taps: taps.map((t) => t.at.toFixed(3)).join(","), slack: Math.max(...taps.map((t) => t.half)).toFixed(3) })) { taps = []; list(); watchSlip(was); }
    });
    $("withdraw-form").addEventListener("submit", async (e) => {
      e.preventDefault();
      if (e.submitter?.id === "withdraw-send" && await send(e.target, {})) slip(false);
    });
    $("borrow-form").addEventListener("submit", async (e) => {
      e.preventDefault();
      const now = performance.now(), t = own(now);
      await send(e.target, t ? { at: t.ms, utc: Date.now(), slack: t.half + grain() } : {});
    });
    $("offsets-form").addEventListener("submit", async (e) => {
      e.preventDefault();
      if (await send(e.target, {})) $("offsets").value = "";
    });
    $("use-form").addEventListener("submit", async (e) => {
      e.preventDefault();
      if (e.submitter?.id === "use-send") await send(e.target, { mode: e.submitter.value });
    });
    $("resume-form").addEventListener("submit", async (e) => {
      e.preventDefault();
      if (e.submitter?.id === "resume-send") await send(e.target, {});
    });
    noonmark.on.tick = (t) => {
      const to = 60 - (t.ms / 1000) % 60;
      write("guide", "Station’s minute in " + Math.ceil(to) + " s, ± " + noonmark.upTo((noonmark.state().bound ?? 0) + t.half / 1000) + " s");
    };
    list();
  }
  if ($("byhand")) byHand();
  // An earlier version kept a page for the time without a station.
  navigator.serviceWorker?.getRegistrations().then((all) => all.forEach((r) => r.unregister()), () => { });
})();
