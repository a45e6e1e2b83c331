"""What is asked of a machine in every case, and asked of the kernel, not of noonmark."""
import json, time, zlib

from bench import LOCATOR, rtc_off
from machine import Failed

def need(ok, text):
    if not ok:
        raise Failed(text)

def honest(m, misled=False):
    """The rule above all others, against the host's clock: no mode is `within` beyond its
    tolerance, the published error lies within the guard, and a kernel that vouches for
    its clock tells a largest error that holds. Returns status, true error, kernel. Misled
    by what nobody contradicts yet, its guard need not hold the truth."""
    true, unsure = m.error()
    s, k = m.status(), m.ask("kernel")
    again, more = m.error()
    if abs(again - true) > 0.002 + unsure + more:
        return honest(m, misled)  # stepped just now
    unsure += more + 0.002
    if s:
        for mode in s["modes"]:
            need(mode["verdict"] != "within" or abs(true) <= mode["tolerance_s"] + unsure,
                 f"{mode['mode']} is within, but the clock is {true:+.3f} s off")
        c = s["clock"]
        if c["guard_s"] is not None and c["basis"] != "none" and not misled:
            need(abs(true - c["error_s"]) <= c["guard_s"] + unsure,
                 f"says {c['error_s']:+.3f} s ± {c['guard_s']:.3f} s, the truth is {true:+.3f} s")
    need(misled or k["unsync"] or abs(true) <= k["maxerror_s"] + unsure,
         f"the kernel vouches for ± {k['maxerror_s']:.3f} s, the truth is {true:+.3f} s")
    return s, true, k

def watch(m, seconds, pause=2):
    """Honest all the while; the last answer."""
    end = time.monotonic() + seconds
    while True:
        got = honest(m)
        if time.monotonic() > end:
            return got
        time.sleep(pause)

def verdict(s, mode="FT8"):
    return next((x["verdict"] for x in s.get("modes", []) if x["mode"] == mode), None)

def trust(s, name):
    return next(((r["trust"], r["because"]) for r in s.get("references", []) if r["name"] == name), (None, ""))

def within(m, limit, mode="FT8"):
    """Waits, honest all the while, until the mode is within; how long that took."""
    return m.until(f"{mode} within", lambda: verdict(honest(m)[0], mode) == "within", limit, 1)[1]

def handed_on(m):
    """What other programs see: the locator's file, `ready`, the kernel."""
    grid = m.sh("cat /run/noonmark/grid").strip()
    need(grid.startswith(LOCATOR), f"the locator is {grid!r}")
    rc, out = m.sh("noonmark ready FT8", check=False)
    need(rc == 0, f"ready FT8: exit {rc}: {out}")
    k = m.ask("kernel")
    need(not k["unsync"], "the kernel still says that the clock is not synchronised")
    return grid

def rtc_right(m, tolerance=0.6):
    """The hardware clock against the truth."""
    off = rtc_off(m)
    need(abs(off) <= tolerance, f"the hardware clock is {off:+.3f} s off")
    return off

def started(m):
    """Seconds from the unit's start to its first status (it reports ready after that) and
    to the first time that FT8 was within, by the journal's stamps; and the share of the
    whole start that the unit's own took."""
    show = dict(l.split("=", 1) for l in m.sh("systemctl show noonmark -p ExecMainStartTimestampMonotonic -p ActiveEnterTimestampMonotonic "
                                              "-p ExecMainPID").split("\n") if "=" in l)
    begin, ready = int(show["ExecMainStartTimestampMonotonic"]), int(show["ActiveEnterTimestampMonotonic"])
    f = {"status_s": (ready - begin) / 1e6, "boot_s": ready / 1e6}
    for line in m.sh(f"journalctl -q -o json _PID={show['ExecMainPID']} | grep msg=verdict || true").splitlines():
        e = json.loads(line)
        if "FT8=within" in e["MESSAGE"]:
            f["within_s"] = (int(e["__MONOTONIC_TIMESTAMP"]) - begin) / 1e6
            break
    return f

def kept(text):
    """Checks a file of learned state by its own header: version, CRC-32 (the common one,
    RFC 1952) of the rest. Returns what it holds, or None if it is torn."""
    head, _, body = text.partition(b"\n")
    words = head.split(b" ")
    if len(words) != 2 or words[0] != b"noonmark/learned/v1" or not body.endswith(b"\n"):
        return None
    if int(words[1], 16) != zlib.crc32(body[:-1]):
        return None
    return json.loads(body)

def nobody_blamed(m, when):
    """Nobody else touches the clock here: what is said of another hand is said of our own."""
    said = m.sh("journalctl -b -q -o cat -u noonmark | grep -E 'under way at the start|had left the kernel|nother program' || true").strip()
    need(not said, f"{when}: {said}")

def sent(m):
    """Bytes that the kernel has sent to the receiver since the boot, by the driver's own count (proc_tty_driver)."""
    return int(m.sh("sed -n 's/^1:.* tx:\\([0-9]*\\).*/\\1/p' /proc/tty/driver/serial") or 0)

def received(m, name):
    """Bytes that came out of the machine at the receiver's end of a line, by the receiver's own count."""
    try:
        with open(f"{m.folder}/{name}.received") as f:
            return sum(len(bytes.fromhex(line.split()[1])) for line in f)
    except FileNotFoundError:
        return 0

def echo_on(m, port):
    """Root turns a line's echo on. The service switches it off after each burst, maybe before it is looked at."""
    need(any("-echo " not in m.sh(f"stty -F {port} sane; stty -F {port} -a") for _ in range(5)), "the line does not echo: this proves nothing")
