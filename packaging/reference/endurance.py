#!/usr/bin/env python3
"""`noonmark run` on a pty for hours, under load, and whether it leaks.

    go build -o /tmp/noonmark ./cmd/noonmark
    python3 packaging/reference/endurance.py /tmp/noonmark [MINUTES] [REPORT]

Default 120 minutes. The receiver speaks at 1 Hz; now and then its line is damaged, or it
is silent for 40 s. Meanwhile browsers come and go on the page's stream, programs ask for
/status.json and /metrics, readers of the shared sentences come and go (some read
nothing), and devices ask the time service. Everything is on loopback.

Once a minute: resident memory, descriptors, threads, files in both folders, parts of the
record and their size, and the largest gap between two statuses. After the first tenth, which fills caches and the
history, what follows is compared by its thirds. At the end the load stops, and after a
minute the program is ended by SIGQUIT, on which Go's runtime writes down every goroutine:
that number is compared with the number of a second process that ran for two minutes.

Exit 1: the process ended, memory grew by more than 1.5 MB from the first third to the
last, descriptors, threads or files grew, the record (here of 1 MB) had more than eight
parts or was larger than its bound and a part of it, more goroutines are left than after two minutes,
or a status came more than 3 s late (stale_after_s: a reader would say "cannot tell"). The
1.1 s bar on gaps belongs to an idle machine; the gap seen is printed.
"""
import http.client, json, os, pty, random, re, shutil, signal, socket, statistics, subprocess, sys, tempfile, threading, time, tty

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "vm"))
sys.dont_write_bytecode = True  # the tree stays clean
from receiver import burst

RECORD, PARTS = 1 << 20, 8  # record.most_mb in B; into so many files a run divides it

def free_port(kind):
    with socket.socket(socket.AF_INET, kind) as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]

class Program:
    """One `noonmark run` with its receiver."""

    def __init__(self, binary):
        self.master, slave = pty.openpty()
        tty.setraw(slave)
        self.top = tempfile.mkdtemp(prefix="noonmark-endurance-", dir="/dev/shm" if os.path.isdir("/dev/shm") else None)
        self.http, self.share, self.ntp = free_port(socket.SOCK_STREAM), free_port(socket.SOCK_STREAM), free_port(socket.SOCK_DGRAM)
        settings = f"{self.top}/noonmark.toml"
        with open(settings, "w") as f:
            f.write(f'[receiver]\ndevice = "{os.ttyname(slave)}"\nshare_tcp = "127.0.0.1:{self.share}"\n[rtc]\ndevice = "none"\n'
                    f'[publish]\nhttp = "127.0.0.1:{self.http}"\ntime_service = "127.0.0.1:{self.ntp}"\n[record]\nmost_mb = {RECORD >> 20}\n')
        self.stop, self.log = threading.Event(), open(f"{self.top}/log", "w+")
        threading.Thread(target=self.feed, daemon=True).start()
        self.process = subprocess.Popen([binary, "run", "--config", settings, "--run-dir", f"{self.top}/run", "--state-dir", f"{self.top}/state",
                                         "--allow-disk"], stdout=subprocess.DEVNULL, stderr=self.log)

    def feed(self):
        draw, silent_until = random.Random(1), 0
        while not self.stop.is_set():
            t = int(time.time()) + 1
            time.sleep(max(0, t + 0.15 - time.time()))
            if draw.random() < 1 / 900:
                silent_until = t + 40
            if t < silent_until:
                continue
            b = bytearray(burst(t))
            if draw.random() < 0.02:
                b[draw.randrange(len(b))] ^= 1 << draw.randrange(8)
            for i in range(0, len(b), 96):
                os.write(self.master, b[i:i + 96])
                time.sleep(0.1)

    def status(self):
        with open(f"{self.top}/run/status.json") as f:
            return json.load(f)

    def looks(self):
        """Resident memory in MB, descriptors, threads, files without the record's, the record's parts and their bytes."""
        with open(f"/proc/{self.process.pid}/status") as f:
            text = f.read()
        word = lambda name: int(re.search(name + r":\s*(\d+)", text).group(1))
        files, parts, size = 0, 0, 0
        for folder in ("run", "state"):
            for where, _, names in os.walk(f"{self.top}/{folder}"):
                of_record = [n for n in names if n.endswith(".record.gz")]
                files, parts = files + len(names) - len(of_record), parts + len(of_record)
                for n in of_record:
                    try:
                        size += os.path.getsize(os.path.join(where, n))
                    except FileNotFoundError:
                        pass  # the oldest has just been removed
        return word("VmRSS") / 1024, len(os.listdir(f"/proc/{self.process.pid}/fd")), word("Threads"), files, parts, size

    def goroutines(self):
        """Ends it by SIGQUIT and counts the goroutines it writes down."""
        self.process.send_signal(signal.SIGQUIT)
        self.process.wait(20)
        self.log.seek(0)
        return len(re.findall(r"^goroutine \d+ ", self.log.read(), re.M))

    def close(self):
        self.stop.set()
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self.log.close()
        shutil.rmtree(self.top)

class Load(threading.Thread):
    """Calls what again and again, with a pause, until it is to stop; errors of a moment are counted."""

    def __init__(self, stop, pause, what):
        super().__init__(daemon=True)
        self.stop, self.pause, self.what, self.done, self.errors = stop, pause, what, 0, 0
        self.start()

    def run(self):
        draw = random.Random(id(self))
        while not self.stop.is_set():
            try:
                self.what(draw)
                self.done += 1
            except OSError:
                self.errors += 1
            except http.client.HTTPException:
                self.errors += 1
            self.stop.wait(self.pause * draw.uniform(0.5, 1.5))

