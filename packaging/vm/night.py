"""A night at the pace of the real clock, and what was promised for it."""
import time

from cases import case, running
from checks import honest, need, verdict, within

KEPT = 0.9  # the share of a promise that must be kept (the law that the laboratory holds good-for to)

def promised(s):
    """Until when, by the machine's time since its start, each mode that is within was said to stay so."""
    return {m["mode"]: s["written"]["boottime_s"] + KEPT * m["good_for_s"] for m in s["modes"]
            if m["verdict"] == "within" and m["good_for_s"]}

def looks(m, seconds, each=lambda s: None):
    """Honest all the while; the largest error in s, and the seconds in which each mode was within."""
    worst, held, last, end = 0, {}, time.monotonic(), time.monotonic() + seconds
    while last < end:
        s, true, _ = honest(m)
        each(s)
        now = time.monotonic()
        for x in s.get("modes", []):
            if x["verdict"] == "within":
                held[x["mode"]] = held.get(x["mode"], 0) + now - last
                worst = max(worst, abs(true))
        last = now
        time.sleep(5)
    return worst, held

@case
def overnight(b):
    """A night: the receiver is heard for a while, then nothing is; in the morning it speaks again."""
    b.short = b.night < 8 * 3600
    m = running(b, "evening", receiver=False)
    p = b.receiver(m)
    within(m, 300)
    evening, _ = looks(m, 0.3 * b.night)
    s, *_ = honest(m)
    end = promised(s)
    need(end, f"nothing is promised: {s['clock']['because']}")
    p.kill()
    p.wait()
    def kept(s):
        for mode, until in end.items():
            at = s["written"]["boottime_s"]
            need(at > until or verdict(s, mode) == "within",
                 f"{mode} was promised for {until - began:.0f} s and is {verdict(s, mode)} after {at - began:.0f} s: {s['clock']['because']}")
    began = s["written"]["boottime_s"]
    night, held = looks(m, 0.6 * b.night, kept)
    # What a quiet night leaves, and the morning.
    s, true, _ = honest(m)
    bound = s["clock"]["guard_s"]
    b.receiver(m)
    took = within(m, 300)
    morning, _ = looks(m, max(0.1 * b.night - took, 10))
    said = ", ".join(f"{mode} {(until - began) / 3600:.1f} h, was within {held.get(mode, 0) / 3600:.2f} h" for mode, until in sorted(end.items()))
    return (f"{b.night / 3600:.2f} h; largest error while within {evening * 1e3:.0f} ms by the receiver, {night * 1e3:.0f} ms in {0.6 * b.night / 3600:.2f} h without it, "
            f"{morning * 1e3:.0f} ms in the morning; 0.9 of what was promised: {said}; at dawn {true:+.3f} s off, worst case {bound:.3f} s; "
            f"FT8 within {took:.0f} s after the receiver spoke again")
