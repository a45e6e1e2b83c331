"""What all cases share: disks in stages, the receiver, a time server, standard checks."""
import base64, glob, hashlib, os, shutil, socket, struct, subprocess, sys, tempfile, threading, time

import evening
from machine import Busy, Failed, Machine, at_once, child

HERE = os.path.dirname(os.path.abspath(__file__))
TOP = os.path.dirname(os.path.dirname(HERE))
PATIENCE = 2400  # s for a latency to be learned: it is proved 15 min after the stream began at the earliest
LOCATOR = "FG69gu"  # of -20.13, -67.49

# What decides what an evening leaves behind: who learns, who keeps it, and the machine.
# An evening takes half an hour, so it is made once for each content of these files; its
# state is put on a disk with whatever package is tried.
EVENING = ("clockcheck", "gnss", "rtc", "cmd/internal/keep", "cmd/internal/station", "cmd/internal/hostclock",
           "packaging/vm/receiver.py", "packaging/vm/build", "packaging/vm/guest")

def inputs():
    """The hash of the files that decide an evening, tests apart; or the name of one that an
    earlier version left, as on a station that was upgraded since."""
    if name := os.environ.get("NOONMARK_VM_EVENING"):
        return name
    h = hashlib.sha256()
    for of in EVENING:
        top = f"{TOP}/{of}"
        names = [top] if os.path.isfile(top) else sorted(glob.glob(f"{top}/**", recursive=True))
        for name in names:
            if os.path.isfile(name) and not name.endswith("_test.go") and "/testdata/" not in name and "__pycache__" not in name:
                with open(name, "rb") as f:
                    h.update(f"{os.path.relpath(name, TOP)}\0".encode() + hashlib.sha256(f.read()).digest())
    return h.hexdigest()[:12]

def configure(m, *changes, restart=True):
    """Changes settings ("group.key", "value as TOML") by one more file of the operator's folder."""
    groups = {}
    for key, value in changes:
        group, name = key.split(".")
        groups.setdefault(group, []).append(f"{name} = {value}\n")
    lines = "".join(f"[{group}]\n{''.join(keys)}" for group, keys in groups.items())
    text = base64.b64encode(lines.encode()).decode()
    m.sh(f"cd /etc/noonmark/noonmark.toml.d && echo {text} | base64 -d >$(printf '%03d' $(ls | wc -l))-bench.toml")
    if restart:
        m.sh("systemctl restart noonmark")

