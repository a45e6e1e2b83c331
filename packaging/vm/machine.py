"""A virtual machine: qemu with a disk, a hardware clock, a serial port for a receiver.

Nothing here touches the clock of the machine that runs it: what happens to clocks
happens inside. The host's clock is the truth of every check, whatever it shows.
"""
import ctypes, json, os, signal, socket, subprocess, time

class Failed(Exception):
    """What was checked is not so."""

class Late(Failed):
    """What was waited for did not come in time."""

class NotUp(Late):
    """The machine did not come up so far as to answer, which has nothing to do with noonmark."""

class Busy(Late):
    """The host was too busy to begin at the right instant."""

NICE = int(os.environ.get("NOONMARK_VM_NICE", -15))

def first():
    """Before others in the queue, so that what else the host does makes the machine, its
    receiver and its pulse as little late as may be. They want little."""
    try:
        os.setpriority(os.PRIO_PROCESS, 0, NICE)
    except OSError:
        pass  # not root's bench

def child():
    """In a new process: first, in a session of its own, for between sessions the kernel shares by
    session, whatever is nice within one (sched(7), autogroup). It ends with its parent (prctl(2))."""
    first()
    os.setsid()
    ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG
    try:
        with open("/proc/self/autogroup", "w") as f:
            f.write(str(NICE))
    except OSError:
        pass  # a kernel without such groups

def at_once(pid):
    """A process that wants little gets the processor the moment it has something to do, whatever
    else runs (SCHED_FIFO; the kernel leaves 5 % to others, sched_rt_runtime_us)."""
    for thread in os.listdir(f"/proc/{pid}/task"):
        try:
            os.sched_setscheduler(int(thread), os.SCHED_FIFO, os.sched_param(1))
        except (OSError, ProcessLookupError):
            pass  # not root's bench, or the thread ended just now

