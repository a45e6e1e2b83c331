"""What a power cut can leave on a disk, tried at many instants of one recorded run.

qemu's log of writes (the format of Linux, Documentation/admin-guide/device-mapper/
log-writes.rst) holds every write and flush of the machine in order. A disk keeps all
that was flushed; of what came after the last flush it may have kept any part, in any
order. So a cut is: all writes up to a flush, then each later one or not, by a coin.
The file system's own journal is then replayed, as at the next start, and the files are
looked at.
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

    def cut(self, later, folder):
        """The files of noonmark's state after a cut in which these writes came through
        besides what was flushed. The image is left as it was."""
        undo = []
        for where, data in later:
            self.file.seek(where)
            undo.append((where, self.file.read(len(data))))
            self.put(where, data)
        self.file.flush()
        shutil.rmtree(folder, ignore_errors=True)
        os.makedirs(folder)
        subprocess.run(["cp", "--sparse=always", self.image, f"{folder}/image"], check=True)
        for where, data in reversed(undo):
            self.put(where, data)
        self.file.flush()
        run = lambda *words: subprocess.run(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        p = run("e2fsck", "-y", "-E", "journal_only", f"{folder}/image")
        if p.returncode not in (0, 1):
            raise Failed(f"the journal cannot be replayed: {p.stdout.decode()[-300:]}")
        run("debugfs", "-R", f"rdump /var/lib/noonmark {folder}", f"{folder}/image")
        found = {}
        for name in os.listdir(f"{folder}/noonmark"):
            with open(f"{folder}/noonmark/{name}", "rb") as f:
                found[name] = f.read()
        return found

def replay(image, log, folder, cuts, seed=1, after=0):
    """Cuts the power at so many random instants after the first `after` entries. Returns
    what was found; a cut that tore both generations, or the newest, or lost a state that
    stood before, fails."""
    all_ = list(entries(log))
    draw = random.Random(seed)
    points = sorted(draw.sample(range(after, len(all_)), min(cuts, len(all_) - after)))
    disk, done, seen = Disk(image), 0, {"cuts": 0, "writes": len(all_), "leftovers": 0, "states": set(),
                                              "saves": sum(d.startswith(b"noonmark/learned/v1 ") for _, d, _ in all_[after:] if d)}
    for point in points:
        flushed = max((i for i in range(done, point) if all_[i][2] & (FLUSH | FUA)), default=done - 1) + 1
        for where, data, flags in all_[done:flushed]:
            if data:
                disk.put(where, data)
        done = max(done, flushed)
        later = [(w, d) for w, d, _ in all_[done:point] if d and draw.random() < 0.5]
        found = disk.cut(later, folder)
        newest = found.get("learned.json")
        if newest is None or kept(newest) is None:
            raise Failed(f"cut {point} of {len(all_)}: learned.json is {'gone' if newest is None else 'torn'}: {sorted(found)}")
        former = found.get("learned.previous.json")
        if former is not None and kept(former) is None:
            raise Failed(f"cut {point} of {len(all_)}: the generation before is torn")
        seen["states"].add(newest)
        seen["leftovers"] = max(seen["leftovers"], len(set(found) - {"learned.json", "learned.previous.json"}))
        seen["cuts"] += 1
    return seen
