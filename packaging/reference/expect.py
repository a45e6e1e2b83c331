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
import sys

from reading import PARSER, TIMED, date_of, frames, parsed, position_of, sound, time_of, validity

NEAR = 40  # sentences; the longest burst among the captures has about 30
APART = 0.0005  # degrees between sentences of one instant that is worth a remark
METHOD = (
    f"packaging/reference/expect.py with {PARSER}: "
    "checksums, fields, time, date and position by the parser; framing and counting by the script"
)


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


def epochs_of(msgs):
    """(epochs by instant in order of first appearance, facts for the remarks) of [(place, sentence)]."""
    facts = {
        "rmc_dates": any(m.sentence_type == "RMC" and date_of(m) for _, m in msgs),
        "zda_only": not any(m.sentence_type in TIMED and time_of(m) is not None for _, m in msgs),
        "placeless": any(m.sentence_type == "GLL" and time_of(m) is None and position_of(m) for _, m in msgs),
        "again": 0,
        "newest": None,
    }
    msgs = [(i, m) for i, m in msgs if time_of(m) is not None]
    own = [date_of(m) if m.sentence_type == "RMC" or not facts["rmc_dates"] else None for _, m in msgs]
    dates = dated([(i, time_of(m), d) for (i, m), d in zip(msgs, own)])
    epochs = {}
    for (_, m), date in zip(msgs, dates):
        if m.sentence_type == "ZDA" and not facts["zda_only"]:
            continue
        key = (date, time_of(m))
        if key in epochs and key != facts["newest"]:
            facts["again"] += 1
        facts["newest"] = key
        add(epochs.setdefault(key, {"says": set(), "at": None, "spread": 0.0, "kinds": set(), "talkers": set()}), m)
    return epochs, facts


def add(epoch, msg):
    """Adds what one sentence says to its epoch."""
    says = validity(msg)
    epoch["says"].add(says)
    epoch["kinds"].add(msg.sentence_type)
    epoch["talkers"].add(msg.talker)
    here = position_of(msg) if says else None
    if here:
        epoch["at"] = epoch["at"] or here
        epoch["spread"] = max(epoch["spread"], *(abs(a - b) for a, b in zip(here, epoch["at"])))


def read(path):
    """The expectation for one capture, as a dict."""
    all_frames = list(frames(path.read_bytes()))
    bare = sum(1 for _, c in all_frames if c is None)
    unchecked = bare == len(all_frames)
    good = [b for b, c in all_frames if (unchecked if c is None else sound(b, c))]
    epochs, facts = epochs_of([(i, m) for i, m in enumerate(map(parsed, good)) if m is not None])

    valid = [e for e in epochs.values() if True in e["says"] and False not in e["says"]]
    spots = [e["at"] for e in valid if e["at"]]
    known = [k for k in epochs if k[0]]
    mean = lambda i: round(sum(s[i] for s in spots) / len(spots), 9) if spots else None
    out = {
        "epochs": len(epochs),
        "epochs_valid": len(valid),
        "first_utc": rfc3339(*known[0]) if known else None,
        "last_utc": rfc3339(*known[-1]) if known else None,
        "fix": bool(valid),
        "mean_lat_deg": mean(0),
        "mean_lon_deg": mean(1),
        "sentences_ok": 0 if unchecked else len(good),
        "checksum_bad": 0 if unchecked else len(all_frames) - bare - len(good),
        "no_checksum": bare,
        "method": METHOD,
    }
    notes = ["no sentence has a checksum: all accepted"] if unchecked else []
    notes += time_remarks(epochs, facts) + epoch_remarks(epochs, valid)
    if notes:
        out["note"] = "; ".join(notes)
    return out


def time_remarks(epochs, facts):
    """Where another reading of time and date would give other figures."""
    notes = []
    known = [k for k in epochs if k[0]]
    if facts["zda_only"]:
        notes.append("only ZDA carries a time")
    if facts["placeless"]:
        notes.append("GLL gives positions without a time: they belong to no epoch")
    if facts["again"]:
        notes.append(f"{facts['again']} sentences name an instant named before another one came between")
    if known and facts["newest"] != known[-1]:
        last = rfc3339(*facts["newest"]) if facts["newest"][0] else "an instant without a date"
        notes.append(f"the last sentence names {last}, not new by then")
    back = sum(1 for a, b in zip(known, known[1:]) if instant(*b) < instant(*a))
    if back:
        notes.append(f"{back} new instants are earlier than the new instant before them")
    if epochs and not known:
        notes.append("no date")
    elif len(known) != len(epochs):
        notes.append(f"{len(epochs) - len(known)} instants have no date; first and last are of those with one")
    if known and not facts["rmc_dates"]:
        notes.append("dates are from ZDA")
    days = sorted({k[0] for k in known})
    if days and (days[-1] - days[0]).days > 1:
        notes.append("dates more than a day apart: " + ", ".join(d.isoformat() for d in days))
    return notes


def epoch_remarks(epochs, valid):
    """Where the sentences of one instant do not agree, or not all are there."""
    notes = []
    torn = sum(1 for e in epochs.values() if {True, False} <= e["says"])
    if torn:
        notes.append(f"{torn} instants called valid by one sentence and invalid by another count as invalid")
    kinds = sorted(set().union(*(e["kinds"] for e in epochs.values())))
    lone = {k: sum(e["kinds"] == {k} for e in epochs.values()) for k in kinds}
    if len(kinds) > 1 and any(lone.values()):
        notes.append("instants named by one type alone: " + ", ".join(f"{k} {n}" for k, n in lone.items() if n))
    talkers = sorted(set().union(*(e["talkers"] for e in epochs.values())))
    if len(talkers) > 1:
        sets = (f"{t} {sum(t in e['talkers'] for e in epochs.values())}" for t in talkers)
        notes.append("instants by talker: " + ", ".join(sets))
    apart = [e["spread"] for e in epochs.values() if e["spread"] > APART]
    if apart:
        notes.append(f"{len(apart)} epochs whose sentences give positions up to {max(apart):.4f} degrees apart")
    bare = sum(1 for e in valid if not e["at"])
    if bare:
        notes.append(f"{bare} valid epochs carry no position")
    return notes


def captures(root):
    """Every capture SOURCES.csv lists; one missing or unlisted is an error."""
    with open(root / "SOURCES.csv", newline="", encoding="utf-8") as f:
        listed = {root / r["folder"] / r["file"] for r in csv.DictReader(f)}
    there = {p for p in root.glob("*/*") if p.parent.name != "LICENSES" and not p.name.endswith(".expect.json")}
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
