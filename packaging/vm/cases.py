"""The cases. Each starts from a disk, does one thing to the machine, and returns in a
few words what was measured; Failed is raised where something is not as it must be."""
import time

from bench import rtc_off

from checks import handed_on, honest, kept, need, nobody_blamed, rtc_right, sent, started, trust, verdict, watch, within

ALL = {}

def case(f):
    ALL[f.__name__.replace("_", "-")] = f
    return f

@case
def boot(b):
    """Starts three days wrong; the receiver has a fix; nothing learned yet."""
    m = b.start(b.disk("installed"), rtc=-3 * 86400.0, wait=False)
    b.receiver(m, wire=1)
    m.up()
    _, took = m.until("the clock set", lambda: abs(honest(m)[1]) < 2, 120, 1)
    s, true, k = watch(m, 20)
    need(k["unsync"] or "second" in s["clock"]["proved"], "vouched for a second that nobody proved")
    m.until("time-set.target", lambda: m.sh("systemctl is-active time-set.target", check=False)[0] == 0, 60)
    m.until("the locator", lambda: m.sh("grep FG69gu /run/noonmark/grid", check=False)[0] == 0, 60)
    f = started(m)
    return (f"status {f['status_s']:.1f} s after the unit's start, clock {true:+.3f} s, guard {s['clock']['guard_s']:.2f} s, "
            f"FT8 {verdict(s)}: {s['clock']['because']} {sent(m)} bytes sent to the receiver at the first opening of a line that echoes.")

@case
def boot_ahead(b):
    """Starts three days ahead; the receiver has a fix; its latency is learned."""
    m = b.start(b.disk("evening"), rtc=3 * 86400.0, wait=False)
    b.receiver(m)
    m.up()
    # A hardware clock that went on three days cannot be told from one that was off as long.
    def said():
        s, true, _ = honest(m, misled=True)
        return "disagree" in trust(s, "receiver")[1] + trust(s, "hardware clock")[1] and (s, true)
    (s, true), took = m.until("the disagreement said", said, 120, 1)
    end = time.monotonic() + 30
    while time.monotonic() < end:
        s, true, _ = honest(m, misled=True)
        need(verdict(s) != "within", "one of two that disagree is believed")
        time.sleep(2)
    return f"said {took:.0f} s later; clock {true:+.0f} s, FT8 {verdict(s)}: {' '.join(trust(s, 'receiver'))} {' '.join(trust(s, 'hardware clock'))}"

@case
def boot_ready(b):
    """Starts as every evening: receiver with a fix, latency learned, hardware clock right."""
    m = running(b, "evening")
    within(m, 120)
    s, true, _ = watch(m, 20)
    f = started(m)
    for target in ("time-set.target", "time-sync.target"):
        m.until(target, lambda: m.sh(f"systemctl is-active {target}", check=False)[0] == 0, 60)
    grid, off = handed_on(m), rtc_right(m)
    return (f"status {f['status_s']:.1f} s, FT8 within {f['within_s']:.1f} s after the unit's start (started at {f['boot_s'] - f['status_s']:.0f} s of the boot); "
            f"clock {true:+.4f} s, hardware clock {off:+.2f} s, kernel synchronised, locator {grid}, both time targets reached")

@case
def rtc_only(b):
    """Starts with the hardware clock only and learned state."""
    m = b.start(b.disk("evening"))
    within(m, 120)
    f, (s, true, _) = started(m), watch(m, 20)
    need(s["clock"]["basis"] == "rtc", f"stands on {s['clock']['basis']}")
    return f"status {f['status_s']:.1f} s, FT8 within {f.get('within_s', -1):.1f} s after the unit's start; clock {true:+.3f} s"

@case
def kill(b):
    """The service is killed and comes back."""
    m = b.start(b.disk("installed"), wait=False)
    b.receiver(m)
    m.up()
    m.until("the receiver heard", lambda: trust(m.status(), "receiver")[0] not in (None, "silent"), 120)
    watch(m, 10)
    worst = 0
    times = 1 if b.short else 3
    for _ in range(times):
        before = m.sh("systemctl show -P MainPID noonmark").strip()
        error = m.error()[0]
        m.sh("systemctl kill -s KILL noonmark")
        m.until("a new process", lambda: m.sh("systemctl show -P MainPID noonmark").strip() not in (before, "0"), 30)
        _, took = m.until("a fresh status", lambda: m.sh("noonmark ready FT8", check=False)[0] != 3, 30)
        worst = max(worst, took)
        _, true, k = watch(m, 5)
        need(abs(true - error) < 0.5, f"the clock went from {error:+.3f} to {true:+.3f} s")
        nobody_blamed(m, "after a kill")
        need(abs(k["freq_ppm"]) < 300 and k["tick_us"] == 10000, f"left in the kernel: {k}")
    need(m.sh("systemctl is-active noonmark").strip() == "active", "not active")
    return f"{times} times; a fresh status at most {worst:.1f} s after"

