"""The cases. Each starts from a disk, does one thing to the machine, and returns in a
few words what was measured; Failed is raised where something is not as it must be."""
import os, random, subprocess, time

import bench, powercut
from bench import configure, rtc_off

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

@case
def power_cut(b):
    """The power is cut at random moments while learned state is being written."""
    disk, draw = b.disk("installed"), random.Random(7)
    # First real cuts: the machine vanishes between two instructions and starts again.
    real = 1 if b.short else 8
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
        b.rtc[disk] = rtc_off(m)
        time.sleep(draw.uniform(0, 1))
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
    restarts = 4 if b.short else 15
    for _ in range(restarts):
        m.until("a place to keep", lambda: m.sh("grep FG69gu /run/noonmark/grid", check=False)[0] == 0, 120)
        m.sh("systemctl restart noonmark")
    m.cut()
    saves = powercut.saves(log, after)
    need(saves >= restarts, f"only {saves} times was a state written: nothing was tried")
    seen = powercut.States()
    cuts, writes = powercut.replay(image, log, f"{b.work}/cut", 50 if b.short else 1000, seen.look, powercut.STATE, after=after)
    return (f"{real} real cuts, then at {cuts} of {writes} recorded writes with {saves} saves: "
            f"no file torn, no state lost; at most {seen.leftovers} file left over")

@case
def power_cut_upgrade(b):
    """The power is cut at random moments of an installation and an upgrade."""
    debs = [b.deb, b.newer()]
    image, log, folder = f"{b.work}/cut.img", f"{b.work}/cut.log", f"{b.work}/cut"
    base = b.overlay(f"{b.cache}/base.img", "raw")
    subprocess.run(["qemu-img", "convert", "-O", "raw", base, image], check=True)
    open(log, "wb").close()
    m = b.start(base, log_writes=log, drives=debs)
    b.receiver(m)
    m.sh("sync")
    marks = [sum(1 for _ in powercut.entries(log))]
    for n, deb in enumerate(debs):
        m.sh(f"head -c {os.path.getsize(deb)} /dev/vd{'bc'[n]} >/tmp/n.deb && sync && dpkg -i /tmp/n.deb </dev/null", 600)
        # The settings of a new owner; the state must be written in between, and by the restart.
        configure(m, ("receiver.device", '"/dev/ttyS1"'))
        m.until("a place to keep", lambda: m.sh("grep FG69gu /run/noonmark/grid", check=False)[0] == 0, 120)
        time.sleep(6)  # what the system writes when it pleases
        m.sh("sync")
        marks.append(sum(1 for _ in powercut.entries(log)))
    m.cut()
    seen = powercut.Packages(debs, f"{b.work}/unpacked", marks)
    cuts, keep = 60 if b.short else 1000, {20} if b.short else {100, 300, 500, 700, 900}
    cuts, writes = powercut.replay(image, log, folder, cuts, seen.look, powercut.PACKAGE, after=marks[0], keep=keep)
    for n in sorted(keep):
        mended(b, f"{folder}-{n}.img", debs[1])
    return (f"at {cuts} of {writes} recorded writes: program, units, settings and state whole or not there yet; "
            f"after {len(keep)} of them started again, and installed as ever")

def mended(b, image, deb):
    """A disk on which an installation was cut off: it starts, and the same command ends it well."""
    m = b.start(b.overlay(image, "raw"), drives=[deb])
    b.receiver(m)
    m.sh(f"dpkg --configure -a </dev/null; head -c {os.path.getsize(deb)} /dev/vdb >/tmp/n.deb && dpkg -i /tmp/n.deb </dev/null", 600)
    need(m.sh("dpkg-query -W -f '${Status} ${Version}' noonmark") == "install ok installed 99.0", "it is not installed")
    need("steer = true" in m.sh("cat /etc/noonmark/noonmark.toml"), "the settings as delivered are not there")
    m.until("a status", lambda: verdict(m.status()), 120)
    watch(m, 5)
    m.cut()

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
    said, _ = m.until("said so", lambda: "local time" in (t := trust(honest(m)[0], "hardware clock"))[1] and t[1], 60)
    s, true, _ = watch(m, 60)
    r = rtc_off(m)
    need(abs(r + 4 * 3600) < 3, f"the hardware clock was set: it is {r:+.0f} s off")
    return f"left as it is; clock {true:+.3f} s, FT8 {verdict(s)}: {said}"

