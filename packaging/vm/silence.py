"""The case of a silence: how long the kernel goes on writing a hardware clock of which it knows nothing."""
import re, time

from bench import TimeServer, configure, rtc_off
from cases import case
from checks import honest, need, verdict

# s: so long into a holdover the mark comes (quietAfter in clockcheck/steer/tell.go), and so far apart the kernel's
# own writes are (SYNC_PERIOD_NS in Linux, kernel/time/ntp.c).
QUIET = PERIOD = 660
NEAR = 15  # s: "shortly": a status each second, and a look each two that takes up to some
# The kernel's name of a chip whose driver serves compensated clocks only; the machine's own is a plain rtc_cmos.
NAME, COMPENSATED = "/sys/class/rtc/rtc0/name", "rtc-ds3232 0-0068"

def writes(m):
    """When the kernel itself wrote the hardware clock, s since the start of the machine: by its own trace of the function
    that does (arch/x86/kernel/rtc.c; a program's order goes another way)."""
    return [float(x) for x in re.findall(r"([\d.]+): mach_set_cmos_time <-", m.sh("cat /sys/kernel/tracing/trace"))]

def boottime(s):
    return s["written"]["boottime_s"]

def vouched(m):
    """Waits until the kernel's clock is marked synchronised; how long that took."""
    return m.until("the kernel's clock marked synchronised", lambda: not honest(m)[2]["unsync"], 300, 1)[1]

def heard(m):
    """Waits until FT8 is within by the receiver."""
    m.until("the receiver's time", lambda: (s := honest(m)[0]) and s["clock"]["basis"] == "gnss" and verdict(s) == "within", 300, 1)

def quiet(m, until):
    """Nobody tells the time, for as long as until(s of it) is false: what the kernel said when (s into it, "not synchronised"), honest all the while."""
    (s, *_), _ = m.until("nothing tells the time", lambda: (got := honest(m))[0]["clock"]["basis"] == "holdover" and got, 120, 1)
    began, seen, now = boottime(s), [], 0
    while not until(now):
        s, _, k = honest(m)
        now = boottime(s) - began
        seen.append((now, k["unsync"]))
        need(s["clock"]["basis"] == "holdover" and verdict(s) == "within",
             f"after {now:.0f} s of it FT8 is {verdict(s)} on {s['clock']['basis']}: {s['clock']['because']}")
        time.sleep(2)
    return began, seen

def prepared(b):
    """A machine whose kernel notes its writes and names its hardware clock as a compensated one; a receiver, and a time server
    in camp until the whole second is proved and the kernel's clock is marked synchronised. Machine and receiver."""
    m, server = b.start(b.disk("installed"), net=True, wait=False), TimeServer()
    p = b.receiver(m)
    m.up()
    m.sh("mountpoint -q /sys/kernel/tracing || mount -t tracefs nodev /sys/kernel/tracing; cd /sys/kernel/tracing; "
         "echo boot >trace_clock; echo mach_set_cmos_time >set_ftrace_filter; echo function >current_tracer; echo 1 >tracing_on")
    m.sh(f"echo {COMPENSATED} >/run/chip; mount --bind /run/chip {NAME}; grep -q ds3232 {NAME}")
    m.sh("printf '[Match]\\nName=e*\\n[Network]\\nAddress=10.0.2.15/24\\nGateway=10.0.2.2\\n' >/etc/systemd/network/camp.network; "
         "systemctl start systemd-networkd")
    configure(m, ("network.servers", f'["10.0.2.2:{server.port}"]'), ("receiver.latency_s", "0.12"))
    b.say(f"silence: marked synchronised after {vouched(m):.0f} s")
    configure(m, ("network.servers", "[]"))  # a server's word stands for 20 min: the run goes on without it
    server.close()
    heard(m)
    b.say(f"silence: again, by the receiver alone, after {vouched(m):.0f} s")
    return m, p

def spared(b, m, p):
    """The hardware clock is compensated: the mark comes, no write of the kernel after it, and both come back with the receiver."""
    p.kill()
    p.wait()
    due = lambda: writes(m)[-1] + PERIOD + NEAR
    began, seen = quiet(m, lambda now: now > QUIET + NEAR and (b.short or uptime(m) > due()))
    marked = next((t for t, unsync in seen if unsync), None)
    need(marked and abs(marked - QUIET) <= NEAR, f"marked \"not synchronised\" after {marked} s of silence")
    need(all(unsync for t, unsync in seen if t > marked), "the mark went away again in the silence")
    before, off = writes(m), rtc_off(m)
    need(b.short or before[-1] < began + marked, f"written {before[-1] - began:.0f} s into the silence, {before[-1] - began - marked:.0f} s after the mark")
    last = max(t for t, unsync in seen if t < marked)
    text = (f"compensated: synchronised {last:.0f} s into the silence, not {marked:.0f} s, and until {seen[-1][0]:.0f} s; "
            f"written by the kernel {', '.join(f'{w - began:.0f}' for w in before)} s from its begin, hardware clock {off:+.3f} s at the end, FT8 within all the while")
    p = b.receiver(m)
    took = vouched(m)
    if not b.short:  # its timer had run out, so that it writes at once
        m.until("the kernel's next write", lambda: len(writes(m)) > len(before), 30)
    b.say(f"silence: {text}")
    return f"{text}; synchronised again {took:.0f} s after the receiver spoke", p

def uptime(m):
    return float(m.sh("cut -d' ' -f1 /proc/uptime"))

def written(b, m, p):
    """The same machine names its hardware clock as the plain one it is: no mark, and the kernel writes on."""
    m.sh(f"umount {NAME}; grep -q rtc_cmos {NAME}; systemctl restart noonmark")
    m.until("a status", lambda: verdict(m.status()), 60)
    heard(m)
    vouched(m)
    p.kill()
    p.wait()
    began, seen = quiet(m, lambda now: now > QUIET + NEAR)
    marked = [t for t, unsync in seen if unsync]
    need(not marked, f"a plain clock: marked \"not synchronised\" after {marked[:1]} s of silence")
    after = [w - began for w in writes(m) if w > began]
    need(after, "the kernel never wrote the hardware clock in the silence, though nothing kept it")
    return f"plain: synchronised until {seen[-1][0]:.0f} s, written by the kernel {', '.join(f'{w:.0f}' for w in after)} s into the silence"

@case
def silence(b):
    """11 min after the last word of time the kernel stops writing a compensated hardware clock; a plain one it writes on."""
    m, p = prepared(b)
    text, p = spared(b, m, p)
    if not b.short:
        text += f"; {written(b, m, p)}"
    return text