def running(b, disk, receiver=True, wire=0, **how):
    """A machine in which noonmark publishes."""
    m = b.start(b.disk(disk), wait=False, **how)
    if receiver:
        b.receiver(m, wire=wire)
    m.up()
    m.until("a status", lambda: verdict(m.status()), 120)
    return m

@case
def rtc_dead(b):
    """The hardware clock is dead: it starts in 1970, and later its date is invalid."""
    m = running(b, "evening", rtc="1970-01-01T00:00:00", pps=True)
    m.until("the clock set", lambda: abs(honest(m)[1]) < 2, 120, 1)
    s, true, _ = watch(m, 30)
    first = trust(s, "hardware clock")
    # Register B's SET bit stops the update, so that qemu leaves the month 13 standing
    # (the MC146818's data sheet); the kernel then refuses to read it.
    m.qtest("outb 0x70 0xb", "outb 0x71 0x82", "outb 0x70 8", "outb 0x71 0x13")
    need(m.sh("cat /sys/class/rtc/rtc0/since_epoch", check=False)[0] != 0, "the date is still valid")
    m.sh("systemctl restart noonmark")
    m.until("a status", lambda: verdict(m.status()), 60)
    s, true, _ = watch(m, 20)
    second = trust(s, "hardware clock")
    need("trusted" not in (first[0], second[0]), f"trusted: {first}, {second}")
    need(abs(true) < 1, f"the clock is {true:+.3f} s off")
    return f"clock {true:+.3f} s; 1970: {first[1]} Invalid: {second[1]}"

@case
def rtc_local(b):
    """The hardware clock keeps local time, four hours behind UTC."""
    m = running(b, "learned", rtc=-4 * 3600.0)
    m.until("the clock set", lambda: abs(honest(m)[1]) < 2, 120, 1)
    # It is compared once the receiver has told the time, at its next reading: a minute after the one before.
    said, _ = m.until("said so", lambda: "local time" in (t := trust(honest(m)[0], "hardware clock"))[1] and t[1], 150)
    s, true, _ = watch(m, 60)
    r = rtc_off(m)
    need(abs(r + 4 * 3600) < 3, f"the hardware clock was set: it is {r:+.0f} s off")
    return f"left as it is; clock {true:+.3f} s, FT8 {verdict(s)}: {said}"

@case
def other_steps(b):
    """Another program steps the clock: once, then again and again."""
    m = running(b, "evening")
    within(m, 120)
    m.sh("date -s '+5 seconds' >/dev/null")
    rc, out = m.sh("noonmark ready FT8", check=False)
    need(rc == 1, f"just after the step ready exits {rc}: {out}")
    # A step waits for the gap that the modes shown have in common: it comes once in their common cycle, 120 s at most.
    _, took = m.until("corrected", lambda: abs(honest(m)[1]) < 0.3, 150)
    watch(m, 10)
    for n in range(4):
        m.sh("date -s '+3 seconds' >/dev/null")
        watch(m, 6, 1)
    s, true, k = honest(m)
    need("nother program" in s["clock"]["steering_because"], f"steering: {s['clock']['steering_because']}")
    error = true
    s, true, k = watch(m, 15)
    need(abs(true - error) < 0.1, "it is fought")
    return f"first corrected {took:.1f} s later; then clock {true:+.3f} s, FT8 {verdict(s)}: {s['clock']['steering_because']}"