@case
def late_receiver(b):
    """No word from the receiver at first; it is switched on a minute later."""
    m = running(b, "evening", receiver=False)
    s, *_ = watch(m, 30)
    need(trust(s, "receiver")[0] == "silent", f"receiver {trust(s, 'receiver')}")
    b.receiver(m)
    _, took = m.until("the receiver heard", lambda: trust(honest(m)[0], "receiver")[0] in ("warming", "trusted"), 60)
    m.until("the locator", lambda: m.sh("grep FG69gu /run/noonmark/grid", check=False)[0] == 0, 60)
    s, true, _ = watch(m, 30)
    return f"heard after {took:.0f} s; clock {true:+.4f} s, FT8 {verdict(s)}; {' '.join(trust(s, 'receiver'))}"

@case
def replug(b):
    """A USB receiver is plugged in after the start, pulled out and plugged in again."""
    m = running(b, "evening", receiver=False, usb=True)
    configure(m, ("receiver.device", '"/dev/serial/by-id/usb-QEMU_QEMU_USB_SERIAL_BENCH1-if00-port0"'))
    took = []
    for n in range(3):
        p = b.receiver(m, "usb")
        took.append(m.until("the receiver heard", lambda: trust(honest(m)[0], "receiver")[0] in ("warming", "trusted"), 120)[1])
        watch(m, 10)
        p.kill()
        p.wait()
        m.until("its silence noticed", lambda: trust(honest(m)[0], "receiver")[0] == "silent", 60)
        watch(m, 5)
    m.sh("test -z \"$(ls /dev/serial/by-id 2>/dev/null)\"")
    return "heard after " + ", ".join(f"{t:.0f}" for t in took) + " s, three times"

@case
def weeks(b):
    """The receiver's date is 1024 weeks early."""
    m = b.start(b.disk("evening"), wait=False)
    b.receiver(m, weeks=1024)
    m.up()
    m.until("a status", lambda: verdict(m.status()), 120)
    said, _ = m.until("said so", lambda: "1024" in (t := trust(honest(m)[0], "receiver"))[1] and t[1], 90)
    s, true, _ = watch(m, 30)
    need(abs(true) < 1, f"the clock is {true:+.3f} s off")
    return f"clock {true:+.3f} s, FT8 {verdict(s)}: {said}"

@case
def other_steps(b):
    """Another program steps the clock: once, then again and again."""
    m = running(b, "evening")
    within(m, 120)
    m.sh("date -s '+5 seconds' >/dev/null")
    rc, out = m.sh("noonmark ready FT8", check=False)
    need(rc == 1, f"just after the step ready exits {rc}: {out}")
    _, took = m.until("corrected", lambda: abs(honest(m)[1]) < 0.3, 60)
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

@case
def upgrade(b):
    """A newer package in place, then removed, then purged."""
    deb = b.newer()
    m = running(b, "installed" if b.short else "evening", drives=[deb])
    if not b.short:
        within(m, 120)
    m.until("the receiver heard", lambda: trust(honest(m)[0], "receiver")[0] in ("warming", "trusted", "doubted"), 120)
    m.sh(f"head -c {os.path.getsize(deb)} /dev/vdb >/tmp/n.deb && setsid dpkg -i /tmp/n.deb </dev/null", 300)
    need(m.sh("dpkg-query -W -f '${Version}' noonmark") == "99.0", "not the new version")
    need(m.sh("readlink /proc/$(systemctl show -P MainPID noonmark)/exe").strip() == "/usr/bin/noonmark", "the old program still runs")
    took = m.until("a status", lambda: verdict(honest(m)[0]), 90)[1] if b.short else within(m, 90)
    need("ttyS1" in m.sh("cat /etc/noonmark/noonmark.toml.d/*"), "the operator's settings are lost")
    state = kept(m.sh("cat /var/lib/noonmark/learned.json").encode())
    need(state and (b.short or state["learned"]["latencies"]), "what was learned is lost")
    watch(m, 10)
    m.sh("apt-get remove -y noonmark", 200)
    need(m.sh("ls /var/lib/noonmark/learned.json /etc/noonmark/noonmark.toml") and m.sh("systemctl is-active noonmark", check=False)[0], "removed")
    m.sh("apt-get purge -y noonmark", 200)
    need(m.sh("ls -d /var/lib/noonmark /etc/noonmark", check=False)[0], "purged, but files are left")
    return f"{'a status' if b.short else 'within'} {took:.0f} s after the upgrade, settings and learned state kept; removed: kept; purged: gone"
