"""Cases of files: power cuts while they are written, an installation, an upgrade."""
import os, random, subprocess, time

import powercut
from bench import configure, rtc_off
from cases import case, running
from checks import honest, kept, need, trust, verdict, watch, within

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
