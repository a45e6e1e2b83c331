"""The case of the radio's sound: the kernel's loop-back card plays recordings into the real
recorder and the real unit."""
import os, re, subprocess, tarfile, time, wave

import bench
from cases import case, running
from checks import honest, need, verdict, watch

MODULES = ("snd-aloop",)
# The recorder and what the small Debian of the bench lacks of its libraries.
PACKAGES = ("alsa-utils", "libasound2", "libasound2-data", "libatopology2", "libfftw3-single3", "libsamplerate0", "libgomp1")
RECORDING = f"{bench.TOP}/testdata/air/busy_03.wav"  # 17 stations, listed 0.8 s late in the median (heard.csv)
LISTED = 0.8
MINUTES = 4
# What a crowd's offset is less than the listed one: the delay of radio and way that the program takes off.
DELAY = 0.05

def sound_disk(b):
    """A tar with the packages, the modules and minutes of sound, as a disk."""
    folder, release = f"{b.work}/sound", open(f"{b.cache}/release").read().strip()
    os.makedirs(folder)
    subprocess.run(["apt-get", "-qq", "-o", "APT::Sandbox::User=root", "download", *PACKAGES], cwd=folder, check=True, stdout=subprocess.DEVNULL)
    shown = subprocess.run(["modprobe", "-d", f"{b.cache}/kernel.d", "-S", release, "--show-depends", *MODULES], check=True, capture_output=True, text=True).stdout
    with wave.open(RECORDING) as w:
        samples = w.readframes(w.getnframes())
        need((w.getframerate(), w.getnchannels(), w.getsampwidth(), len(samples)) == (12000, 1, 2, 360000), "the recording is not one period of 12 kHz")
    with open(f"{folder}/sound.raw", "wb") as f:
        f.write(samples * (4 * MINUTES))
    path = f"{b.work}/sound.tar"
    with tarfile.open(path, "w") as t:
        for name in sorted(os.listdir(folder)):
            t.add(f"{folder}/{name}", f"sound/{name}")
        for n, line in enumerate(shown.splitlines()):
            t.add(line.split()[1], f"sound/{n:02}-{os.path.basename(line.split()[1])}")
    return path

# Plays so that the stations keep UTC, of which the machine's clock is OFF seconds off: stations that keep another
# time would be a lie, and the judge may believe it. How late the player begins is tried first. With a buffer for a machine that stands still
# now and then, and notes when the kernel's card began, by the system clock: /proc/asound shows it.
# A buffer that ran empty begins another time.
PLAY = """
import subprocess, time
def began():
    text = open('/proc/asound/Loopback/pcm0p/sub0/status').read()
    return float(text.split('trigger_time:')[1].split()[0]) if 'trigger_time' in text else None
def play(name):
    return subprocess.Popen(['aplay', '-q', '-D', 'plughw:Loopback,0', '--buffer-time=4000000', '-t', 'raw', '-f', 'S16_LE', '-c', '1', '-r', '12000', name])
def system(at):
    return at + time.time() - time.clock_gettime(time.CLOCK_MONOTONIC) if at < 1e8 else at  # by the monotonic clock
open('/run/nothing', 'wb').write(bytes(24000 * 6))
begin, p = time.time(), play('/run/nothing')
while not (at := began()):
    time.sleep(0.05)
lead = system(at) - begin
p.wait()
time.sleep((15 - LISTED - lead - (time.time() - OFF)) % 15)
p = play('/sound/sound.raw')
last = None
while p.poll() is None:
    at = began()
    if at and at != last:
        last = at
        print(system(at), file=open('/run/began', 'a'), flush=True)
    time.sleep(0.2)
"""

@case
def ear(b):
    """The radio's sound: recordings through the kernel's loop-back card, the real arecord and the real unit."""
    disk = sound_disk(b)
    m = running(b, "installed", drives=[disk])
    size = os.path.getsize(disk)
    m.sh(f"head -c {size} /dev/vdb | tar -C / -xf -; cd /sound && for f in [0-9]*.ko; do insmod $f; done; dpkg -i *.deb >/tmp/dpkg.log 2>&1 || cat /tmp/dpkg.log; udevadm settle", 300)
    need("Loopback" in m.sh("arecord -l 2>&1; cat /proc/asound/cards"), "the kernel has no loop-back card")
    # An emulated processor is ten times slower than the boards that the unit's share is for.
    m.sh("mkdir -p /etc/systemd/system/noonmark-hear.service.d; printf '[Service]\\nCPUQuota=\\nExecStart=\\nExecStart=/usr/bin/noonmark hear --sound plughw:Loopback,1 --mode FT8\\n' "
         ">/etc/systemd/system/noonmark-hear.service.d/bench.conf; systemctl daemon-reload; systemctl start noonmark-hear")
    m.until("a fix", lambda: honest(m)[0]["clock"]["basis"] == "gnss", 120)
    said = lambda: m.sh("journalctl -b -q -o cat -u noonmark-hear", check=False)[1]
    m.sh("rm -f /run/began; cat >/tmp/play.py <<'END'\n" + PLAY.replace("LISTED", str(LISTED)).replace("OFF", str(m.error()[0])) + "END\n"
         "setsid python3 /tmp/play.py >/tmp/play.log 2>&1 &")
    line, took = m.until("a crowd", lambda: next((l for l in reversed(said().splitlines()) if l.startswith("By ")), None), 60 * MINUTES)
    n, off, word, bound = re.match(r"By (\d+) stations this computer's clock is ([\d.]+) s (fast|slow) ± ([\d.]+) s", line).groups()
    heard = float(off) * (1 if word == "fast" else -1)
    all_began = [float(v) for v in m.sh("cat /run/began").split()]
    need(len(all_began) == 1, f"the host was too busy: the sound broke off, it began at {all_began}; then: {said()}")
    began = all_began[0]
    # By the system clock the stations come so late, as the card played them; modulo the period.
    played = (began + LISTED - DELAY + 7.5) % 15 - 7.5
    need(abs(heard - played) < float(bound), f"heard {heard:+.2f} s ± {bound}, and it was played {played:+.3f} s late: {said()}")
    # What the stations' time is off UTC, by the machine's error just now, which moves by 0.5 ms a second at most.
    lie = played - m.error()[0]
    s, true, _ = watch(m, 20) if abs(lie) <= float(bound) else honest(m, misled=True)
    air = next((r for r in s["references"] if r["kind"] == "air"), None)
    need(air and s.get("air"), f"the service has no such reference: {s['references']}")
    user = m.sh("stat -c %u /proc/$(systemctl show -P MainPID noonmark-hear)").strip()
    need(user != "0", "it runs as root")
    first = said()
    # The recorder ends: a word, and the unit tries again.
    m.sh("kill $(cat /proc/$(systemctl show -P MainPID noonmark-hear)/task/*/children)")
    again, _ = m.until("a word on the device", lambda: said()[len(first):].strip(), 60)
    return (f"{n} stations heard {took:.0f} s after the sound began to be wanted: clock {heard:+.2f} s ± {bound} s, played at {played:+.3f} s, {lie:+.3f} s off UTC; {air['trust']}: {air['because']} "
            f"FT8 {verdict(s)}, clock {true:+.3f} s; as user {user}; recorder killed: {again.splitlines()[-1][:160]}")
