#!/usr/bin/env python3
"""`noonmark run` on a pty under its whole load at once, and what that costs.

    go build -o /tmp/noonmark ./cmd/noonmark
    python3 packaging/reference/load.py /tmp/noonmark [MINUTES]

Default 10 minutes. A receiver at 1 Hz (that of endurance.py: a damaged line now and then,
a silence of 40 s), 200 screens on the page's stream, 20 readers of the shared sentences,
and 1,000 questions a second to the time service from 2,000 addresses of 127/8. The load
comes from processes of its own, which are nice; the program is not. The first half
minute, in which the screens come, is left out of the processor time only.

Exit 1: two statuses lay more than 1.1 s apart, resident memory was above 40 MB, the
program took more than a tenth of a core, or the load was not there (a screen or a reader
was lost, fewer than 900 questions a second were put). The load of the machine is printed:
on a busy one the gap and the questions are the machine's.

Seen on 2026-11-29 over 2 minutes, two cores with a load of 7 to 13: no connection lost, 996
questions a second, largest gap 1.05 s, 30.8 MB, 3.5 % of a core.
Over 7 minutes, load 5 to 11: the same, but 1.30 s, 32.1 MB, 4.1 %. Over 5 minutes on a
machine that did nothing else: 1.00 s, 28.4 MB, 3.8 %, all kept.
"""
import asyncio, multiprocessing, os, resource, socket, sys, threading, time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
sys.dont_write_bytecode = True  # the tree stays clean
from figures import cpu  # first: endurance puts packaging/vm before us, which has another of this name
from endurance import Gaps, Program

SCREENS, READERS, RATE, ADDRESSES = 200, 20, 1000, 2000
GAP, MEMORY, CORE = 1.1, 40, 0.1  # s, MB, of one core
COMING = 30  # s

def many_files():
    hard = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, 8192), hard))
    os.nice(10)

def listen(port, share, lost, bytes_read):
    """The screens and the readers; lost counts the connections that ended."""
    many_files()
    async def stay(to, request):
        try:
            r, w = await asyncio.open_connection("127.0.0.1", to)
            w.write(request)
            while b := await r.read(65536):
                bytes_read.value += len(b)
        except OSError:
            pass
        lost.value += 1
    async def all_of_them():
        screens = [stay(port, b"GET /live HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nAccept: text/event-stream\r\n\r\n" % port) for _ in range(SCREENS)]
        await asyncio.gather(*screens, *(stay(share, b"") for _ in range(READERS)))
    asyncio.run(all_of_them())

def ask(port, put, answered):
    """RATE questions a second, each from the next address; what is answered is counted."""
    many_files()
    async def rounds():
        loop, sockets = asyncio.get_running_loop(), []
        class Heard(asyncio.DatagramProtocol):
            def datagram_received(self, data, addr):
                answered.value += data[1] != 0  # stratum 0 is a refusal (RFC 5905, 7.4)
        for i in range(ADDRESSES):
            # Spread over networks, as clients of a camp's routers are.
            own = f"127.{1 + i % 200}.{1 + i // 200}.9"
            sockets.append((await loop.create_datagram_endpoint(Heard, local_addr=(own, 0), remote_addr=("127.0.0.1", port)))[0])
        begin = time.monotonic()
        while True:
            due = int((time.monotonic() - begin) * RATE)
            if due - put.value > RATE:  # more than a second late: those are not made up for
                begin += (due - put.value) / RATE
                continue
            while put.value < due:
                sockets[put.value % ADDRESSES].sendto(bytes([0x23]) + bytes(39) + os.urandom(8))
                put.value += 1
            await asyncio.sleep(0.005)
    asyncio.run(rounds())

def main():
    binary, minutes = sys.argv[1], float(sys.argv[2]) if len(sys.argv) > 2 else 10
    p, stop, helpers = Program(binary), threading.Event(), []
    lost, bytes_read, put, answered = (multiprocessing.Value(k, 0) for k in "iqqq")
    try:
        begin = time.monotonic()
        while not os.path.exists(f"{p.top}/run/status.json"):
            if time.monotonic() - begin > 60 or p.process.poll() is not None:
                sys.exit("no status came within a minute")
            time.sleep(0.1)
        for work, args in ((listen, (p.http, p.share, lost, bytes_read)), (ask, (p.ntp, put, answered))):
            helpers.append(multiprocessing.Process(target=work, args=args, daemon=True))
            helpers[-1].start()
        gaps, memory = Gaps(p, stop), 0
        time.sleep(COMING)
        work, asked, at, read = cpu(p.process.pid), put.value, time.monotonic(), bytes_read.value
        while time.monotonic() - at < minutes * 60 and p.process.poll() is None:
            memory = max(memory, p.looks()[0])
            time.sleep(1)
        if p.process.poll() is not None:
            sys.exit(f"it ended with {p.process.returncode}")
        took = time.monotonic() - at
        core, rate = (cpu(p.process.pid) - work) / took, (put.value - asked) / took
        print(f"{took / 60:.1f} min: {SCREENS + READERS - lost.value} of {SCREENS + READERS} screens and readers there, {(bytes_read.value - read) / took / 1024:.0f} KiB/s read; "
              f"{rate:.0f} questions a second, {100 * answered.value / max(put.value, 1):.0f} % answered\n"
              f"largest gap {gaps.worst:.2f} s of {gaps.count} statuses (at most {GAP}); {memory:.1f} MB (at most {MEMORY}); "
              f"{100 * core:.1f} % of a core (at most {100 * CORE:.0f})\n"
              f"the machine: {os.cpu_count()} cores, load {' '.join(f'{x:.1f}' for x in os.getloadavg())}")
        wrong = [word for word, so in (("a late status", gaps.worst > GAP), ("memory", memory > MEMORY), ("processor time", core > CORE),
                                       ("screens or readers lost", lost.value > 0), ("too few questions", rate < 0.9 * RATE)) if so]
        print("not kept: " + ", ".join(wrong) if wrong else "all kept")
        return 1 if wrong else 0
    finally:
        stop.set()
        for h in helpers:
            h.kill()
        p.close()

if __name__ == "__main__":
    sys.exit(main())