def loads(p, stop):
    def browse(draw):
        c = http.client.HTTPConnection("127.0.0.1", p.http, timeout=10)
        try:
            c.request("GET", "/")
            c.getresponse().read()
            c.request("GET", "/live")
            r, until = c.getresponse(), time.monotonic() + draw.expovariate(1 / 20)
            while time.monotonic() < until and not stop.is_set() and r.read1(65536):
                pass
        finally:
            c.close()
    def ask(draw):
        c = http.client.HTTPConnection("127.0.0.1", p.http, timeout=10)
        try:
            c.request("GET", draw.choice(["/status.json", "/metrics", "/manual/", "/nowhere"]))
            c.getresponse().read()
        finally:
            c.close()
    def sentences(draw):
        with socket.create_connection(("127.0.0.1", p.share), 10) as s:
            if draw.random() < 0.3:
                stop.wait(draw.expovariate(1 / 30))  # reads nothing
                return
            until = time.monotonic() + draw.expovariate(1 / 20)
            while time.monotonic() < until and not stop.is_set() and s.recv(4096):
                pass
    def question(draw):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
            s.settimeout(2)
            s.sendto(bytes([0x23]) + bytes(39) + draw.randbytes(8), ("127.0.0.1", p.ntp))
            s.recv(512)
    return ([Load(stop, 0.5, browse) for _ in range(6)] + [Load(stop, 1, ask) for _ in range(3)]
            + [Load(stop, 1, sentences) for _ in range(4)] + [Load(stop, 0.5, question) for _ in range(2)])

class Gaps(threading.Thread):
    """The largest distance between two published statuses, by the program's own boot time."""

    def __init__(self, p, stop):
        super().__init__(daemon=True)
        self.p, self.stop, self.worst, self.count = p, stop, 0, 0
        self.start()

    def run(self):
        last = None
        while not self.stop.wait(0.25):
            try:
                now = self.p.status()["written"]["boottime_s"]
            except (OSError, ValueError):
                continue
            if last is not None and now != last:
                self.worst, self.count = max(self.worst, now - last), self.count + 1
            last = now

def young(binary):
    """How many goroutines a process has that ran for two minutes without load."""
    p = Program(binary)
    try:
        time.sleep(120)
        return p.goroutines()
    finally:
        p.close()

def verdict(rows, left, fresh, gap):
    """What is wrong, from a row a minute."""
    rows = rows[max(1, len(rows) // 10):]
    third = max(1, len(rows) // 3)
    mean = lambda part, i: statistics.mean(r[i] for r in part)
    wrong = []
    if (grew := mean(rows[-third:], 0) - mean(rows[:third], 0)) > 1.5:
        wrong.append(f"memory grew by {grew:.1f} MB")
    for i, name, least in ((1, "descriptors", 3), (2, "threads", 2), (3, "files", 2)):
        if (more := mean(rows[-third:], i) - mean(rows[:third], i)) > least:
            wrong.append(f"{name} grew by {more:.1f}")
    if (most := max(r[4] for r in rows)) > PARTS:
        wrong.append(f"the record had {most} parts, at most {PARTS}")
    if (most := max(r[5] for r in rows)) > RECORD * (1 + 1 / PARTS) + 8192:
        wrong.append(f"the record had {most} B, at most {RECORD} and a part")
    if left > fresh:
        wrong.append(f"{left} goroutines are left; after two minutes without load there are {fresh}")
    if gap > 3:
        wrong.append(f"a status came {gap:.2f} s after the one before")
    return wrong

def main():
    binary, minutes = sys.argv[1], float(sys.argv[2]) if len(sys.argv) > 2 else 120
    out = open(sys.argv[3], "w", buffering=1) if len(sys.argv) > 3 else sys.stdout
    fresh = []
    other = threading.Thread(target=lambda: fresh.append(young(binary)))
    other.start()
    p, stop, rows = Program(binary), threading.Event(), []
    begin = time.monotonic()
    try:
        while not os.path.exists(f"{p.top}/run/status.json") and time.monotonic() - begin < 60:
            time.sleep(0.1)
        gaps, busy = Gaps(p, stop), loads(p, stop)
        while (at := time.monotonic() - begin) < minutes * 60 and p.process.poll() is None:
            rows.append(p.looks())
            print(f"{at / 60:6.1f} min  {rows[-1][0]:6.1f} MB  {rows[-1][1]:3} descriptors  {rows[-1][2]:2} threads  {rows[-1][3]:2} files  "
                  f"{rows[-1][4]} parts of the record, {rows[-1][5] / 1024:.0f} KiB  "
                  f"largest gap {gaps.worst:.2f} s of {gaps.count}", file=out)
            time.sleep(min(60, max(0.1, minutes * 60 - at)))
        if p.process.poll() is not None:
            p.log.seek(0)
            print(f"ended with {p.process.returncode}: {p.log.read()[-2000:]}", file=out)
            return 1
        stop.set()
        for b in busy:
            b.join(30)
        time.sleep(60)
        other.join()
        left = p.goroutines()
        wrong = verdict(rows, left, fresh[0], gaps.worst)
        print(f"{minutes:g} min: {sum(b.done for b in busy)} calls, {sum(b.errors for b in busy)} ended early; {len(rows)} looks; {left} goroutines left, "
              f"{fresh[0]} in a young process; largest gap {gaps.worst:.2f} s of {gaps.count} statuses: " + ("; ".join(wrong) or "nothing grows"), file=out)
        return 1 if wrong else 0
    finally:
        stop.set()
        p.close()

if __name__ == "__main__":
    sys.exit(main())
