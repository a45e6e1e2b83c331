#!/usr/bin/env python3
"""A satellite receiver on a serial line, by the clock of the machine that runs this.

    receiver.py SOCKET [--latency S] [--jitter S] [--weeks N] [--seed N] [--wire 1] [--drip S]

One epoch a second, about 480 bytes at 9600 baud, first byte `latency` after the
second with a normal jitter; the same seed gives the same jitter. It says FG69gu (the
survey camp on the salt flat). --weeks says a date so many weeks early, as receivers
do whose week counter has rolled over (IS-GPS-200, 20.3.3.3.1.1: ten bits, 1024 weeks).
--wire 1: what nobody reads is lost, as on a wire; else it waits in the socket, without end. Between SIGUSR1 and SIGUSR2
it says nothing. --drip S: in place of sentences one byte each S seconds, for whoever counts which of them come back.
It shares no code with noonmark. Nothing is ever to be sent to it: what comes all the
same is kept in SOCKET.received, with the instant of its coming. For each burst a line on standard output: when its
first byte was written (ns of UTC).
"""
import argparse, fcntl, random, signal, socket, struct, sys, termios, threading, time

CHUNK = 16  # bytes written at once, when the last of them would have come: qemu's port has no speed of its own
BAUD = 9600

def sentence(body):
    s = 0
    for b in body.encode():
        s ^= b
    return f"${body}*{s:02X}\r\n"

def burst(second):
    hms, dmy = time.strftime("%H%M%S.00", time.gmtime(second)), time.strftime("%d%m%y", time.gmtime(second))
    place = "2007.8000,S,06729.4000,W"
    views = "".join(sentence(f"GPGSV,3,{n},12,0{n},40,083,46,1{n},17,308,41,2{n},07,344,39,3{n},22,228,45") for n in (1, 2, 3))
    return (sentence(f"GPRMC,{hms},A,{place},0.1,0.0,{dmy},,,A") + sentence(f"GPGGA,{hms},{place},1,09,0.9,3656.0,M,42.0,M,,")
            + sentence("GPGSA,A,3,02,05,07,09,12,15,21,25,29,,,,1.6,0.9,1.3") + views
            + sentence(f"GPGLL,{place},{hms},A,A")).encode()

def sleep_until(t):
    while (left := t - time.time()) > 0:
        time.sleep(left if left < 0.003 else left - 0.002)

def listen(line, name):
    """Keeps what the machine sends to its receiver: ns of UTC and bytes in hexadecimal."""
    while True:
        try:
            came = line.recv(4096)
        except OSError:
            return
        if not came:
            return
        with open(name, "a") as f:
            print(time.time_ns(), came.hex(), file=f)

def unread(line):
    """Bytes (with what the kernel adds to each write) that the other end has not taken yet."""
    return struct.unpack("i", fcntl.ioctl(line, termios.TIOCOUTQ, bytes(4)))[0]

def pieces(n):
    """Begin and end of what is written at once, of n bytes."""
    ends = [0, *range(1, n, CHUNK), n]
    return zip(ends, ends[1:])

def main():
    p = argparse.ArgumentParser()
    p.add_argument("socket")
    p.add_argument("--latency", type=float, default=0.12)
    p.add_argument("--jitter", type=float, default=0.004)
    p.add_argument("--weeks", type=int, default=0)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--wire", type=int, default=0)
    p.add_argument("--drip", type=float, default=0)
    a = p.parse_args()
    draw = random.Random(a.seed)
    line = socket.socket(socket.AF_UNIX)
    line.connect(a.socket)
    says = threading.Event()
    says.set()
    signal.signal(signal.SIGUSR1, lambda *_: says.clear())
    signal.signal(signal.SIGUSR2, lambda *_: says.set())
    threading.Thread(target=listen, args=(line, a.socket + ".received"), daemon=True).start()
    def say(text):
        if says.is_set() and not (a.wire and unread(line)):
            line.sendall(text)
    while a.drip:
        time.sleep(a.drip)
        say(b".")
    second = int(time.time()) + 1
    while True:
        text = burst(second - a.weeks * 7 * 86400)
        begin = second + a.latency + max(-a.latency, draw.gauss(0, a.jitter))
        # The first byte comes alone. Of more at once the program takes what a line of such a speed takes for them off the
        # first one's coming, and how many it reads at once depends on how busy the host is.
        for i, end in pieces(len(text)):
            sleep_until(begin + (end - 1) * 10 / BAUD)
            if i == 0:
                print(time.time_ns(), flush=True)
            say(text[i:end])
        second = max(second + 1, int(time.time()))

if __name__ == "__main__":
    try:
        main()
    except (BrokenPipeError, ConnectionResetError, KeyboardInterrupt):
        sys.exit(0)
