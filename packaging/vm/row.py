"""Many faults in a row on one boot, each ended before the next begins: a boot is what costs here."""
import base64, os, subprocess, time

from bench import configure
from cases import case, running
from checks import honest, kept, need, trust, verdict, watch
from machine import Failed

# The device-mapper's own interface (linux/dm-ioctl.h), for a table of one target over the whole disk.
MAPPER = """
import fcntl, struct, sys
def ask(number, flags=0, count=0, data=b""):
    head = struct.pack("<3IIIIiIIIQ128s129s7x", 4, 0, 0, 312 + len(data), 312, count, 0, flags, 0, 0, 0, b"bench", b"")
    with open("/dev/mapper/control") as f:
        return fcntl.ioctl(f, 0xC138FD00 | number, bytearray(head + data))
size = int(open("/sys/class/block/%s/size" % sys.argv[2]).read())
text = b"/dev/%s 0" % sys.argv[2].encode() if sys.argv[1] == "linear" else b""
text += bytes(8 - len(text) % 8)
if sys.argv[3:] == ["new"]:
    ask(3)
ask(9, 0, 1, struct.pack("<QQiI16s", 0, size, 0, 40 + len(text), sys.argv[1].encode()) + text)
ask(6, 0 if sys.argv[3:] else 2)
ask(6)
"""

def modules(b, name):
    """The kernel's module and what it needs, in order, as one archive: the disk does not have it."""
    release = open(f"{b.cache}/release").read().strip()
    out = subprocess.run(["modprobe", "-d", f"{b.cache}/kernel.d", "-S", release, "--show-depends", name], check=True, stdout=subprocess.PIPE, text=True).stdout
    files = [l.split()[1] for l in out.splitlines() if l.startswith("insmod")]
    subprocess.run(["tar", "-cf", f"{b.work}/modules.tar", "-C", "/", *(f.lstrip("/") for f in files)], check=True)
    return f"{b.work}/modules.tar", files

def script(m, name, text):
    m.sh(f"echo {base64.b64encode(text.encode()).decode()} | base64 -d >/tmp/{name}")

def heard(m, limit=90):
    return m.until("the receiver heard", lambda: trust(honest(m)[0], "receiver")[0] in ("warming", "trusted", "doubted"), limit)[1]

def resumed(m, limit=90):
    return m.until("a fresh status", lambda: m.sh("noonmark ready FT8", check=False)[0] != 3, limit)[1]

@case
def in_a_row(b):
    """One boot: frozen, a jump while stopped, no hardware clock, full load, a disk that fails, a hub, another receiver."""
    tar, files = modules(b, "dm_mod")
    disk = f"{b.work}/card.img"
    subprocess.run(["truncate", "-s", "24M", disk], check=True)
    subprocess.run(["mke2fs", "-q", "-t", "ext4", disk], check=True)
    m = running(b, "installed", usb=True, drives=[tar], extra=("-drive", f"if=none,id=card,file={disk},format=raw", "-device", "virtio-blk-pci,drive=card"))
    heard(m)
    m.sh(f"head -c {os.path.getsize(tar)} /dev/vdb | tar -C / -xf - && for f in {' '.join(files)}; do insmod $f || true; done; test -e /dev/mapper/control")
    done = []
    for step in (frozen, jump, no_rtc, load, broken_card, hub, swapped):
        b.say(f"in a row: {step.__name__}")
        try:
            done.append(f"{step.__name__}: {step(b, m)}")
        except Failed as e:
            raise type(e)(f"{step.__name__}: {e}")
        watch(m, 4)
    return "; ".join(done)

def frozen(b, m):
    """The process is held: a status that grows old, until the service manager ends it."""
    before = m.sh("systemctl show -P MainPID noonmark").strip()
    m.sh(f"kill -STOP {before}")
    m.until("no answer", lambda: m.sh("noonmark ready FT8", check=False)[0] == 3, 60)
    _, took = m.until("a new process", lambda: m.sh("systemctl show -P MainPID noonmark").strip() not in (before, "0"), 120)
    resumed(m)
    heard(m)
    return f"ready exits 3; started again after {took:.0f} s"