class Bench:
    """The folders of one run. cache outlives it: kernel, base disk, disks with the package."""

    def __init__(self, cache, deb, short, keep):
        self.cache, self.deb, self.short, self.keep = cache, deb, short, keep
        self.work = tempfile.mkdtemp(prefix="noonmark-vm-")
        self.rtc, self.state = {}, {}  # of disks; what is put on one by its next start
        self.children, self.machines, self.figures = [], [], {}
        with open(deb, "rb") as f:
            self.name = hashlib.sha256(f.read()).hexdigest()[:12]
        self.size = os.path.getsize(deb)
        self.inputs = inputs()

    def say(self, text):
        print(f"vm: {text}", file=sys.stderr, flush=True)

    # Disks.

    def disk(self, stage):
        """A new disk with the package ("installed"), made when missing; and what an evening left
        behind ("learned", "evening"), put on it by its first start."""
        path = f"{self.cache}/installed-{self.name}.qcow2"
        if not os.path.exists(path):
            begin = time.monotonic()
            self._install(path)
            self.say(f"disk installed: {time.monotonic() - begin:.0f} s")
        new, left = self.overlay(path), path + ".rtc"
        if stage != "installed":
            state = f"{self.cache}/{stage}-{self.inputs}.tar"
            if not os.path.exists(state):
                begin = time.monotonic()
                self._learn(state, vouch=stage == "learned")
                self.say(f"an evening ({stage}): {time.monotonic() - begin:.0f} s")
            self.state[new], left = f"{new}.tar", state + ".rtc"
            evening.date_anew(state, self.state[new])
        with open(left) as f:
            self.rtc[new] = float(f.read())
        return new

    def evening_again(self, m):
        """Takes back what the service has learned in this machine: its state is the evening's."""
        path = f"{self.work}/again.tar"
        evening.date_anew(f"{self.cache}/evening-{self.inputs}.tar", path)
        with open(path, "rb") as f:
            text = base64.b64encode(f.read()).decode()
        m.sh(f"rm -rf /var/lib/noonmark/*; echo {text} | base64 -d | tar -C /var/lib/noonmark -xf -")

    def overlay(self, path, kind="qcow2"):
        n = len(self.machines)
        while os.path.exists(new := f"{self.work}/disk{n}.qcow2"):
            n += 1
        subprocess.run(["qemu-img", "create", "-q", "-f", "qcow2", "-F", kind, "-b", path, new], check=True)
        return new

    def _install(self, path):
        """A Debian that has never seen it, the package by apt, and the receiver's port named."""
        m = self.start(self.overlay(f"{self.cache}/base.img", "raw"), drives=[self.deb])
        m.sh(f"head -c {self.size} /dev/vdb >/tmp/noonmark.deb && apt-get install -y --no-install-recommends /tmp/noonmark.deb", 300)
        # As delivered a start does not wait for proved time; here it does, so that it is tried.
        need = m.sh("systemctl is-enabled noonmark-time-set noonmark-time-sync", check=False)[1].split()
        if need != ["enabled", "disabled"]:
            raise Failed(f"installed, and the waiting units are {need}")
        m.sh("systemctl enable noonmark-time-sync")
        configure(m, ("receiver.device", '"/dev/ttyS1"'))
        self.leave(m, path)

    def _learn(self, state, vouch=True):
        """An evening with a time server in camp: latency and hardware clock get learned, and are
        kept as a file. Without vouch the kernel is not told, and so never writes the hardware
        clock itself: what that leaves at the end stands for many evenings, in which its habit
        gets learned."""
        server = TimeServer()
        m = self.start(self.disk("installed"), net=True)
        self.receiver(m)
        m.sh("printf '[Match]\\nName=e*\\n[Network]\\nAddress=10.0.2.15/24\\nGateway=10.0.2.2\\n' >/etc/systemd/network/camp.network; "
             "systemctl start systemd-networkd")
        configure(m, ("network.servers", f'["10.0.2.2:{server.port}"]'), ("clock.vouch", str(vouch).lower()))
        learned = lambda: (s := m.status()) and {"second", "latency"} <= set(s["clock"]["proved"])
        m.until("latency learned", learned, PATIENCE, 5)
        time.sleep(float(os.environ.get("NOONMARK_VM_LEARN", 300)))  # for the oscillator's rate and that of the hardware clock
        m.sh("systemctl stop noonmark")
        off = rtc_off(m)
        text = m.sh("tar -C /var/lib/noonmark -cf - . | base64 -w0")
        m.off()
        server.close()
        with open(state + ".rtc", "w") as f:
            f.write(str(off))
        with open(state + ".part", "wb") as f:
            f.write(base64.b64decode(text))
        os.rename(state + ".part", state)

    def leave(self, m, path):
        """Shuts down and keeps the disk, and how far off the hardware clock was left."""
        m.sh("systemctl stop noonmark")
        off = rtc_off(m)
        m.off()
        with open(path + ".rtc", "w") as f:
            f.write(str(off))
        os.rename(m.disk, path)

    def newer(self):
        """A newer package: built, or in short the same one with another version and a program one byte longer."""
        folder = f"{self.work}/newer"
        path = f"{folder}/noonmark_99.0_amd64.deb"
        if not self.short:
            subprocess.run([f"{TOP}/packaging/deb/build", "-v", "99.0", folder, "amd64"], check=True, stdout=subprocess.DEVNULL)
            return path
        os.makedirs(folder)
        subprocess.run(["dpkg-deb", "-R", self.deb, f"{folder}/root"], check=True)
        subprocess.run(["sed", "-i", "s/^Version: .*/Version: 99.0/", f"{folder}/root/DEBIAN/control"], check=True)
        with open(f"{folder}/root/usr/bin/noonmark", "ab") as f:
            f.write(b"\0")
        subprocess.run(["dpkg-deb", "--root-owner-group", "-Znone", "-b", f"{folder}/root", path], check=True, stdout=subprocess.DEVNULL)
        return path

    # Machines and what is attached to them.

    def start(self, disk, **how):
        """Starts a machine whose hardware clock ran on since its disk was left, unless told."""
        how.setdefault("rtc", self.rtc.get(disk, 0.0))
        how.setdefault("state", self.state.pop(disk, None))
        for left in range(4, -1, -1):
            try:
                m = Machine(self.cache, f"{self.work}/m{len(self.machines)}", disk, **how)
                break
            except Busy:
                if not left:
                    raise
        self.machines.append(m)
        return m

    def receiver(self, m, socket_name="gnss", **how):
        """Switches a receiver on; its first bytes come at the next second. Returns it; kill it to switch it off."""
        words = [sys.executable, f"{HERE}/receiver.py", f"{m.folder}/{socket_name}"]
        for k, v in how.items():
            words += [f"--{k}", str(v)]
        end = time.monotonic() + 10
        while not os.path.exists(words[2]) and time.monotonic() < end:
            time.sleep(0.02)
        p = subprocess.Popen(words, stdout=open(f"{m.folder}/{socket_name}.sent", "ab"), preexec_fn=child)
        self.children.append(p)
        at_once(p.pid)
        return p

    def close(self):
        for p in self.children:
            p.kill()
            p.wait()
        for m in self.machines:
            m.cut()
        if not self.keep:
            shutil.rmtree(self.work, ignore_errors=True)

