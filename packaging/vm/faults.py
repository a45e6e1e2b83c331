"""Cases of faults around the service: memory, disk, directories, other programs, stopping."""
import random, time

import bench
from bench import rtc_off
from cases import case, running
from checks import echo_on, honest, kept, need, nobody_blamed, sent, trust, verdict, watch

def resumed(m, limit=60):
    """A status that is fresh again: "ready" can tell."""
    return m.until("a fresh status", lambda: m.sh("noonmark ready FT8", check=False)[0] != 3, limit)[1]

@case
def stop(b):
    """Stopped at any moment after its start: soon, and nothing is sent, whoever turns the line's echo on."""
    draw, worst, times, opening = random.Random(3), (0, 0, 0), 8 if b.short else 50, []
    m = running(b, "installed", wire=1)
    first = sent(m)
    def seconds(unit):
        return float(m.sh(f"a=$(cut -d' ' -f1 /proc/uptime); systemctl stop {unit}; b=$(cut -d' ' -f1 /proc/uptime); python3 -c \"print($b - $a)\""))
    def stopped():
        """How long a stop took, by how much the machine is slower just now than a board, and the one by the other."""
        m.sh("systemd-run -q --unit=nothing sleep 600")
        slow = max(1, m.slow, seconds("nothing") / 0.1)  # 0.1 s for a process that only ends: an assumption
        took = seconds("noonmark")
        need("timed out" not in m.sh("journalctl -b -q -o cat -u noonmark | tail -3"), f"stop {n}: it had to be killed")
        return took / slow, took, slow
    for n in range(times):
        # Each third time a line that echoes from its opening on, as after the boot: what the kernel
        # echoes before the first system call of ours cannot be held.
        echoes = n % 3 == 2
        m.sh(f"systemctl stop noonmark; stty -F /dev/ttyS1 {'sane' if echoes else 'raw -echo'}")
        before = sent(m)
        m.sh("systemctl --no-block start noonmark")
        if n % 3 == 1:  # another program turns the echo on under it
            m.until("a status", lambda: verdict(m.status()), 60)
            echo_on(m, "/dev/ttyS1")
        time.sleep(draw.uniform(0, 3 * m.slow))
        worst = max(worst, stopped())
        more = sent(m) - before
        if echoes:
            opening.append(more)
        nobody_blamed(m, f"start and stop {n}")
        need(echoes or more == 0, f"start and stop {n}: {more} bytes were sent to the receiver")
    need(worst[0] <= 1.5, "a stop took %.2f of a board's seconds (%.2f s on a machine slower by %.1f)" % worst)
    return (f"{times} times, at most {worst[0]:.2f} s of a board ({worst[1]:.2f} s, slower by {worst[2]:.1f}); 0 bytes sent in {times - len(opening)}; at the opening of a line that echoes "
            f"{opening}, and {first} at the first of the boot")

@case
def run_full(b):
    """The directory of the status is full."""
    m = running(b, "installed")
    m.sh("dd if=/dev/zero of=/run/full bs=64k 2>/dev/null; dd if=/dev/zero of=/run/full2 bs=512 2>/dev/null", check=False)
    said, _ = m.until("said", lambda: m.sh("journalctl -b -q -o cat -u noonmark | grep -i 'no space' || true").strip(), 60)
    code, _ = m.until("no fresh status", lambda: m.sh("noonmark ready FT8", check=False)[0] == 3 and 3, 60)
    need(m.sh("systemctl is-active noonmark").strip() == "active", "the service ended")
    true = m.error()[0]
    m.sh("rm /run/full /run/full2")
    took = resumed(m)
    watch(m, 10)
    return f"ready exits {code}, said: {said.splitlines()[-1][-90:]}; fresh again {took:.1f} s after there was room; clock {true:+.2f} s"

@case
def no_inodes(b):
    """The disk has room and no inode left."""
    m = running(b, "installed")
    before = m.sh("cat /var/lib/noonmark/learned.json", check=False)[1]
    m.sh("mkdir /many && cd /many && python3 -c '\nn = 0\ntry:\n  while True:\n    open(str(n), \"w\").close(); n += 1\nexcept OSError as e:\n  print(n, e)'", 300)
    need(m.sh("touch /x", check=False)[0] != 0, "there still is an inode")
    for _ in range(2):
        m.sh("systemctl restart noonmark")
        m.until("a status", lambda: verdict(m.status()), 60)
    watch(m, 10)
    state = m.sh("cat /var/lib/noonmark/learned.json", check=False)[1].encode()
    need(not state or kept(state) or not before, "learned.json is torn")
    m.sh("rm -rf /many", 300)
    m.sh("systemctl restart noonmark")
    m.until("a status", lambda: verdict(m.status()), 60)
    return "works on; what was kept stays whole"

@case
def two_services(b):
    """A second service is started beside the first."""
    m = running(b, "installed")
    rc, out = m.sh("timeout 20 setpriv --reuid=noonmark --regid=noonmark --clear-groups noonmark run --run-dir /run/noonmark --state-dir /tmp 2>&1 || "
                   "timeout 20 runuser -u noonmark -- noonmark run --run-dir /run/noonmark --state-dir /tmp 2>&1", check=False)
    need(rc != 0 and "another noonmark publishes there" in out, f"exit {rc}: {out[-300:]}")
    watch(m, 5)
    return "the second says that another publishes there, and ends; the first goes on"

@case
def memory(b):
    """Other programs take all memory that there is."""
    m = running(b, "installed")
    before = m.sh("systemctl show -P MainPID noonmark").strip()
    m.sh("systemd-run --unit=eater -q python3 -c 'import time\na = []\nwhile True:\n  a.append(bytearray(b\"x\" * 4000000)); time.sleep(0.02)'")
    m.until("the end of the eater", lambda: m.sh("systemctl is-active eater", check=False)[0] != 0, 200, 2)
    took = resumed(m, 90)
    watch(m, 10)
    after = m.sh("systemctl show -P MainPID noonmark").strip()
    return f"status fresh {took:.1f} s after; {'the same process' if before == after else 'started again'}"

@case
def other_unit(b):
    """A network-time service of another make starts beside it."""
    m = running(b, "installed")
    m.sh("echo other-time.service >/usr/lib/systemd/ntp-units.d/90-other.list; "
         "printf '[Service]\\nExecStart=/bin/sleep 3600\\n' >/etc/systemd/system/other-time.service; systemctl daemon-reload; systemctl start other-time")
    rc, out = m.sh("noonmark preflight", check=False)
    need(rc == 1 and "other-time.service" in out, f"exit {rc}: {out[-500:]}")
    watch(m, 5)
    m.sh("systemctl stop other-time")
    rc, out = m.sh("noonmark preflight", check=False)
    need("other-time.service runs" not in out, out[-500:])
    return "preflight names it and how to stop it"

@case
def brown_out(b):
    """Cut and started again at random instants, from the kernel's first line on."""
    draw, disk, cuts = random.Random(11), b.disk("installed"), 3 if b.short else 20
    for n in range(cuts):
        m = b.start(disk, wait=False)
        b.receiver(m)
        time.sleep(draw.uniform(0.5, 40))
        m.cut()
    m = b.start(disk, wait=False)
    b.receiver(m)
    m.up()
    m.until("a status", lambda: verdict(m.status()), 120)
    said = m.sh("journalctl -b -q -o cat -u noonmark | grep 'learned state' || true").strip()
    need(not said, said)
    watch(m, 10)
    return f"{cuts} cuts; then as ever"