@case
def disk_full(b):
    """No byte is left on the disk."""
    m = running(b, "evening")
    before = m.sh("cat /var/lib/noonmark/learned.json").encode()
    m.sh("dd if=/dev/zero of=/full bs=1M 2>/dev/null; dd if=/dev/zero of=/full2 bs=512 2>/dev/null; sync", check=False)
    for _ in range(3):
        m.sh("systemctl restart noonmark")
        m.until("a status", lambda: verdict(m.status()), 60)
    took = within(m, 60)
    need(kept(m.sh("cat /var/lib/noonmark/learned.json").encode()), "learned.json is torn")
    rc, said = m.sh("noonmark preflight | grep -i -A2 disk", check=False)
    m.sh("rm /full /full2; systemctl restart noonmark; sleep 3; systemctl restart noonmark")
    after = m.sh("cat /var/lib/noonmark/learned.json").encode()
    need(kept(after) and after != before, "nothing is kept although there is room again")
    return f"works on, within after {took:.0f} s; the old state stays whole; preflight: {' '.join(said.split())}"

@case
def read_only(b):
    """The root file system is read-only."""
    m = running(b, "installed" if b.short else "evening")
    m.sh("sed -i 's/noatime/ro,noatime/' /etc/fstab")
    b.rtc[m.disk] = rtc_off(m)
    m.off()
    m = b.start(m.disk, options="ro", wait=False)
    b.receiver(m)
    m.up()
    m.until("a status", lambda: verdict(m.status()), 120)
    need(m.sh("touch /var/lib/noonmark/x", check=False)[0] != 0, "the root can be written")
    m.until("the receiver's time", lambda: honest(m)[0]["clock"]["basis"] == "gnss", 90)
    s, true, _ = watch(m, 20)
    need(abs(true) < (2 if b.short else 0.3), f"the clock is {true:+.3f} s off")
    grid, _ = m.until("the locator", lambda: m.sh("cat /run/noonmark/grid", check=False)[1].strip(), 60)
    need(m.sh("touch /tmp/x", check=False)[0] != 0, "the folder for temporary files can be written: this proves nothing")
    for unit in ("noonmark-time-set", "noonmark-time-sync"):
        m.until(unit, lambda: m.sh(f"systemctl show -P ActiveState {unit}").strip() in ("active", "failed"), 200, 2)
        need(m.sh(f"systemctl show -P Result {unit}").strip() == "success", f"{unit}: {m.sh(f'systemctl status {unit}', check=False)[1]}")
    waiting_fails(m)
    return f"works on, both waiting units too, and where one cannot look its target is not reached; clock {true:+.4f} s, FT8 {verdict(s)}, locator {grid}: {s['clock']['because']}"

def waiting_fails(m):
    """A waiting unit that cannot even start: its target is not kept, and preflight says so."""
    for name in ("set", "sync"):
        unit, target = f"noonmark-time-{name}", f"time-{name}.target"
        m.sh(f"mkdir -p /run/systemd/system/{unit}.service.d; printf '[Service]\\nBindPaths=/nothing/here\\n' >/run/systemd/system/{unit}.service.d/bench.conf; "
             f"systemctl daemon-reload; systemctl restart {unit}", check=False)
        need(m.sh(f"systemctl show -P Result {unit}").strip() == "exit-code", f"{unit} did not fail: this proves nothing")
        m.until(f"{target} not kept", lambda: m.sh(f"systemctl is-active {target}", check=False)[1].strip() == "inactive", 30)
        rc, said = m.sh("noonmark preflight", check=False)
        need(rc == 1 and f"{unit}.service failed" in " ".join(said.split()), f"preflight exits {rc}: {said[-600:]}")
        m.sh(f"rm /run/systemd/system/{unit}.service.d/bench.conf; systemctl daemon-reload; systemctl restart {unit}", 200)
        need(m.sh(f"systemctl is-active {target}").strip() == "active", f"{unit} works again, and {target} is not reached")

@case
def no_capability(b):
    """The service may not set the clock."""
    m = running(b, "evening", receiver=True)
    m.sh("mkdir -p /etc/systemd/system/noonmark.service.d; printf '[Service]\\nAmbientCapabilities=\\nCapabilityBoundingSet=\\n' "
         ">/etc/systemd/system/noonmark.service.d/bench.conf; systemctl daemon-reload; systemctl stop noonmark; date -s '+7 seconds' >/dev/null; "
         "systemctl start noonmark")
    m.until("FT8 outside", lambda: verdict(honest(m)[0]) == "outside", 90)
    s, true, k = watch(m, 15)
    need(6 < true < 8.5 and k["unsync"], f"clock {true:+.3f} s, kernel {k}")
    return f"clock left {true:+.3f} s off, steering {s['clock']['steering']}: {s['clock'].get('steering_because', '')}"