def rtc_off(m):
    """Hardware clock minus truth in seconds, on its edge, as another language reads it. Who
    reads an edge late takes the clock for slower than it is (by 0.8 to 1.0 s on a host with
    a load of 30), and never for faster: of several the largest is the nearest, and when two
    agree on it, it is no chance."""
    def read():
        try:
            return m.ask("rtc", edge=True)
        except Failed as e:
            if "(16," not in str(e):
                raise
            return None  # noonmark reads it just now; only one may
    def once():
        r, _ = m.until("a look at the hardware clock", read, 30, 0.2)
        return r["rtc_utc_s"] - (r["system_ns"] / 1e9 - m.error()[0])
    seen = sorted(once() for _ in range(3))
    while seen[-1] - seen[-2] > 0.03 and len(seen) < 15:
        seen = sorted([*seen, once()])
    return seen[-1]

SO_TIMESTAMPNS = 35  # linux/asm-generic/socket.h; a struct timespec of 64-bit words beside each datagram

class TimeServer(threading.Thread):
    """Answers questions for the time by this machine's clock (RFC 5905, figure 8), on loopback."""

    def __init__(self):
        super().__init__(daemon=True)
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.setsockopt(socket.SOL_SOCKET, SO_TIMESTAMPNS, 1)
        self.socket.bind(("127.0.0.1", 0))
        self.port = self.socket.getsockname()[1]
        self.start()

    def run(self):
        try:
            while True:
                ask, more, _, who = self.socket.recvmsg(512, 64)
                # When it came by the kernel's stamp, not when this thread got round to it.
                second, ns = struct.unpack("qq", more[0][2])
                got = second * 10**9 + ns
                if len(ask) >= 48:
                    stamp = lambda ns: ((ns // 10**9 + 2208988800) << 32) + (ns % 10**9 << 32) // 10**9
                    head = struct.pack(">BBbbII4sQ8sQ", 0x24, 1, ask[2] & 0x7F, -20, 0, 0x80, b"GPS\0", stamp(got), ask[40:48], stamp(got))
                    self.socket.sendto(head + struct.pack(">Q", stamp(time.time_ns())), who)
        except OSError:
            return  # closed, by now

    def close(self):
        self.socket.close()
