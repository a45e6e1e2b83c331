"""The table of results: a line for each case, as the suite itself writes it."""
import os, subprocess, time

HEAD = "| case | what | result | length | s | date | commit |\n| --- | --- | --- | --- | --- | --- | --- |\n"
HERE = os.path.dirname(os.path.abspath(__file__))

def commit():
    """The commit that is checked out, with a plus where files differ from it."""
    ask = lambda *words: subprocess.run(["git", "-C", HERE, *words], capture_output=True, text=True).stdout.strip()
    return (ask("rev-parse", "--short", "HEAD") or "unknown") + ("+" if ask("status", "--porcelain", "-uno", "--", ":/", ":!:results.md") else "")

def keep(path, name, what, result, seconds, short):
    """Replaces the line of one case; the others stay."""
    lines = {}
    try:
        with open(path) as f:
            for line in f.read().splitlines()[2:]:
                lines[line.split("|")[1].strip()] = line
    except FileNotFoundError:
        pass
    plain = " ".join(result.split()).replace("|", "/")[:1000]
    lines[name] = (f"| {name} | {what} | {plain} | {'short' if short else 'full'} | {seconds:.0f} | "
                   f"{time.strftime('%Y-%m-%d', time.gmtime())} | {commit()} |")
    with open(path + ".part", "w") as f:
        f.write(HEAD + "\n".join(lines[n] for n in sorted(lines)) + "\n")
    os.replace(path + ".part", path)
