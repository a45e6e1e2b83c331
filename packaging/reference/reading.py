"""One sentence at a time: framing, and what the parser makes of each.

Used by expect.py, which has the definitions.
"""

import datetime as dt
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

BAD_MODES = set("NEMS")
TIMED = ("RMC", "GGA", "GNS", "GLL")
FRAME = re.compile(rb"[$!]([A-Z][A-Z0-9]{3,7},[^$!*\r\n]*)(?:\*([^$!\r\n]{0,2}))?")
PARSER = f"pynmea2 {pynmea2.__version__}"


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
