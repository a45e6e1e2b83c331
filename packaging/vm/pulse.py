#!/usr/bin/env python3
"""A receiver's second pulse, by the clock of the machine that runs this.

    pulse.py SOCKET

At each whole second the virtual machine's interrupt 7 (the parallel port's) rises and
falls 0.1 s later, through qemu's testing socket. Per pulse a line: how late it was
given (ns).
"""
import socket, sys, time

PIN = "set_irq_in /machine/q35/ioapic unnamed-gpio-in 7"

with socket.socket(socket.AF_UNIX) as s:
    s.connect(sys.argv[1])
    f = s.makefile("r")

    def level(n):
        s.sendall(f"{PIN} {n}\n".encode())
        while f.readline().startswith("IRQ"):
            pass

    while True:
        second = int(time.time()) + 1
        while (left := second - time.time()) > 0:
            time.sleep(left - 0.002 if left > 0.003 else 0)
        level(1)
        print(time.time_ns() - second * 10**9, flush=True)
        time.sleep(0.1)
        level(0)