def jump(b, m):
    """The clock jumps while the service is stopped."""
    m.sh("systemctl stop noonmark; date -s '+1 hour' >/dev/null; systemctl start noonmark")
    resumed(m)
    _, took = m.until("the clock put right", lambda: abs(honest(m)[1]) < 2, 120, 1)
    return f"an hour, put right after {took:.0f} s"

def no_rtc(b, m):
    """The hardware clock goes from its bus, and comes back."""
    bus = "/sys/bus/pnp/drivers/rtc_cmos"
    device = m.sh(f"basename $(ls -d {bus}/0*)").strip()
    m.sh(f"echo {device} >{bus}/unbind; test ! -e /dev/rtc0; systemctl restart noonmark")
    resumed(m)
    s, *_ = watch(m, 10)
    name, why = trust(s, "hardware clock")
    need(name != "trusted", f"trusted: {why}")
    heard(m)
    m.sh(f"echo {device} >{bus}/bind; test -e /dev/rtc0; systemctl restart noonmark")
    resumed(m)
    return f"goes on; {why}"

def load(b, m):
    """All of the processor's time is wanted by others.

    What starves shows by the limits there are: 3 s until a status is old, 30 s until the watchdog or a silent receiver.
    Ten times the longest is what is played. The emulator gets one of the host's processors for it: it would take
    all, before all others, and who has two would have none for the rest."""
    seconds = 60 if b.short else 300
    may = os.sched_getaffinity(0)
    m.sh("for n in 1 2 3 4; do systemd-run -q --unit=burn$n python3 -c 'while True: pass'; done")
    m.processors({max(may)})
    try:
        worst, end, process = 0, time.monotonic() + seconds, m.sh("systemctl show -P MainPID noonmark")
        while time.monotonic() < end:
            s, *_ = honest(m)
            age = float(m.sh("cut -d' ' -f1 /proc/uptime")) - s["written"]["boottime_s"]
            worst = max(worst, age)
            time.sleep(2)
    finally:
        m.processors(may)
    m.sh("systemctl stop burn1 burn2 burn3 burn4")
    need(m.sh("systemctl show -P MainPID noonmark") == process, "the service was ended meanwhile")
    resumed(m)
    heard(m)
    return f"{seconds} s, the status at most {worst:.1f} s old"

def broken_card(b, m):
    """Reads and writes of the state's disk fail (device-mapper, target "error")."""
    script(m, "mapper.py", MAPPER)
    m.sh("systemctl stop noonmark; python3 /tmp/mapper.py linear vdc new; n=$(cat /sys/class/block/dm-0/dev); mknod -m 600 /dev/card b ${n%:*} ${n#*:}; "
         "cp -a /var/lib/noonmark /tmp/former; mount /dev/card /var/lib/noonmark; cp -a /tmp/former/. /var/lib/noonmark/; chown noonmark: /var/lib/noonmark; sync; systemctl start noonmark")
    resumed(m)
    m.sh("systemctl restart noonmark")
    before = m.sh("cat /var/lib/noonmark/learned.json").encode()
    need(kept(before), "no whole state to begin with")
    m.sh("python3 /tmp/mapper.py error vdc; echo 3 >/proc/sys/vm/drop_caches")
    need(m.sh("dd if=/dev/card of=/dev/null bs=4096 count=1 iflag=direct", check=False)[0] != 0, "the disk can still be read: this proves nothing")
    m.sh("systemctl restart noonmark")
    resumed(m)
    heard(m)
    s, *_ = watch(m, 10)
    said = m.sh("journalctl -b -q -o cat -u noonmark | grep -i 'learned state' | tail -1").strip()
    need(said, "nothing is said of it")
    m.sh("systemctl stop noonmark; umount /var/lib/noonmark; python3 /tmp/mapper.py linear vdc; mount /dev/card /var/lib/noonmark")
    after = m.sh("cat /var/lib/noonmark/learned.json").encode()
    need(kept(after), "learned.json is torn")
    m.sh("umount /var/lib/noonmark; systemctl start noonmark")
    resumed(m)
    return f"works on, FT8 {verdict(s)}; said: {said[-110:]}; the state stayed whole"

