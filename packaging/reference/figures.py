#!/usr/bin/env python3
"""Feed `noonmark run` from a pty in real time and print what it costs.

    CGO_ENABLED=0 go build -tags nethttpomithttp2 -ldflags '-s -w' -o /tmp/noonmark ./cmd/noonmark
    python3 packaging/reference/figures.py /tmp/noonmark [SECONDS]

The feed is a receiver at 1 Hz on a 9600 baud line (48 bytes each 50 ms), about 480
bytes a second; it shares no code with noonmark. Printed: time to the first status
and to the first judgement by the receiver, resident memory, processor time and
wake-ups (voluntary context switches of all threads) averaged over SECONDS (600), the files written
outside the run directory, and the time `ready` takes. Built as the package's program is:
without that, the C library and HTTP/2 lie in memory besides (1.8 MB). Needs Python 3.9, nothing else; the sentences are those of packaging/vm.
"""
import ctypes, json, os, pty, subprocess, sys, tempfile, threading, time, tty

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "vm"))
sys.dont_write_bytecode = True  # the tree stays clean
from receiver import burst

def feed(fd, stop):
    while not stop.is_set():
        t = int(time.time()) + 1
        time.sleep(max(0, t + 0.15 - time.time()))
        b = burst(t)
        for i in range(0, len(b), 48):
            os.write(fd, b[i:i + 48])
            time.sleep(0.05)

def wakeups(pid):
    n = 0
    for task in os.listdir(f"/proc/{pid}/task"):
        with open(f"/proc/{pid}/task/{task}/status") as f:
            n += sum(int(line.split()[1]) for line in f if line.startswith("voluntary_ctxt"))
    return n

def cpu(pid):
    with open(f"/proc/{pid}/stat") as f:
        fields = f.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

def rss(pid):
    with open(f"/proc/{pid}/status") as f:
        return next(int(line.split()[1]) / 1024 for line in f if line.startswith("VmRSS"))

def wait(what, ok, began, limit):
    while not ok():
        if time.monotonic() - began > limit:
            sys.exit(f"{what}: not within {limit} s")
        time.sleep(0.005)
    print(f"{what}: {time.monotonic() - began:.2f} s")

def main():
    binary, seconds = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 600
    master, slave = pty.openpty()
    tty.setraw(slave)
    stop = threading.Event()
    threading.Thread(target=feed, args=(master, stop), daemon=True).start()
    shm = "/dev/shm" if os.path.isdir("/dev/shm") else None
    run, state = tempfile.mkdtemp(dir=shm), tempfile.mkdtemp()
    began = time.monotonic()
    # As the unit has it (TimerSlackNSec=): PR_SET_TIMERSLACK, prctl(2), which an exec keeps.
    slack = lambda: ctypes.CDLL(None).prctl(29, 1000000, 0, 0, 0)
    p = subprocess.Popen([binary, "run", "--device", os.ttyname(slave), "--run-dir", run, "--state-dir", state, "--allow-disk"],
                         stderr=subprocess.DEVNULL, preexec_fn=slack)
    path = os.path.join(run, "status.json")
    status = lambda: json.load(open(path)) if os.path.exists(path) else {}
    try:
        wait("first status", lambda: os.path.exists(path), began, 20)
        wait("first judgement by the receiver", lambda: status()["clock"]["basis"] == "gnss", began, 30)
        time.sleep(5)
        w, c, t = wakeups(p.pid), cpu(p.pid), time.monotonic()
        time.sleep(seconds)
        t = time.monotonic() - t
        print(f"over {t:.0f} s: {(wakeups(p.pid) - w) / t:.1f} wake-ups a second, {(cpu(p.pid) - c) / t * 100:.2f} % of one core, "
              f"{rss(p.pid):.1f} MB resident")
        with open(f"/proc/{p.pid}/io") as f:
            print("written to disk:", next(line.split()[1] for line in f if line.startswith("write_bytes")), "bytes; files kept:", os.listdir(state))
        times = []
        for _ in range(20):
            a = time.monotonic()
            subprocess.run([binary, "ready", "--run-dir", run], stdout=subprocess.DEVNULL)
            times.append(time.monotonic() - a)
        times.sort()
        print(f"ready answers in {times[10] * 1000:.1f} ms (median of 20), {times[-1] * 1000:.1f} ms at most")
    finally:
        stop.set()
        p.terminate()
        p.wait()

if __name__ == "__main__":
    main()
