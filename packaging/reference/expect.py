#!/usr/bin/env python3
"""What an independent reader makes of the receiver captures.

Writes CAPTURE.expect.json beside each capture that SOURCES.csv lists:

    python3 packaging/reference/expect.py testdata/nmea           # write
    python3 packaging/reference/expect.py --check testdata/nmea   # compare only

The parser is pynmea2 (MIT; no relation to this project or to the Go parser it
uses). Debian: apt-get install python3-nmea2. Any other copy on the Python path
serves; the version is written into every side file.

The parser checks the checksum, splits the fields and turns time, date, latitude
and longitude into values. This script frames sentences out of the file and
counts. It sees the whole file at once, unlike a decoder in service.

Definitions
  sentence     "$" or "!", an address, a comma, up to "*HH" or the end of the line
               or the next "$" or "!". What stands before or after it is ignored
               (host stamps, binary frames).
  accepted     checksum agrees ("*" without two hexadecimal digits is a bad one). In a file where no sentence has a checksum, all.
  instant      (date, time of day with its fraction) named by RMC, GGA, GNS or GLL.
               ZDA names instants only in a file where none of these has a time.
  date         the sentence's own (RMC; ZDA only in a file where no RMC has one);
               else that of the nearest dated sentence with the same time of day
               within NEAR sentences; else the last date before it, moved a day
               where that brings the instants within 12 h; else unknown.
               A two-digit ZDA year is 2000 + year.
  epochs       distinct instants in the file. A time sent twice, or again after
               a step back, counts once.
  valid        some sentence of the instant says valid and none says invalid.
               RMC, GLL: status A, and mode letter, if any, not N, E, M or S.
               GGA: quality above 0, not 6, 7 or 8. GNS: a mode letter among
               those not N, E, M or S. Empty fields say nothing.
  first, last  the first and last new instant, by place in the file, with a date.
  mean         over valid epochs, one position each: the first that a sentence
               saying valid carries.
"""

import argparse
import csv
import datetime as dt
import json
import pathlib
import re
import sys

try:
    import pynmea2
except ImportError:  # Debian's copy, when python3 is not Debian's python3
    sys.path.append("/usr/lib/python3/dist-packages")
    try:
        import pynmea2
    except ImportError:
        sys.exit("expect.py: no pynmea2; on Debian: apt-get install python3-nmea2")

NEAR = 40  # sentences; the longest burst among the captures has about 30
APART = 0.0005  # degrees between sentences of one instant that is worth a remark
BAD_MODES = set("NEMS")
TIMED = ("RMC", "GGA", "GNS", "GLL")
FRAME = re.compile(rb"[$!]([A-Z][A-Z0-9]{3,7},[^$!*\r\n]*)(?:\*([^$!\r\n]{0,2}))?")
METHOD = (
    f"packaging/reference/expect.py with pynmea2 {pynmea2.__version__}: "
    "checksums, fields, time, date and position by pynmea2; framing and counting by the script"
)


def frames(raw):
    """Yields (body, checksum or None) for every sentence of the file, in order."""
    for line in re.split(rb"[\r\n]+", raw):
        for m in FRAME.finditer(line):
            body = m.group(1).decode("latin-1")
            yield body, None if m.group(2) is None else m.group(2).decode("latin-1")


def sound(body, checksum):
    """Whether the checksum agrees; True also for types the parser does not know."""
    if not re.fullmatch("[0-9A-Fa-f]{2}", checksum):
        return False
    try:
        pynmea2.parse(f"{body}*{checksum}", check=True)
    except pynmea2.ChecksumError:
        return False
    except Exception:  # unknown type or address: the parser never got to the checksum, or past it
        return pynmea2.NMEASentence.checksum(body) == int(checksum, 16)
    return True


def parsed(body):
    """The sentence as a TIMED or ZDA object, or None for everything else."""
    if body[2:6] not in ("RMC,", "GGA,", "GNS,", "GLL,", "ZDA,") or body[0] == "P":
        return None
    try:
        return pynmea2.parse(body)
    except ValueError:
        return None


def time_of(msg):
    """Time of day in microseconds to the nearest 10 (the parser truncates), or None."""
    t = msg.timestamp
    if not isinstance(t, dt.time):
        return None
    us = ((t.hour * 60 + t.minute) * 60 + t.second) * 1_000_000 + t.microsecond
    return (us + 5) // 10 * 10


