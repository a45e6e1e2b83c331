"""The cases. Each starts from a disk, does one thing to the machine, and returns in a
few words what was measured; Failed is raised where something is not as it must be."""
import random, subprocess, time

import powercut

from checks import handed_on, honest, kept, need, rtc_right, started, trust, verdict, watch, within

ALL = {}

def case(f):
    ALL[f.__name__.replace("_", "-")] = f
    return f

def ago(seconds):
    return time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(time.time() - seconds))

@case
def boot(b):
    """Starts three days wrong; the receiver has a fix; nothing learned yet."""
    m = b.start(b.disk("installed"), rtc=ago(3 * 86400), wait=False)
    b.receiver(m)
    m.up()
    _, took = m.until("the clock set", lambda: abs(honest(m)[1]) < 2, 120, 1)
    s, true, k = watch(m, 20)
    need(k["unsync"] or "second" in s["clock"]["proved"], "vouched for a second that nobody proved")
    m.until("time-set.target", lambda: m.sh("systemctl is-active time-set.target", check=False)[0] == 0, 60)
    m.until("the locator", lambda: m.sh("grep FG69gu /run/noonmark/grid", check=False)[0] == 0, 60)
    f = started(m)
    return (f"status {f['status_s']:.1f} s after the unit's start, clock {true:+.3f} s, guard {s['clock']['guard_s']:.2f} s, "
            f"FT8 {verdict(s)}: {s['clock']['because']}")

@case
def boot_learned(b):
    """Starts three days wrong; the receiver has a fix; latency and oscillator learned."""
    m = b.start(b.disk("learned"), rtc=ago(3 * 86400), wait=False)
    b.receiver(m)
    m.up()
    m.until("the clock set", lambda: abs(honest(m)[1]) < 2, 120, 1)
    s, true, _ = watch(m, 60)
    print(s["clock"], trust(s, "receiver"), trust(s, "hardware clock"))
    return f"clock {true:+.3f} s, FT8 {verdict(s)}: {s['clock']['because']}"

@case
def rtc_only(b):
    """Starts with the hardware clock only and learned state."""
    m = b.start(b.disk("learned"))
    took = within(m, 120)
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
    for _ in range(3):
        before = m.sh("systemctl show -P MainPID noonmark").strip()
        error = m.error()[0]
        m.sh("systemctl kill -s KILL noonmark")
        m.until("a new process", lambda: m.sh("systemctl show -P MainPID noonmark").strip() not in (before, "0"), 30)
        _, took = m.until("a fresh status", lambda: m.sh("noonmark ready FT8", check=False)[0] != 3, 30)
        worst = max(worst, took)
        _, true, k = watch(m, 5)
        need(abs(true - error) < 0.5, f"the clock went from {error:+.3f} to {true:+.3f} s")
        need(abs(k["freq_ppm"]) < 300 and k["tick_us"] == 10000, f"left in the kernel: {k}")
    need(m.sh("systemctl is-active noonmark").strip() == "active", "not active")
    return f"3 times; a fresh status at most {worst:.1f} s after"

@case
def power_cut(b):
    """The power is cut at random moments while learned state is being written."""
    disk, draw = b.disk("installed"), random.Random(7)
    # First real cuts: the machine vanishes between two instructions and starts again.
    real, lost = 2 if b.short else 8, 0
    for n in range(real + 1):
        m = b.start(disk, wait=False)
        b.receiver(m)
        m.up()
        m.until("noonmark", lambda: verdict(m.status()), 120)
        said = m.sh("journalctl -b -q -o cat -u noonmark | grep 'learned state' || true").strip()
        need(not said, f"after cut {n}: {said}")
        if n:
            state = m.sh("cat /var/lib/noonmark/learned.json").encode()
            need(kept(state) and kept(state)["place"]["locator"].startswith("FG69gu"), f"after cut {n}: learned.json is {state!r}")
        if n == real:
            break
        m.until("a place to keep", lambda: m.sh("grep FG69gu /run/noonmark/grid", check=False)[0] == 0, 120)
        m.sh("systemctl restart noonmark")
        m.sh("(while :; do systemctl restart noonmark; sleep 0.$((RANDOM % 10)); done) >/dev/null 2>&1 &")
        time.sleep(draw.uniform(0.5, 20))
        m.cut()
    m.off()
    # Then one run whose writes are recorded, cut at any of them.
    image, log = f"{b.work}/cut.img", f"{b.work}/cut.log"
    subprocess.run(["qemu-img", "convert", "-O", "raw", disk, image], check=True)
    open(log, "wb").close()
    m = b.start(disk, log_writes=log, wait=False)
    b.receiver(m)
    m.up()
    m.until("noonmark", lambda: verdict(m.status()), 120)
    m.sh("sync")
    after = sum(1 for _ in powercut.entries(log))
    for _ in range(4 if b.short else 15):
        m.until("a place to keep", lambda: m.sh("grep FG69gu /run/noonmark/grid", check=False)[0] == 0, 120)
        m.sh("systemctl restart noonmark")
    m.cut()
    seen = powercut.replay(image, log, f"{b.work}/cut", 30 if b.short else 200, after=after)
    need(len(seen["states"]) > 2, f"only {len(seen['states'])} states were ever written: nothing was tried")
    return (f"{real} real cuts, then {seen['cuts']} of {seen['writes']} recorded writes with {len(seen['states'])} states: "
            f"no file torn, no state lost; at most {seen['leftovers']} file left over")
