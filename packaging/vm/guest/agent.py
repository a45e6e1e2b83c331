#!/usr/bin/env python3
"""The bench's hand inside the machine: a request a line, an answer a line, JSON.

It is also the other language that checks noonmark's work: it asks the kernel through
the C library's adjtimex(2) (struct timex as in that manual page, 64-bit) and the
hardware clock through ioctl(2) (RTC_RD_TIME of linux/rtc.h). It sets nothing.
"""
import ctypes, fcntl, json, os, struct, subprocess, time

class Timex(ctypes.Structure):
    L, I = ctypes.c_long, ctypes.c_int
    _fields_ = [("modes", ctypes.c_uint), ("offset", L), ("freq", L), ("maxerror", L), ("esterror", L), ("status", I),
                ("constant", L), ("precision", L), ("tolerance", L), ("sec", L), ("usec", L), ("tick", L), ("ppsfreq", L),
                ("jitter", L), ("shift", I), ("stabil", L), ("jitcnt", L), ("calcnt", L), ("errcnt", L), ("stbcnt", L),
                ("tai", I), ("room", I * 11)]

libc = ctypes.CDLL(None, use_errno=True)

def kernel():
    """What any program sees that asks the kernel whether the clock is right."""
    t = Timex()
    state = libc.adjtimex(ctypes.byref(t))
    return {"state": state, "unsync": bool(t.status & 0x40), "status": t.status, "maxerror_s": t.maxerror / 1e6,
            "esterror_s": t.esterror / 1e6, "freq_ppm": t.freq / 65536, "tick_us": t.tick, "tai_s": t.tai,
            "leap": bool(t.status & 0x30)}

def rtc(edge=False):
    """The hardware clock: its fields as seconds of UTC, and the system clock just then;
    with edge, at the instant when its second changes."""
    def read(fd):
        f = struct.unpack("9i", fcntl.ioctl(fd, 0x80247009, bytes(36)))
        return int(__import__("calendar").timegm((f[5] + 1900, f[4] + 1, f[3], f[2], f[1], f[0])))
    fd = os.open("/dev/rtc0", os.O_RDONLY)
    try:
        first = now = read(fd)
        limit = time.monotonic() + 2.5
        while edge and now == first and time.monotonic() < limit:
            time.sleep(0.001)
            now = read(fd)
        system = time.time_ns()
    finally:
        os.close(fd)
    with open("/sys/class/rtc/rtc0/since_epoch") as f:
        return {"rtc_utc_s": now, "system_ns": system, "sysfs_utc_s": int(f.read())}

def sh(command, limit=60):
    try:
        p = subprocess.run(["/bin/bash", "-c", command], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                           stderr=subprocess.STDOUT, timeout=limit)
        return {"rc": p.returncode, "out": p.stdout.decode(errors="replace")}
    except subprocess.TimeoutExpired as e:
        return {"rc": 124, "out": (e.stdout or b"").decode(errors="replace")}

def clock():
    return {"ns": time.time_ns(), "boot_ns": time.clock_gettime_ns(time.CLOCK_BOOTTIME)}

def line(seconds, device="/dev/ttyS1"):
    """When the first byte of each burst reached a program, by the system clock, for as
    long as told: what the line itself adds. Nobody else may read the device."""
    import termios, tty
    fd, firsts, last = os.open(device, os.O_RDONLY | os.O_NOCTTY), [], 0
    tty.setraw(fd)
    mode = termios.tcgetattr(fd)
    mode[4] = mode[5] = termios.B9600
    termios.tcsetattr(fd, termios.TCSANOW, mode)
    termios.tcflush(fd, termios.TCIFLUSH)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        os.read(fd, 256)
        now = time.time_ns()
        if now - last > 150_000_000:
            firsts.append(now)
        last = now
    os.close(fd)
    return {"first_ns": firsts[1:]}

def main():
    os.environ.update(HOME="/root", PATH="/usr/sbin:/usr/bin:/sbin:/bin")
    asks = {"kernel": kernel, "rtc": rtc, "sh": sh, "clock": clock, "line": line}
    with open("/dev/bench", "r+b", buffering=0) as port:
        port.write(b'{"hello": true}\n')
        held = b""
        while True:
            more = port.read(65536)
            if not more:  # nobody at the other end
                time.sleep(0.02)
                continue
            *lines, held = (held + more).split(b"\n")
            for text in lines:
                answer = {}
                try:
                    number, name, args = json.loads(text)
                    answer = asks[name](**args)
                    answer["number"] = number
                except Exception as e:
                    answer = {"error": repr(e), "number": number}
                port.write(json.dumps(answer).encode() + b"\n")

main()