def hub(b, m):
    """The hub resets, again and again: the receiver's device goes and comes."""
    configure(m, ("receiver.device", '"/dev/ttyUSB0"'))
    b.receiver(m, "usb")
    m.until("the port", lambda: m.sh("test -e /dev/ttyUSB0", check=False)[0] == 0, 60)
    heard(m)
    took = []
    for n in range(3 if b.short else 10):
        m.sh("for d in /sys/bus/usb/devices/usb*/authorized; do echo 0 >$d; done; sleep 1; for d in /sys/bus/usb/devices/usb*/authorized; do echo 1 >$d; done")
        m.until("its loss noticed, or heard again", lambda: m.sh("test -e /dev/ttyUSB0", check=False)[0] == 0, 60)
        took.append(heard(m))
    return f"{len(took)} times, heard at most {max(took):.0f} s after"

def swapped(b, m):
    """Another receiver, by its serial number, behind the same port."""
    m.sh("systemctl restart noonmark")  # which keeps whose port it is
    heard(m)
    m.qmp("device_del", id="rx")
    m.until("the port gone", lambda: m.sh("test ! -e /dev/ttyUSB0", check=False)[0] == 0, 60)
    m.qmp("device_add", driver="usb-serial", id="rx2", bus="xhci.0", port="1", chardev="usb", serial="BENCH2")
    m.until("the port", lambda: m.sh("test -e /dev/ttyUSB0", check=False)[0] == 0, 60)
    def said():
        s, *_ = honest(m)
        name, why = trust(s, "receiver")
        return "BENCH2" in why and (name, why)
    (name, why), _ = m.until("the other identity said", said, 90)
    need(name not in ("trusted", "warming"), f"the other receiver is {name}: {why}")
    return why

@case
def suspend(b):
    """The computer sleeps for 20 s, as far as the emulator can: the kernel wakes without its firmware."""
    m = running(b, "installed", extra=("-global", "ICH9-LPC.disable_s3=0"))
    heard(m)
    # Linux, Documentation/power/basic-pm-debugging.rst: all of a suspend to memory but the
    # last call of the firmware, which cannot wake a kernel that it did not load. The clocks stand.
    m.sh("echo 20 >/sys/module/suspend/parameters/pm_test_delay; echo core >/sys/power/pm_test; echo deep >/sys/power/mem_sleep; "
         "(sleep 1; echo mem >/sys/power/state) >/dev/null 2>&1 &")
    # An emulator may take many times as long for the 20 s: it answers when the kernel is awake.
    begin = time.monotonic()
    while int(m.ask("sh", 1200, command="cat /sys/power/suspend_stats/success")["out"]) == 0:
        need(time.monotonic() - begin < 1200, "the machine does not wake")
        time.sleep(0.5)
    lay, took = time.monotonic() - begin, resumed(m, 120)
    boot, mono = (float(x) for x in m.sh("python3 -c 'import time; print(time.clock_gettime(time.CLOCK_BOOTTIME), time.monotonic())'", 200).split())
    need(boot - mono > 10, f"it slept {boot - mono:.1f} s only: this proves nothing")
    s, true, _ = watch(m, 20)
    heard(m)
    return f"slept {boot - mono:.0f} s ({lay:.0f} s of the host's); a fresh status {took:.1f} s after it was awake; clock {true:+.3f} s, FT8 {verdict(s)}"
