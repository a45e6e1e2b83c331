"""Asks a Prometheus server whether it scrapes noonmark, took the rules, and can
answer the dashboard. Usage: ask.py URL DASHBOARD"""
import json
import sys
import urllib.parse
import urllib.request

base, dashboard = sys.argv[1], sys.argv[2]
faults = []


def ask(path, **args):
    url = base + path + ("?" + urllib.parse.urlencode(args) if args else "")
    with urllib.request.urlopen(url, timeout=10) as answer:
        body = json.load(answer)
    if body["status"] != "success":
        faults.append(f"{path}: {body}")
    return body["data"]


targets = ask("/api/v1/targets")["activeTargets"]
for t in targets:
    if t["health"] != "up":
        faults.append(f"scrape: {t['lastError']}")
if not targets:
    faults.append("no target")

rules = [r for g in ask("/api/v1/rules")["groups"] for r in g["rules"]]
for r in rules:
    if r["health"] != "ok":
        faults.append(f"rule {r['name']}: {r['health']} {r.get('lastError', '')}")
firing = sorted(r["name"] for r in rules if r["state"] == "firing")
if "NoonmarkSimulation" not in firing:
    faults.append(f"the demo is a simulation, and no rule says so; firing: {firing}")

# What the demo's station does not have, so that an empty answer is no fault.
absent = ("noonmark_sharing_", "noonmark_rtc_battery")
questions, empty = 0, 0
for panel in json.load(open(dashboard, encoding="utf-8"))["panels"]:
    for target in panel["targets"]:
        expr = target["expr"].replace("$station", ".*")
        questions += 1
        try:
            result = ask("/api/v1/query", query=expr)["result"]
        except urllib.error.HTTPError as e:
            faults.append(f"panel {panel['title']}: {expr}: {e.read().decode()}")
            continue
        if not result:
            empty += 1
            if not any(a in expr for a in absent):
                faults.append(f"panel {panel['title']}: nothing for {expr}")

names = ask("/api/v1/label/__name__/values")
ours = [n for n in names if n.startswith("noonmark_")]
print(f"{len(targets)} target up, {len(rules)} rules ok, firing: {', '.join(firing) or 'none'}, "
      f"{questions} questions of the dashboard asked, {empty} empty, {len(ours)} families recorded")
for f in faults:
    print("FAULT:", f)
sys.exit(bool(faults))
