"""Cases that measure: how near the clock stays to the truth, what the program costs."""
import math, os, subprocess, sys, time

from bench import configure
from cases import case, running
from checks import honest, need, trust, verdict
from machine import first

def rms(v):
    return math.sqrt(sum(x * x for x in v) / len(v))

def spread(v):
    mean = sum(v) / len(v)
    return mean, rms([x - mean for x in v]), max(abs(x - mean) for x in v)

def line(b, m, seconds):
    """What the emulated line itself adds from the first byte's writing on the host to its
    reading in the machine, by both clocks and their difference."""
    m.sh("systemctl stop noonmark")
    begin = m.error()[0]
    firsts = m.ask("line", seconds + 30, seconds=seconds)["first_ns"]
    drift = m.error()[0] - begin  # the clock is free now: in proportion
    with open(f"{m.folder}/gnss.sent") as f:
        sent = [int(x) for x in f]
    delays = []
    for i, got in enumerate(firsts):
        true = got - (begin + drift * i / len(firsts)) * 1e9
        near = min(sent, key=lambda x: abs(true - x))
        delays.append((true - near) / 1e9)
    m.sh("systemctl start noonmark")
    return spread(delays)

def follow(m, seconds):
    """The true error each few seconds, honest all the while."""
    errors, begin = [], time.monotonic()
    with open(f"{m.folder}/errors", "w") as f:
        while (t := time.monotonic() - begin) < seconds:
            s, true, k = honest(m)
            errors.append(true)
            print(f"{t:.1f} {true:+.6f} {s['clock']['error_s']} {s['clock']['bound_s']} {s['clock']['basis']} {k['freq_ppm']:+.3f}", file=f, flush=True)
            time.sleep(3)
    return errors

def cost(m, seconds):
    """Resident memory, processor seconds and bytes handed to the disk so far."""
    pid = m.sh("systemctl show -P MainPID noonmark").strip()
    out = m.sh(f"grep VmRSS /proc/{pid}/status; cut -d' ' -f14,15 /proc/{pid}/stat; grep ^write_bytes /proc/{pid}/io").split()
    return int(out[1]) / 1024, (int(out[3]) + int(out[4])) / 100, int(out[6])

@case
def steady(b):
    """The receiver's sentences only, latency learned: the clock against the truth."""
    seconds = 120 if b.short else float(os.environ.get("NOONMARK_VM_STEADY", 1800))
    m = running(b, "evening")
    # The receiver alone: what the hardware clock says counts as much as the latency that
    # was learned, and is up to 60 ms off while an emulated machine boots. Killed, for what
    # the run until here knew would be gone on from.
    m.sh("systemctl kill -s KILL noonmark; systemctl stop noonmark")
    configure(m, ("rtc.device", '"none"'), restart=False)
    # The start's error is the bench's to take away: 0.5 ms a second would take minutes.
    m.sh(f"python3 -c 'import time; time.clock_settime(0, time.clock_gettime(0) - {m.error()[0]})'")
    mean, sd, worst = line(b, m, 60)
    m.until("the receiver's time", lambda: honest(m)[0].get("clock", {}).get("basis") == "gnss", 60)
    m.until("the clock on time", lambda: abs(honest(m)[0]["clock"]["error_s"] or 1) < 0.002, 300, 2)
    began = m.ask("clock")["boot_ns"] / 1e9
    _, cpu, wrote = cost(m, 0)
    errors = follow(m, seconds)
    memory, cpu2, wrote2 = cost(m, 0)
    s = m.status()
    # What the processor does costs here what emulating it costs.
    k, c = m.ask("kernel"), s["clock"]
    middle, about, _ = spread(errors)
    text = (f"{rms(errors) * 1e3:.2f} ms RMS (mean {middle * 1e3:+.2f}, sd {about * 1e3:.2f}), {max(map(abs, errors)) * 1e3:.2f} ms at most, "
            f"in {seconds:.0f} s from {began:.0f} s after the boot ({len(errors)} looks); the line itself: "
            f"{mean * 1e3:+.2f} ms, sd {sd * 1e3:.2f}, at most {worst * 1e3:.1f} from the mean; {memory:.1f} MB resident, "
            f"{(cpu2 - cpu) / seconds * 100:.1f} % of an emulated processor, {wrote2 - wrote} bytes to the disk; "
            f"rate {c['rate_ppm']:+.1f} ± {c['rate_bound_ppm']:.1f} ppm, the kernel's frequency word {k['freq_ppm']:+.2f} ppm")
    need(c["basis"] == "gnss", f"at the end it stands on {c['basis']}: {c['because']} {trust(s, 'receiver')}; {text}")
    need(rms(errors) <= 0.010 and memory <= 25, text)
    return text

@case
def pulse(b):
    """The receiver's sentences and its second pulse (a parallel port's interrupt)."""
    m = running(b, "evening", pps=True)
    m.sh("modprobe parport_pc; modprobe pps_parport; udevadm settle; ls /dev/pps0")
    out = open(f"{m.folder}/pulses", "w")
    p = subprocess.Popen([sys.executable, f"{os.path.dirname(os.path.abspath(__file__))}/pulse.py", f"{m.folder}/qtest"], stdout=out, preexec_fn=first)
    b.children.append(p)
    configure(m, ("receiver.pps", '"/dev/pps0"'), ("receiver.pps_edge", '"assert"'))
    m.until("the pulse used", lambda: honest(m)[0]["clock"]["basis"] == "pps", 120)
    time.sleep(20)
    errors = follow(m, 60 if b.short else 300)
    mean, sd, worst = spread(errors)
    with open(out.name) as f:
        given = [int(x) / 1e6 for x in f]
    text = f"the pulse itself is given {sum(given) / len(given):.2f} ms late; "
    need(rms(errors) <= 0.001, text + f"{rms(errors) * 1e3:.2f} ms RMS")
    return text + f"{rms(errors) * 1e3:.2f} ms RMS, mean {mean * 1e3:+.2f} ms, sd {sd * 1e3:.2f}, {max(map(abs, errors)) * 1e3:.2f} ms at most ({len(errors)} looks)"