def date_of(msg):
    """The date the sentence itself names, or None."""
    if msg.sentence_type == "RMC":
        return msg.datestamp if isinstance(msg.datestamp, dt.date) else None
    if msg.sentence_type != "ZDA":
        return None
    try:
        year = msg.year + 2000 if msg.year < 100 else msg.year
        return dt.date(year, msg.month, msg.day)
    except (TypeError, ValueError):
        return None


def validity(msg):
    """True, False, or None where the sentence says neither."""
    kind = msg.sentence_type
    if kind in ("RMC", "GLL"):
        at = 11 if kind == "RMC" else 6
        mode = msg.data[at] if len(msg.data) > at else ""
        if msg.status not in ("A", "V"):
            return None
        return msg.status == "A" and mode not in BAD_MODES
    if kind == "GGA":
        q = msg.gps_qual
        return None if not isinstance(q, int) else q > 0 and q not in (6, 7, 8)
    if kind == "GNS":
        modes = msg.mode_indicator
        return None if not modes else any(m not in BAD_MODES for m in modes)
    return None


def position_of(msg):
    """(latitude, longitude) in degrees, north and east positive, or None."""
    if not hasattr(type(msg), "latitude") or not (msg.lat and msg.lon and msg.lat_dir and msg.lon_dir):
        return None
    try:
        return msg.latitude, msg.longitude
    except (AttributeError, ValueError):
        return None


def instant(date, us):
    return dt.datetime.combine(date, dt.time()) + dt.timedelta(microseconds=us)


def dated(marks):
    """Gives every (place, time of day, own date) its date by the rule above."""
    where = {}
    for place, us, date in marks:
        if date:
            where.setdefault(us, []).append((place, date))
    last, out = None, []
    for place, us, date in marks:
        if date is None:
            near = [(abs(p - place), d) for p, d in where.get(us, ()) if abs(p - place) <= NEAR]
            if near:
                date = min(near)[1]
            elif last:
                days = (-1, 0, 1)
                day = dt.timedelta(days=1)
                date = min((last.date() + n * day for n in days), key=lambda d: abs(instant(d, us) - last))
        else:
            last = instant(date, us)
        out.append(date)
    return out


def rfc3339(date, us):
    s = instant(date, us).isoformat()
    return (s.rstrip("0") if "." in s else s) + "Z"


def read(path):
    """The expectation for one capture, as a dict."""
    all_frames = list(frames(path.read_bytes()))
    bare = sum(1 for _, c in all_frames if c is None)
    unchecked = bare == len(all_frames)
    good = [b for b, c in all_frames if (unchecked if c is None else sound(b, c))]
    bad = len(all_frames) - bare - (0 if unchecked else len(good))
    msgs = [(i, m) for i, m in enumerate(map(parsed, good)) if m is not None]

    rmc_dates = any(m.sentence_type == "RMC" and date_of(m) is not None for _, m in msgs)
    zda_only = not any(m.sentence_type in TIMED and time_of(m) is not None for _, m in msgs)
    marks, sentences = [], []
    for i, m in msgs:
        us = time_of(m)
        if us is None:
            continue
        date = date_of(m) if m.sentence_type == "RMC" or not rmc_dates else None
        marks.append((i, us, date))
        sentences.append(m)

    epochs, order, again, newest = {}, [], 0, None
    for (_, us, _), date, m in zip(marks, dated(marks), sentences):
        if m.sentence_type == "ZDA" and not zda_only:
            continue
        key = (date, us)
        if key not in epochs:
            epochs[key] = {"says": [], "at": None, "spread": 0.0, "kinds": set(), "talkers": set()}
            order.append(key)
        elif key != newest:
            again += 1
        newest = key
        e = epochs[key]
        v = validity(m)
        e["says"].append(v)
        e["kinds"].add(m.sentence_type)
        e["talkers"].add(m.talker)
        here = position_of(m) if v else None
        e["at"] = e["at"] or here
        if here:
            e["spread"] = max(e["spread"], abs(here[0] - e["at"][0]), abs(here[1] - e["at"][1]))

    valid = [k for k in order if True in epochs[k]["says"] and False not in epochs[k]["says"]]
    spots = [epochs[k]["at"] for k in valid if epochs[k]["at"]]
    known = [k for k in order if k[0]]
    mean = lambda i: round(sum(s[i] for s in spots) / len(spots), 9) if spots else None
    out = {
        "epochs": len(order),
        "epochs_valid": len(valid),
        "first_utc": rfc3339(*known[0]) if known else None,
        "last_utc": rfc3339(*known[-1]) if known else None,
        "fix": bool(valid),
        "mean_lat_deg": mean(0),
        "mean_lon_deg": mean(1),
        "sentences_ok": 0 if unchecked else len(good),
        "checksum_bad": bad,
        "no_checksum": bare,
        "method": METHOD,
    }
    note = remarks(order, epochs, valid, spots, known, again, newest, zda_only, unchecked, rmc_dates, msgs)
    if note:
        out["note"] = note
    return out