class Machine:
    """One start of a machine. Sockets and the console's text lie in folder. rtc is how far
    the hardware clock is off, in seconds (+ = ahead of the truth), to a millisecond or two:
    it is battery-backed, so who starts a machine again says how it was left. Or a date."""

    def __init__(self, cache, folder, disk, rtc=0.0, drives=(), usb=False, net=False, pps=False, options="", extra=(),
                 log_writes=None, wait=True, state=None):
        self.folder, self.disk, self.held, self.number = folder, disk, b"", 0
        os.makedirs(folder, exist_ok=True)
        at = lambda name: os.path.join(folder, name)
        for name in ("agent", "gnss", "usb", "qmp", "qtest"):
            if os.path.exists(at(name)):
                os.remove(at(name))
        if state:  # its first root puts that in place of what the disk has learned
            options += f" bench_state=vd{'bcdefg'[len(drives)]}:{os.path.getsize(state)}"
            drives = [*drives, state]
        chardev = lambda name: f"socket,id={name},path={at(name)},server=on,wait=off"
        kvm = os.environ.get("NOONMARK_VM_ACCEL") == "kvm"
        begin, base = None, rtc
        if not isinstance(rtc, str):  # it shows this whole second at this instant
            second = int(time.time() + 5 + rtc) + 1
            begin, base = second - rtc, time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(second))
        root = f"if=none,id=root,file={disk},format=qcow2,cache=writeback"
        words = ["qemu-system-x86_64", "-M", "q35,hpet=off", "-smp", "2", "-m", "512", "-nodefaults", "-display", "none", "-no-reboot",
                 # A machine that sees this vendor restarts the second of the hardware clock when it sets it; with
                 # AMD's name it does not (Linux 6.1 drivers/rtc/rtc-mc146818-lib.c).
                 *(["-accel", "kvm", "-cpu", "host"] if kvm else ["-accel", "tcg,thread=multi", "-cpu", "max,vendor=GenuineIntel"]),
                 "-kernel", f"{cache}/vmlinux", "-initrd", f"{cache}/first.cpio",
                 # The emulated time-stamp counter is the host's; without its watchdog it stays the machine's oscillator.
                 "-append", f"console=ttyS0 quiet mitigations=off tsc=reliable {options}",
                 "-rtc", f"base={base},clock=vm", "-S",
                 "-serial", f"file:{at('console')}", "-chardev", chardev("gnss"), "-serial", "chardev:gnss",
                 "-device", "virtio-serial-pci", "-chardev", chardev("agent"), "-device", "virtserialport,chardev=agent,name=bench",
                 "-qmp", f"unix:{at('qmp')},server=on,wait=off"]
        if log_writes:  # every write and flush, in the order in which the machine asked for them
            words += ["-blockdev", f"driver=file,node-name=f,filename={disk}", "-blockdev", "driver=qcow2,node-name=q,file=f",
                      "-blockdev", f"driver=file,node-name=lf,filename={log_writes}",
                      "-blockdev", "driver=blklogwrites,node-name=root,file=q,log=lf,log-sector-size=512",
                      "-device", "virtio-blk-pci,drive=root"]
        else:
            words += ["-drive", root, "-device", "virtio-blk-pci,drive=root"]
        for i, d in enumerate(drives):
            words += ["-drive", f"if=none,id=d{i},file={d},format=raw,readonly=on", "-device", f"virtio-blk-pci,drive=d{i}"]
        if usb:  # an FTDI bridge; plugged in while somebody is connected to the socket
            words += ["-device", "qemu-xhci,id=xhci", "-chardev", chardev("usb"),
                      "-device", "usb-serial,bus=xhci.0,port=1,chardev=usb,serial=BENCH1,id=rx"]
        words += ["-nic", "user,model=virtio-net-pci"] if net else ["-nic", "none"]
        if pps:  # the parallel port's interrupt, raised through qemu's own testing socket
            words += ["-chardev", "null,id=lpt", "-device", "isa-parallel,chardev=lpt",
                      "-qtest", f"unix:{at('qtest')},server=on,wait=off", "-qtest-log", "none"]
        self.log = open(at("qemu.log"), "ab")
        self.process = subprocess.Popen([*words, *extra], stdin=subprocess.DEVNULL, stdout=self.log, stderr=self.log,
                                        preexec_fn=child)
        self.agent, self.slow = None, 1
        try:
            self._go(begin)
            if wait:
                self.up()
        except BaseException:
            self.cut()
            raise

    # Starting and ending.

    def _go(self, begin):
        """Lets the machine run, from the instant begin."""
        with self._connect("qmp") as s, s.makefile("rw") as f:
            f.readline()
            f.write('{"execute":"qmp_capabilities"}\n')
            f.flush()
            f.readline()
            while begin and (left := begin - time.time()) > 0:
                time.sleep(left - 0.002 if left > 0.003 else 0)
            if begin and time.time() - begin > 0.05:
                raise Busy(f"the host was too busy: begun {time.time() - begin:.3f} s late")
            f.write('{"execute":"cont"}\n')
            f.flush()
            while "return" not in f.readline():
                pass
        self.began = time.monotonic()

    def up(self, limit=300):
        """Waits until the machine answers. One that is slow in that gets more time for all else."""
        self.agent = self._connect("agent", limit)
        end = time.monotonic() + limit
        try:
            while "hello" not in self._line(end):
                pass
        except Late:
            raise NotUp(f"the machine did not come up in {limit} s")
        self.slow = max(1, (time.monotonic() - self.began) / 20)

    def _connect(self, name, limit=20):
        end = time.monotonic() + limit
        while True:
            s = socket.socket(socket.AF_UNIX)
            try:
                s.connect(os.path.join(self.folder, name))
                return s
            except OSError:
                s.close()
                if self.process.poll() is not None or time.monotonic() > end:
                    raise Failed(f"the machine does not run: {self.folder}/qemu.log")
                time.sleep(0.05)

    def measured(self):
        """What follows is measured, and the machine is idle but for that: it goes at once. Not while
        it starts, for then it would leave nobody anything."""
        at_once(self.process.pid)

    def processors(self, which):
        """The host's processors that the emulator may use from now on."""
        for thread in os.listdir(f"/proc/{self.process.pid}/task"):
            try:
                os.sched_setaffinity(int(thread), which)
            except (OSError, ProcessLookupError):
                pass  # it ended just now

    def alive(self):
        return self.process.poll() is None

    def cut(self):
        """Takes the power away, between two instructions."""
        if self.alive():
            self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self._close()

    def off(self, limit=120):
        """Shuts down as an operator does."""
        try:
            self.sh("systemctl --no-block poweroff", check=False)
        except Failed:
            pass  # it was off before it had answered; else the wait tells
        try:
            self.process.wait(limit)
        except subprocess.TimeoutExpired:
            self.cut()
            raise Late("does not shut down")
        self._close()

    def _close(self):
        if self.agent:
            self.agent.close()
        self.log.close()

    # Asking the machine.

    def _line(self, end):
        while b"\n" not in self.held:
            left = end - time.monotonic()
            if left <= 0 or not self.alive():
                raise Late("the machine does not answer") if left <= 0 else Failed("the machine is off")
            self.agent.settimeout(min(left, 1))
            try:
                more = self.agent.recv(65536)
                if not more:
                    raise Failed("the machine is off")
                self.held += more
            except TimeoutError:
                pass
        text, self.held = self.held.split(b"\n", 1)
        try:
            return json.loads(text)
        except ValueError:
            return {}

    def ask(self, name, patience=60, **args):
        self.number += 1
        if not self.agent:
            raise Failed("the machine is not up")
        self.agent.sendall(json.dumps([self.number, name, args]).encode() + b"\n")
        end = time.monotonic() + patience
        while True:
            answer = self._line(end)
            if answer.get("number") == self.number:
                if "error" in answer:
                    raise Failed(f"{name}: {answer['error']}")
                return answer

    def sh(self, command, limit=60, check=True):
        """Runs a command as root; its output. With check, an exit other than 0 fails."""
        limit *= self.slow
        a = self.ask("sh", limit + 10, command=command, limit=limit)
        if check and a["rc"] != 0:
            raise Failed(f"{command}: exit {a['rc']}: {a['out'].strip()[-500:]}")
        return a["out"] if check else (a["rc"], a["out"])

    def status(self):
        """The published status, or {} while there is none."""
        rc, out = self.sh("cat /run/noonmark/status.json", check=False)
        if rc == 0:  # for whoever looks in meanwhile, for the machine talks with one only
            with open(os.path.join(self.folder, "status.json"), "w") as f:
                f.write(out)
        return json.loads(out) if rc == 0 else {}

    def tell(self):
        """What stands behind a failure: what the program says of itself, and its journal."""
        try:
            return self.sh("noonmark why; journalctl -b -q -o short-monotonic -u noonmark | tail -40; dmesg | tail -4", check=False)[1]
        except (Failed, OSError) as e:
            return f"no word: {e}"

    def error(self):
        """The machine's clock minus the truth, in seconds, and how uncertain that is:
        the shortest of some questions bounds it."""
        best = None
        for _ in range(12):
            a = time.time_ns()
            g = self.ask("clock")["ns"]
            b = time.time_ns()
            if best is None or b - a < best[1]:
                best = (g - (a + b) // 2, b - a)
        return best[0] / 1e9, best[1] / 2e9

    def until(self, what, ok, limit, pause=0.5):
        """Waits until ok() is true; what it returned, and the seconds that took."""
        begin = time.monotonic()
        limit *= self.slow
        while True:
            got = ok()
            if got:
                return got, time.monotonic() - begin
            if time.monotonic() - begin > limit:
                raise Late(f"{what}: not within {limit:.0f} s")
            time.sleep(pause)

    def qmp(self, command, **args):
        """One command to qemu itself."""
        with self._connect("qmp") as s, s.makefile("rw") as f:
            f.readline()
            for text in ({"execute": "qmp_capabilities"}, {"execute": command, "arguments": args}):
                f.write(json.dumps(text) + "\n")
                f.flush()
                while not {"return", "error"} & (answer := json.loads(f.readline())).keys():
                    pass
        if "error" in answer:
            raise Failed(f"{command}: {answer['error']['desc']}")
        return answer["return"]

    def qtest(self, *commands):
        """Commands of qemu's testing socket: interrupts and ports of the machine."""
        with self._connect("qtest") as s, s.makefile("rw") as f:
            for c in commands:
                f.write(c + "\n")
                f.flush()
                while (answer := f.readline()).startswith("IRQ"):
                    pass
                if not answer.startswith("OK"):
                    raise Failed(f"{c}: {answer}")
