"""Cases of the receiver: switched on late, plugged in and out, years behind."""
import signal, time

from bench import configure
from cases import case, running
from checks import echo_on, honest, need, received, trust, verdict, watch

@case
def late_receiver(b):
    """No word from the receiver at first; it is switched on a minute later."""
    m = running(b, "evening", receiver=False)
    s, *_ = watch(m, 30)
    need(trust(s, "receiver")[0] == "silent", f"receiver {trust(s, 'receiver')}")
    b.receiver(m)
    _, took = m.until("the receiver heard", lambda: trust(honest(m)[0], "receiver")[0] in ("warming", "trusted"), 60)
    m.until("the locator", lambda: m.sh("grep FG69gu /run/noonmark/grid", check=False)[0] == 0, 60)
    s, true, _ = watch(m, 30)
    return f"heard after {took:.0f} s; clock {true:+.4f} s, FT8 {verdict(s)}; {' '.join(trust(s, 'receiver'))}"

DEVICE = "/dev/serial/by-id/usb-QEMU_QEMU_USB_SERIAL_BENCH1-if00-port0"

@case
def replug(b):
    """A USB receiver: first openings of its adapter; then plugged in after the start, pulled out and plugged in again; nothing is sent to it."""
    m = running(b, "evening", receiver=False, usb=True)
    configure(m, ("receiver.device", f'"{DEVICE}"'))
    firsts = first_openings(b, m, 4 if b.short else 20)
    took, echo = [], received(m, "usb")
    for n in range(3):
        p = b.receiver(m, "usb")
        took.append(m.until("the receiver heard", lambda: trust(honest(m)[0], "receiver")[0] in ("warming", "trusted"), 120)[1])
        watch(m, 10)
        need(received(m, "usb") == echo, f"plugged in {n + 1} times: {received(m, 'usb') - echo} bytes were sent to the receiver")
        if n == 1:  # root turns the echo on under it: Linux's USB adapters do not hold output (TCOOFF)
            before = echo
            echo_on(m, "/dev/ttyUSB0")
            watch(m, 5)
            echo = received(m, "usb")
            by_root = echo - before
            need("-echo " in m.sh("stty -F /dev/ttyUSB0 -a"), "the line echoes 5 s after somebody switched that on")
            watch(m, 10)
            need(received(m, "usb") == echo, f"the line is raw again: {received(m, 'usb') - echo} bytes were sent to the receiver")
        p.kill()
        p.wait()
        m.until("its silence noticed", lambda: trust(honest(m)[0], "receiver")[0] == "silent", 60)
        watch(m, 5)
    m.sh("test -z \"$(ls /dev/serial/by-id 2>/dev/null)\"")
    return (f"{firsts}; then heard after {', '.join(f'{t:.0f}' for t in took)} s, plugged in three times; 0 bytes came to the receiver but when root had turned "
            f"the echo on under it, {by_root} of one burst; {echoed(b, m)} more in 5 s of a program that reads the line as the kernel opens it")

DRIP = 0.01  # s

def first_openings(b, m, times):
    """Each opening finds a driver that was loaded a moment ago: the kernel keeps a line's last settings, and only its own echo.
    What comes in before the kernel's own opening is over, no program can keep from the echo (output_linux.go). So a byte comes each
    10 ms: what comes back tells for how long the line was open and echoed. What came before counts for nothing: an adapter is emptied
    as the kernel begins to open it (ftdi_open), but for what did not fit, and the emulated one holds 5 s of such bytes."""
    p, sent = b.receiver(m, "usb", wire=1, drip=DRIP), []
    m.until("the adapter", lambda: m.sh(f"test -e {DEVICE}", check=False)[0] == 0, 60)
    for n in range(times):
        p.send_signal(signal.SIGUSR1)
        m.sh(f"systemctl stop noonmark; rmmod ftdi_sio usbserial; modprobe ftdi_sio; udevadm settle; test -e {DEVICE}")
        before = received(m, "usb")
        p.send_signal(signal.SIGUSR2)
        m.sh("systemctl start noonmark")
        m.until("the line opened", lambda: m.sh("ls -l /proc/$(systemctl show -P MainPID noonmark)/fd | grep -q ttyUSB", check=False)[0] == 0, 60)
        time.sleep(1)
        sent.append(received(m, "usb") - before)
        b.say(f"first opening {n + 1}: {sent[-1]} bytes")
    p.kill()
    p.wait()
    m.until("its silence noticed", lambda: trust(honest(m)[0], "receiver")[0] == "silent", 90)
    return (f"{sum(map(bool, sent))} of {times} first openings sent back something ({sum(sent)} bytes in all, {max(sent)} at most) of a byte each 10 ms: "
            f"such a line echoes for {sum(sent) / times * DRIP * 1e3:.1f} ms")

def echoed(b, m):
    """What a program that takes no care sends to the same receiver: else none sent would prove nothing."""
    m.sh("systemctl stop noonmark")
    b.receiver(m, "usb")
    m.until("the adapter", lambda: m.sh("test -e /dev/ttyUSB0", check=False)[0] == 0, 60)
    m.sh("timeout 5 cat /dev/ttyUSB0 >/dev/null", check=False)
    need(received(m, "usb") > 0, "a line that echoes sends nothing to the receiver: this bench cannot tell")
    return received(m, "usb")

@case
def weeks(b):
    """The receiver's date is 1024 weeks early."""
    m = b.start(b.disk("evening"), wait=False)
    b.receiver(m, weeks=1024)
    m.up()
    m.until("a status", lambda: verdict(m.status()), 120)
    said, _ = m.until("said so", lambda: "1024" in (t := trust(honest(m)[0], "receiver"))[1] and t[1], 90)
    s, true, _ = watch(m, 30)
    need(abs(true) < 1, f"the clock is {true:+.3f} s off")
    return f"clock {true:+.3f} s, FT8 {verdict(s)}: {said}"
