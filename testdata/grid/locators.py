#!/usr/bin/env python3
"""Checks locators.csv by exact rational arithmetic (Python's fractions), from the rule alone:
pairs of characters, longitude first, east of 180 W and north of 90 S, in bases 18, 10, 24,
10, 24 (IARU, Maidenhead 1980). Run it in this folder; it shares nothing with package grid."""
import csv
from fractions import Fraction

FIRST = "A0a0a"
BASES = (18, 10, 24, 10, 24)


def locator(lat, lon, pairs):
    x, y = (Fraction(lon) + 180) / 360 % 1, (Fraction(lat) + 90) / 180
    text = ""
    for base, first in list(zip(BASES, FIRST))[:pairs]:
        x, y = x * base, y * base
        i, j = int(x), min(int(y), base - 1)  # latitude +90: the top row
        text += chr(ord(first) + i) + chr(ord(first) + j)
        x, y = x - i, y - j
    return text


rows = list(csv.reader(open("locators.csv")))[1:]
bad = [(r, n) for r in rows for n in range(2, 6) if locator(r[0], r[1], n) != r[n]]
print(len(rows), "rows,", len(bad), "wrong", bad[:5])
raise SystemExit(bool(bad) or len(rows) != 373)
