"""What a power cut can leave on a disk, tried at many instants of one recorded run.

qemu's log of writes (the format of Linux, Documentation/admin-guide/device-mapper/
log-writes.rst) holds every write and flush of the machine in order. A disk keeps all
that was flushed; of what came after the last flush it may have kept any part, in any
order. So a cut is: all writes up to a flush, then each later one or not, by a coin; one
that was kept may be torn: of its sectors only the first. The file system's own journal
is then replayed, as at the next start, and the files are looked at.
"""
import os, random, shutil, struct, subprocess

from checks import kept
from machine import Failed

FLUSH, FUA, DISCARD, MARK = 1, 2, 4, 8
MAGIC = 0x6A736677736872

def entries(path):
    """The log's entries: (sector, bytes or None, flags). A log cut short ends where it ends."""
    with open(path, "rb") as f:
        magic, _, _, sector = struct.unpack("<QQQI", f.read(28))
        if magic != MAGIC:
            raise Failed("not a log of writes")
        f.seek(sector)
        while len(head := f.read(32)) == 32:
            where, count, flags, length = struct.unpack("<QQQQ", head)
            f.seek(sector - 32, os.SEEK_CUR)
            data = None if flags & DISCARD else f.read(count * sector)
            if data is not None and len(data) != count * sector or not (count or flags):
                return
            yield where * 512, data, flags

class Disk:
    """A disk image as it is after all writes up to some flush."""

    def __init__(self, image):
        self.file = open(image, "r+b")
        self.image = image

    def put(self, where, data):
        self.file.seek(where)
        self.file.write(data)

    def cut(self, later, folder, dumps, keep=None):
        """The files that dumps names (debugfs commands; {} is folder) after a cut in which these
        writes came through besides what was flushed, by their paths in folder. keep names a
        copy of the disk as the cut left it. The image is left as it was."""
        undo = []
        for where, data in later:
            self.file.seek(where)
            undo.append((where, self.file.read(len(data))))
            self.put(where, data)
        self.file.flush()
        shutil.rmtree(folder, ignore_errors=True)
        os.makedirs(f"{folder}/etc")
        run = lambda *words: subprocess.run(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        if keep:
            run("cp", "--sparse=always", self.image, keep)
        back = f"{folder}.undo"  # what the journal changes is taken back (e2undo(8)): quicker than a copy of the disk
        p = run("e2fsck", "-y", "-E", "journal_only", "-z", back, self.image)
        if p.returncode not in (0, 1):
            raise Failed(f"the journal cannot be replayed: {p.stdout.decode()[-300:]}")
        with open(f"{folder}.commands", "w") as f:
            f.writelines(d.format(folder) + "\n" for d in dumps)
        run("debugfs", "-f", f"{folder}.commands", self.image)
        if os.path.exists(back):
            p = run("e2undo", back, self.image)
            if p.returncode:
                raise Failed(f"the disk cannot be put back: {p.stdout.decode()[-300:]}")
            os.remove(back)
        for where, data in reversed(undo):
            self.put(where, data)
        self.file.flush()
        found = {}
        for top, _, names in os.walk(folder):
            for name in names:
                with open(f"{top}/{name}", "rb") as f:
                    found[os.path.relpath(f"{top}/{name}", folder)] = f.read()
        return found

def replay(image, log, folder, cuts, look, dumps, seed=1, after=0, before=None, keep=()):
    """Cuts the power at so many random instants between two numbers of entries, and has look
    (point, files) judge what is found: it raises Failed. keep: after which of the cuts, by
    their number, the disk is kept as folder-NUMBER.img. Returns how many were played, of how many writes."""
    all_ = list(entries(log))[:before]
    draw = random.Random(seed)
    points = sorted(draw.sample(range(after, len(all_)), min(cuts, len(all_) - after)))
    disk, done = Disk(image), 0
    for n, point in enumerate(points):
        flushed = max((i for i in range(done, point) if all_[i][2] & (FLUSH | FUA)), default=done - 1) + 1
        for where, data, flags in all_[done:flushed]:
            if data:
                disk.put(where, data)
        done = max(done, flushed)
        later = [(w, torn(d, draw)) for w, d, _ in all_[done:point] if d and draw.random() < 0.5]
        try:
            look(point, disk.cut(later, folder, dumps, f"{folder}-{n}.img" if n in keep else None))
        except Failed as e:
            raise Failed(f"cut {point} of {len(all_)}: {e}")
    return len(points), len(all_) - after

def torn(data, draw):
    """A write of which, once in four, only the first sectors came through."""
    return data[:512 * draw.randint(1, max(1, len(data) // 512))] if draw.random() < 0.25 else data

def saves(log, after):
    """How often a state was written."""
    return sum(d.startswith(b"noonmark/learned/v1 ") for n, (_, d, _) in enumerate(entries(log)) if n >= after and d)

STATE = ("rdump /var/lib/noonmark {}",)

class States:
    """Judges what a cut left of the learned state."""

    def __init__(self, must=True):
        self.must, self.states, self.leftovers = must, set(), 0

    def look(self, _, found):
        found = {os.path.basename(k): v for k, v in found.items() if k.startswith("noonmark/")}
        newest, former = found.get("learned.json"), found.get("learned.previous.json")
        if (self.must or former) and newest is None or newest is not None and kept(newest) is None:
            raise Failed(f"learned.json is {'gone' if newest is None else 'torn'}: {sorted(found)}")
        if former is not None and kept(former) is None:
            raise Failed("the generation before is torn")
        self.states.add(newest)
        self.leftovers = max(self.leftovers, len(set(found) - {"learned.json", "learned.previous.json"}))

PACKAGE = STATE + ("rdump /etc/noonmark {}/etc", "dump /usr/bin/noonmark {}/program", "dump /usr/lib/systemd/system/noonmark.service {}/unit",
                   "dump /var/lib/dpkg/status {}/status")

class Packages:
    """Judges what a cut left of two packages, installed one over the other. marks: numbers
    of entries before the first, after it and after the second."""

    def __init__(self, debs, folder, marks):
        self.marks, self.states = marks, States(must=False)
        self.may = {"program": set(), "unit": set()}
        for n, deb in enumerate(debs):
            subprocess.run(["dpkg-deb", "-x", deb, f"{folder}{n}"], check=True)
            for name, path in (("program", "usr/bin/noonmark"), ("unit", "usr/lib/systemd/system/noonmark.service")):
                with open(f"{folder}{n}/{path}", "rb") as f:
                    self.may[name].add(f.read())
        with open(f"{folder}0/usr/share/noonmark/noonmark.toml", "rb") as f:
            self.settings = f.read()

    def look(self, point, found):
        self.states.look(point, found)
        installed = point >= self.marks[1]
        for name, may in self.may.items():
            if name in found and found[name] not in may or installed and name not in found:
                raise Failed(f"{name}: {len(found[name])} bytes, neither the old nor the new" if name in found else f"{name} is gone")
        settings = found.get("etc/noonmark/noonmark.toml")
        status = found.get("status", b"")
        done = b"\nPackage: noonmark\nStatus: install ok installed\n" in status
        if settings is not None and settings != self.settings or settings is None and (installed or done):
            raise Failed(f"the settings are {'gone' if settings is None else f'torn: {settings[:60]!r}'}")
        if not status.startswith(b"Package: ") or installed and b"\nPackage: noonmark\n" not in status:
            raise Failed(f"the list of packages is torn: {status[:60]!r}")