def remarks(order, epochs, valid, spots, known, again, newest, zda_only, unchecked, rmc_dates, msgs):
    """Where another reading of the definitions would give other figures."""
    notes = []
    either = sum(1 for k in order if True in epochs[k]["says"])
    if unchecked:
        notes.append("no sentence has a checksum: all accepted")
    if zda_only:
        notes.append("only ZDA carries a time")
    if zda_only and any(m.sentence_type == "GLL" and position_of(m) for _, m in msgs):
        notes.append("GLL gives positions without a time: they belong to no epoch")
    if either != len(valid):
        notes.append(f"{either - len(valid)} instants called valid by one sentence and invalid by another count as invalid")
    if again:
        notes.append(f"{again} sentences name an instant named before another one came between")
    if known and newest != known[-1]:
        notes.append(f"the last sentence names {rfc3339(*newest) if newest[0] else 'an instant without a date'}, not new by then")
    back = sum(1 for a, b in zip(known, known[1:]) if instant(*b) < instant(*a))
    if back:
        notes.append(f"{back} new instants are earlier than the new instant before them")
    if known and len(known) != len(order):
        notes.append(f"{len(order) - len(known)} instants have no date; first and last are of those with one")
    if known and not rmc_dates:
        notes.append("dates are from ZDA")
    days = sorted({k[0] for k in known})
    if days and (days[-1] - days[0]).days > 1:
        notes.append("dates more than a day apart: " + ", ".join(d.isoformat() for d in days))
    kinds = sorted({t for e in epochs.values() for t in e["kinds"]})
    lone = {t: sum(1 for e in epochs.values() if e["kinds"] == {t}) for t in kinds} if len(kinds) > 1 else {}
    lone = {t: n for t, n in lone.items() if n}
    if lone:
        notes.append("instants named by one type alone: " + ", ".join(f"{t} {n}" for t, n in lone.items()))
    talkers = sorted({t for e in epochs.values() for t in e["talkers"]})
    if len(talkers) > 1:
        sets = [f"{t} {sum(1 for e in epochs.values() if t in e['talkers'])}" for t in talkers]
        notes.append("instants by talker: " + ", ".join(sets))
    apart = [e["spread"] for e in epochs.values() if e["spread"] > APART]
    if apart:
        notes.append(f"{len(apart)} epochs whose sentences give positions up to {max(apart):.4f} degrees apart")
    if len(spots) != len(valid):
        notes.append(f"{len(valid) - len(spots)} valid epochs carry no position")
    return "; ".join(notes)


def captures(root):
    """Every capture SOURCES.csv lists; one missing or unlisted is an error."""
    with open(root / "SOURCES.csv", newline="", encoding="utf-8") as f:
        listed = {root / r["folder"] / r["file"] for r in csv.DictReader(f)}
    there = {p for p in root.glob("*/*") if p.is_file() and p.parent.name != "LICENSES" and not p.name.endswith(".expect.json")}
    if listed != there:
        odd = ", ".join(sorted(str(p) for p in listed ^ there))
        sys.exit(f"expect.py: SOURCES.csv and the folders disagree: {odd}")
    return sorted(listed)


def main():
    ap = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    ap.add_argument("--check", action="store_true", help="compare with the side files, write nothing")
    ap.add_argument("folder", type=pathlib.Path)
    args = ap.parse_args()
    wrong = 0
    for path in captures(args.folder):
        text = json.dumps(read(path), indent=2) + "\n"
        side = path.with_name(path.name + ".expect.json")
        if not args.check:
            side.write_text(text, encoding="utf-8")
        elif not side.exists() or side.read_text(encoding="utf-8") != text:
            wrong += 1
            print(f"{side}: differs", file=sys.stderr)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
