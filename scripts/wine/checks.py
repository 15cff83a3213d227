#!/usr/bin/env python3
"""What scripts/wine-test compares: the program for Linux and the one for Windows, the same commands to both.

Every check runs on both sides, and what they print or write is compared. Paths are written in each side's own way and made
alike before they are compared; times are left out. Nothing else is forgiven: numbers have to be the same to the last digit
that is printed, unless the check says so.
"""

import argparse
import difflib
import hashlib
import json
import os
import pathlib
import re
import shutil
import sqlite3
import subprocess
import sys
import time
import traceback
import zipfile

PROJECT = pathlib.Path(__file__).resolve().parents[2]
FIXTURES = PROJECT / "audio-fixtures"
# Keys in the JSON of `score` that hold how long something took.
TIMES = {"seconds_taken", "took", "took_ms", "elapsed", "elapsed_ms", "timing", "timings"}
DATE = "2026-11-01"


class Wrong(Exception):
    """A check found a difference."""


class Path(str):
    """A path among arguments: each side writes it in its own way."""


class Side:
    """One of the two programs, with data of its own for each check."""

    def __init__(self, name, program, room):
        self.name, self.program, self.room = name, program, room
        self.seconds = 0.0

    def home(self, check):
        home = self.room / "homes" / self.name / check
        home.mkdir(parents=True, exist_ok=True)
        return home

    def spell(self, arg):
        return self.path(arg) if isinstance(arg, Path) else arg

    def run(self, home, *args, say="", fails=False, program=None, sound=True):
        """Runs a command; what it printed."""
        env = {**os.environ, "CABLESIDE_HOME": self.path(home), "TZ": "UTC", "LANG": "en_GB.UTF-8"}
        if not sound:
            env["PULSE_SERVER"] = f"unix:{self.room}/nobody-there"
        command = [*self.before, str(program or self.program), *map(self.spell, args)]
        began = time.monotonic()
        done = subprocess.run(command, input=say.encode(), capture_output=True, env=env, cwd=self.room, timeout=900)
        self.seconds += time.monotonic() - began
        if (done.returncode != 0) != fails:
            raise Wrong(f"{self.name}: {args} ended with {done.returncode}: {done.stderr.decode(errors='replace')[-600:]}")
        return (done.stdout + (done.stderr if fails else b"")).decode()


class Linux(Side):
    before = []

    def path(self, path):
        return str(path)


class Windows(Side):
    before = ["wine"]

    def path(self, path):
        return "Z:" + str(path).replace("/", "\\")


def alike(text, side, home):
    """The text with the side's own paths and ways of ending a line taken out."""
    for path, word in ((home, "HOME"), (side.room, "ROOM"), (PROJECT, "PROJECT")):
        text = text.replace(side.path(path), word)
    if side.name == "Wine":
        text = re.sub(r"(HOME|ROOM|PROJECT)([\\\w.-]*)", lambda m: m[1] + m[2].replace("\\", "/"), text)
    return text


def equal(what, linux, windows):
    if linux == windows:
        return
    if isinstance(linux, bytes):
        raise Wrong(f"{what}: {len(linux)} and {len(windows)} bytes, not the same")
    lines = difflib.unified_diff(str(linux).splitlines(), str(windows).splitlines(), "Linux", "Wine", lineterm="", n=0)
    raise Wrong(f"{what} differs:\n      " + "\n      ".join(list(lines)[:12]))


def without_times(value):
    if isinstance(value, dict):
        return {k: without_times(v) for k, v in value.items() if k not in TIMES}
    return [without_times(v) for v in value] if isinstance(value, list) else value


def differences(a, b, place=""):
    """Every place where two values of JSON differ."""
    if isinstance(a, dict) and isinstance(b, dict):
        for key in sorted(a.keys() | b.keys()):
            yield from differences(a.get(key), b.get(key), f"{place}.{key}")
    elif isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
        for n, (x, y) in enumerate(zip(a, b)):
            yield from differences(x, y, f"{place}[{n}]")
    elif a != b:
        yield place, a, b


def mount(*args):
    return subprocess.run(["mount", *map(str, args)], capture_output=True).returncode == 0


class Checks:
    def __init__(self, args):
        self.room = pathlib.Path(args.room)
        self.linux = Linux("Linux", pathlib.Path(args.linux) / "cableside", self.room)
        self.folder = pathlib.Path(args.windows)
        self.windows = Windows("Wine", self.folder / "bin" / "cableside.exe", self.room)
        self.sides = [self.linux, self.windows]
        self.setup, self.out = pathlib.Path(args.setup), pathlib.Path(args.out)
        self.models = pathlib.Path(os.environ["CABLESIDE_MODELS"])

    def both(self, check, *args, **more):
        """The same command on both sides; what they printed must be the same."""
        texts = [alike(side.run(side.home(check), *args, **more), side, side.home(check)) for side in self.sides]
        equal(" ".join(map(str, args[:3])), *texts)
        return texts[0]

    def model(self, check):
        """The model where each side looks for it."""
        for side in self.sides:
            folder = side.home(check) / "models"
            folder.mkdir(exist_ok=True)
            if not (folder / "ggml-base.bin").exists():
                os.link(self.models / "ggml-base.bin", folder / "ggml-base.bin")

    # --- the checks, in the order of the table ---------------------------------------------------------------------------

    def version(self):
        return self.both("version", "--version").strip()

    def sites(self):
        text = self.both("sites", "site", "list")
        for name in ("larkmoor", "erlengrund"):
            if name not in text:
                raise Wrong(f"{name} is not listed")
        return f"{len(text.splitlines())} lines"

    def model_from_file(self):
        half = self.room / "half.bin"
        with (self.models / "ggml-base.bin").open("rb") as whole:
            half.write_bytes(whole.read(50_000_000))
        self.both("model", "model", "fetch", "base", "--from", Path(half), fails=True)
        for side in self.sides:
            side.run(side.home("model"), "model", "fetch", "base", "--from", Path(self.models / "ggml-base.bin"))
            found = hashlib.sha256((side.home("model") / "models" / "ggml-base.bin").read_bytes()).hexdigest()
            if found != hashlib.sha256((self.models / "ggml-base.bin").read_bytes()).hexdigest():
                raise Wrong(f"{side.name}: the model is not the file")
        self.both("model", "model", "check")
        half.unlink()
        return "taken in and checked; half a file refused"

    def demo(self):
        self.model("demo")
        text = self.both("demo", "demo")
        return next(line.strip() for line in text.splitlines() if line.strip().startswith("Crew"))

    def score(self):
        self.model("score")
        rows = [json.loads(line) for line in (FIXTURES / "manifest.jsonl").read_text().splitlines()]
        verdicts, bytes_same, odd = 0, 0, []
        for row in rows:
            s = row["situation"]
            args = ["score", Path(FIXTURES / row["audio"]), "--json", "--site", row["site"], "--step", row["step"]]
            args += ["--callsign", s["callsign"], "--crew", str(s["crew"]), "--cable", s["cable"]]
            texts = [side.run(side.home("score"), *args) for side in self.sides]
            bytes_same += texts[0] == texts[1]
            a, b = (without_times(json.loads(text)) for text in texts)
            judged = [(v["outcome"], [(e["element"], e["verdict"], e["heard"]) for e in v["elements"]]) for v in (a["judgement"], b["judgement"])]
            if judged[0] != judged[1]:
                raise Wrong(f"{row['audio']} is judged differently: {judged}")
            verdicts += 1
            odd += [(row["audio"], *d) for d in differences(a, b)]
        greatest = max((abs(x - y) for _, _, x, y in odd if isinstance(x, float) and isinstance(y, float)), default=0.0)
        rest = [o for o in odd if not (isinstance(o[2], float) and isinstance(o[3], float) and abs(o[2] - o[3]) < 0.01)]
        if rest:
            raise Wrong(f"{len(rest)} other differences, the first {rest[0]}")
        note = f"{verdicts} of {len(rows)} the same verdicts; JSON {bytes_same} byte for byte"
        return note + (f", else {len(odd)} numbers by at most {greatest:.2g}" if odd else "")

    def book(self):
        """A typed drill with a logbook: the same calls, the same list."""
        right = "winch golf charlie lima romeo mike two up north winch cable ready\n"
        calls = right + right.replace("two up ", "") + "two up\n"
        told = []
        for side in self.sides:
            home = side.home("book")
            side.run(home, "logbook", "student", "add", "Jörg Ünal", "--consent", "yes")
            drill = side.run(home, "drill", "--site", "larkmoor", "--typed", "--turns", "2", "--level", "written",
                             "--student", "Jörg Ünal", "--situation", "G-CLRM,2,north", say=calls)
            listed = side.run(home, "logbook", "list")
            told.append((drill, re.sub(r"^[0-9a-f]{8}  \S+ \S+", "ID AND TIME", listed, flags=re.MULTILINE)))
        equal("the drill", told[0][0], told[1][0])
        equal("the list", told[0][1], told[1][1])
        rows = json.loads(self.windows.run(self.windows.home("book"), "logbook", "export", "--format", "json"))
        outcomes = sorted(a["outcome"] for a in rows["attempts"])
        if outcomes != ["not yet", "pass", "pass"]:
            raise Wrong(f"the calls are kept as {outcomes}")
        return f"{len(rows['attempts'])} typed calls kept"

    def merge(self):
        """The logbooks of the drill, each taken into the other system's: both hold the same then."""
        books = {side.name: self.room / f"{side.name}.sqlite" for side in self.sides}
        for side in self.sides:
            shutil.copy(side.home("book") / "logbook.sqlite", books[side.name])
        texts = []
        for side in self.sides:
            home = side.home("merge")
            shutil.copy(books[side.name], home / "logbook.sqlite")
            other = books["Wine" if side.name == "Linux" else "Linux"]
            side.run(home, "logbook", "merge", Path(other))
            side.run(home, "logbook", "merge", Path(other))
            rows = json.loads(side.run(home, "logbook", "export", "--format", "json"))
            texts.append(sorted(json.dumps(a, sort_keys=True) for a in rows["attempts"]))
        equal("the merged logbooks", *texts)
        return f"{len(texts[0])} attempts in both, twice merged"

    def report(self):
        """From one logbook: the same bytes."""
        name = self.room / "Linux.sqlite"
        sizes = []
        for kind in ("csv", "json", "pdf"):
            files = []
            for side in self.sides:
                file = side.home("report") / f"Bericht.{kind}"
                side.run(side.home("report"), "report", "--site", "larkmoor", "--everybody", "--date", DATE, "--from", "2026-01-01",
                         "--until", "2030-01-01", "--logbook", Path(name), "--out", Path(file))
                files.append(file.read_bytes())
            equal(f"the report as {kind}", *files)
            sizes.append(f"{kind} {len(files[0])}")
        files = []
        for side in self.sides:
            file = side.home("report") / "wall.pdf"
            side.run(side.home("report"), "report", "--site", "larkmoor", "--wall", "--date", DATE, "--out", Path(file))
            files.append(file.read_bytes())
        equal("the sheet for the wall", *files)
        for side in self.sides:
            side.run(side.home("report"), "logbook", "--logbook", Path(name), "export", "--format", "csv", "--out", Path(side.home("report") / "log.csv"))
        equal("the export", *((side.home("report") / "log.csv").read_bytes() for side in self.sides))
        return "the same bytes: " + ", ".join(sizes) + f", wall {len(files[0])}"

    def site_files(self):
        """A site goes out on one system and in on the other; files with Windows' ends of lines and its mark."""
        made = {}
        for side in self.sides:
            home = side.home("site")
            side.run(home, "site", "new", Path(home / "phrases" / "moor field"))
            file = home / "feld.cableside"
            side.run(home, "site", "export", Path(home / "phrases" / "moor field"), Path(file))
            made[side.name] = file.read_bytes()
        equal("the exported site", made["Linux"], made["Wine"])
        for side, other in zip(self.sides, self.sides[::-1]):
            home = side.home("site in")
            file = other.home("site") / "feld.cableside"
            side.run(home, "site", "import", Path(file))
            side.run(home, "site", "import", Path(file), fails=False)
        crlf = self.room / "crlf" / "windfeld"
        shutil.copytree(PROJECT / "phrases" / "erlengrund", crlf, dirs_exist_ok=True)
        for file in crlf.glob("*.toml"):
            file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes().replace(b"\r\n", b"\n").replace(b"\n", b"\r\n"))
        self.both("site", "site", "check", Path(crlf))
        self.both("site", "site", "compare", Path(PROJECT / "phrases" / "erlengrund"), Path(crlf))
        return f"{len(made['Linux'])} bytes, the same; in on the other; CRLF and BOM read"

    def a_class(self):
        """Practice is handed out on Windows, done on Linux, taken in on Windows; and the other way round."""
        told = []
        for teacher, student in ((self.windows, self.linux), (self.linux, self.windows)):
            club, home = teacher.home("club"), student.home("at home")
            teacher.run(club, "logbook", "student", "add", "CON: Zoë?", "--consent", "no")
            out = club / "out"
            teacher.run(club, "class", "hand-out", "--site", "larkmoor", "--student", "CON: Zoë?", "--calls", "2", "--seed", "5", "--out", Path(out))
            (file,) = out.iterdir()
            student.run(home, "logbook", "student", "add", "CON: Zoë?", "--consent", "no")
            student.run(home, "class", "practise", Path(file), "--typed", say="winch ready\n\n" * 12)
            results = home / "results.cableside"
            student.run(home, "class", "hand-in", Path(file), "--out", Path(results))
            text = teacher.run(club, "class", "take-in", Path(results))
            if "unchanged" not in text:
                raise Wrong(text)
            told.append(re.search(r"(\d+) new", text)[0])
        return f"Wine to Linux to Wine {told[0]}, Linux to Wine to Linux {told[1]}"

    def places(self):
        """A path of more than 200 characters with an umlaut."""
        deep = self.room / ("Fünf " * 20).strip() / ("Größe" * 20) / "data"
        deep.mkdir(parents=True, exist_ok=True)
        for side in self.sides:
            side.run(deep / side.name, "logbook", "student", "add", "Ägir", "--consent", "no")
            if "Ägir" not in side.run(deep / side.name, "logbook", "students"):
                raise Wrong(f"{side.name}: not kept under {len(str(deep))} characters")
        return f"data under a path of {len(str(deep / 'Linux'))} characters"

    def bad(self):
        """What may be wrong on a student's computer: the same words on both, and nothing is damaged."""
        for side in self.sides:
            home = side.home("bad")
            shutil.copy(self.room / "Linux.sqlite", home / "logbook.sqlite")
            with sqlite3.connect(home / "logbook.sqlite") as book:
                book.execute("PRAGMA user_version = 99")
            book.close()
            (home / "models").mkdir(exist_ok=True)
            with (home / "models" / "ggml-base.bin").open("wb") as half:
                half.truncate(70_000_000)
        before = (self.windows.home("bad") / "logbook.sqlite").read_bytes()
        newer = self.both("bad", "logbook", "students", fails=True)
        half = self.both("bad", "model", "check", fails=True)
        if "newer version" not in newer or "cut short" not in half:
            raise Wrong(newer + half)
        if (self.windows.home("bad") / "logbook.sqlite").read_bytes() != before:
            raise Wrong("the newer logbook was changed")
        notes = ["newer logbook refused and untouched", "half a model named"]
        for side in self.sides:
            text = side.run(side.home("bad"), "sound", "check", fails=True, sound=False)
            if "no microphone was found" not in text or "settings" not in text.lower():
                raise Wrong(f"{side.name} without a microphone: {text}")
        notes.append("no microphone said")
        notes.append(self.protected())
        return ", ".join(notes)

    def protected(self):
        """A program folder that cannot be written to, `data` beside the program or not. Root may write anywhere but there."""
        folder = self.room / "protected"
        folder.mkdir(exist_ok=True)
        if not mount("--bind", self.folder, folder):
            return "folder without rights NOT checked: mounting is not permitted here"
        try:
            mount("-o", "remount,bind,ro", folder)
            program = folder / "bin" / "cableside.exe"
            home = self.windows.home("protected")
            self.windows.run(home, "logbook", "student", "add", "Ägir", "--consent", "no", program=program)
            text = self.windows.run(folder / "data", "logbook", "student", "add", "Ägir", "--consent", "no", program=program, fails=True)
        finally:
            subprocess.run(["umount", str(folder)], check=False)
        if "data" not in text or "panicked" in text:
            raise Wrong(f"data in a folder without rights: {text}")
        return "folder without rights: the data elsewhere kept, there refused (" + text.strip().splitlines()[0][:90] + ")"

    def full(self):
        """The disk is full while the installer unpacks: nothing stands in the menu as if it were there; with room it goes."""
        small = self.room / "small"
        small.mkdir(exist_ok=True)
        if not mount("-t", "tmpfs", "-o", "size=30m", "tmpfs", small):
            return "NOT checked: mounting is not permitted here"
        began = time.monotonic()
        try:
            env = {**os.environ, "CABLESIDE_HOME": ""}
            target = self.windows.path(small / "Cableside")
            code = subprocess.run(["wine", str(self.setup), "/S", f"/D={target}"], env=env, cwd=self.room, timeout=600).returncode
            if code == 0:
                raise Wrong("the installer says that all is well on a full disk")
            if list((self.room / "prefix").rglob("Cableside.lnk")):
                raise Wrong("a link stands in the menu")
            key = "HKCU\\Software\\Microsoft\\Windows\\CurrentVersion\\Uninstall\\Cableside"
            if subprocess.run(["wine", "reg", "query", key], env=env, cwd=self.room, capture_output=True).returncode == 0:
                raise Wrong("it is registered as installed")
            left = sum(1 for f in small.rglob("*") if f.is_file())
        finally:
            # First, since waiting may take too long and end in an error.
            subprocess.run(["umount", "-l", str(small)], check=False)
            subprocess.run(["wineserver", "-w"], timeout=60, check=False)
        self.windows.seconds += time.monotonic() - began
        return f"the installer ends with {code}; no link, not registered; {left} files left"

    def voice(self):
        """The synthesiser says the same samples, and nothing is left in the folder for temporary files."""
        texts = []
        left = lambda: set((self.room / "prefix" / "drive_c" / "users").rglob("cableside-voice-*"))
        before = left()
        for side in self.sides:
            file = side.home("voice") / "said.wav"
            side.run(side.home("voice"), "sound", "say", "north winch cable", "--out", Path(file))
            texts.append(file.read_bytes())
        equal("the voice", *texts)
        if left() != before:
            raise Wrong(f"left in the folder for temporary files: {sorted(left() - before)}")
        return f"{len(texts[0])} bytes, the same"

    def installer(self):
        """Silent, into a folder with an umlaut and blanks; what is left after removal is what the user made."""
        began = time.monotonic()
        target = self.room / "prefix" / "drive_c" / "Flug Übungen" / "Cableside hier"
        env = {**os.environ, "CABLESIDE_HOME": ""}
        wine = lambda *args: subprocess.run(["wine", *args], env=env, cwd=self.room, check=True, capture_output=True, timeout=900)
        # The folder stands last and without quotation marks, blanks or not: so it goes as several arguments.
        wine(str(self.setup), "/S", *"/D=C:\\Flug Übungen\\Cableside hier".split())
        if not (target / "Cableside.exe").is_file():
            raise Wrong("nothing was installed there")
        shutil.copy(self.room / "bcryptprimitives.dll", target / "bin")
        text = self.windows.run(self.room / "installed", "site", "list", program=target / "bin" / "cableside.exe")
        if "larkmoor" not in text:
            raise Wrong(text)
        command = subprocess.run(["wine", "reg", "query", "HKCU\\Software\\Classes\\Cableside.File\\shell\\open\\command"],
                                 env=env, cwd=self.room, capture_output=True).stdout.decode(errors="replace")
        if "Cableside.exe" not in command or "%1" not in command:
            raise Wrong(f"the own files are not registered: {command}")
        links = list((self.room / "prefix").rglob("Cableside.lnk"))
        if len(links) != 1:
            raise Wrong(f"links in the menu: {links}")
        installed = sum(1 for f in target.rglob("*") if f.is_file())
        (target / "data").mkdir()
        (target / "data" / "logbook.sqlite").write_bytes(b"mine")
        # It goes to a folder of its own and works from there, so it is waited for by what it takes away.
        wine(str(target / "uninstall.exe"), "/S")
        end = time.monotonic() + 60
        while time.monotonic() < end and ((target / "uninstall.exe").exists() or (target / "bin" / "cableside.exe").exists()):
            time.sleep(0.2)
        subprocess.run(["wineserver", "-w"], env=env, timeout=60, check=False)
        left = sorted(str(f.relative_to(target)) for f in target.rglob("*") if f.is_file())
        if left != ["data/logbook.sqlite"]:
            raise Wrong(f"left after removal: {left}")
        if list((self.room / "prefix").rglob("Cableside.lnk")):
            raise Wrong("the link is left in the menu")
        for key in ("Software\\Classes\\Cableside.File", "Software\\Classes\\.cableside", "Software\\Microsoft\\Windows\\CurrentVersion\\Uninstall\\Cableside"):
            if subprocess.run(["wine", "reg", "query", f"HKCU\\{key}"], env=env, cwd=self.room, capture_output=True).returncode == 0:
                raise Wrong(f"left in the registry: {key}")
        self.windows.seconds += time.monotonic() - began
        return f"{installed} files in, 1 of the user's own left"

    def window(self):
        """The first start, then a call spoken into the virtual microphone: heard, judged, kept, shown."""
        began = time.monotonic()
        launcher = self.folder / "Cableside.exe"
        with Window(self, "first", launcher) as window:
            window.until("the first page", lambda: window.colours() > 200)
            window.picture("first_start.png")
        home = self.windows.home("spoken")
        self.model("spoken")
        self.windows.run(home, "logbook", "student", "add", "Robin", "--consent", "yes")
        call = self.room / "call.wav"
        subprocess.run(["ffmpeg", "-v", "error", "-y", "-i", str(FIXTURES / "clips" / "demo_missing_crew.flac"), str(call)], check=True)
        args = ["--site", "larkmoor", "--student", "Robin", "--situation", "G-CLRM,2,north"]
        with Window(self, "spoken", launcher, *args) as window:
            window.state("your call")
            window.key("keydown", "space")
            window.state("transmitting")
            subprocess.run(["paplay", "--device=micfeed", str(call)], check=True)
            window.key("keyup", "space")
            judged = time.monotonic()
            window.state("judging")
            window.state("your call")
            judged = time.monotonic() - judged
            time.sleep(1)
            window.picture("after_a_call.png")
        (attempt,) = json.loads(self.windows.run(home, "logbook", "export", "--format", "json"))["attempts"]
        verdicts = {e["element"]: e["verdict"] for e in attempt["elements"]}
        if attempt["outcome"] != "not yet" or verdicts["crew"] != "missing" or verdicts["callsign"] != "said":
            raise Wrong(f"judged {attempt['outcome']}, {verdicts}")
        recording = home / "recordings" / attempt["recording"]
        if recording.stat().st_size < 50_000:
            raise Wrong("the recording is not kept")
        self.windows.seconds += time.monotonic() - began
        return f"spoken call judged in {judged:.1f} s: crew missing, callsign said; recording kept"


class Window:
    """The program's window under Wine, at the screen without a screen."""

    def __init__(self, checks, home, program, *args):
        self.checks = checks
        env = {**os.environ, "CABLESIDE_HOME": checks.windows.path(checks.windows.home(home)), "LANG": "en_GB.UTF-8"}
        self.log = (checks.room / f"{home}.log").open("wb")
        self.process = subprocess.Popen(["wine", str(program), *args], env=env, cwd=checks.room, stdout=self.log, stderr=self.log)

    def __enter__(self):
        found = lambda: self.tool("xdotool", "search", "--onlyvisible", "--name", "^Cableside").split()
        self.id = self.until("the window", found)[0]
        self.tool("xdotool", "windowfocus", "--sync", self.id)
        self.tool("xdotool", "mousemove", "1279", "799")
        return self

    def __exit__(self, *_):
        self.tool("xdotool", "windowclose", self.id)
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.process.kill()
        subprocess.run(["wineserver", "-k"], check=False)
        subprocess.run(["wineserver", "-w"], check=False)
        self.log.close()

    def tool(self, *command):
        return subprocess.run(command, capture_output=True, text=True, check=False).stdout

    def key(self, what, key):
        self.tool("xdotool", what, key)

    def until(self, what, found, at_most=90):
        end = time.monotonic() + at_most
        while time.monotonic() < end:
            if answer := found():
                return answer
            time.sleep(0.1)
        self.picture("when_it_failed.png")
        raise Wrong(f"waited in vain for {what}; see when_it_failed.png")

    def state(self, state):
        self.until(state, lambda: self.tool("xdotool", "getwindowname", self.id).strip().endswith(state))

    def colours(self):
        return int(self.tool("convert", "x:root", "-format", "%k", "info:") or 0)

    def picture(self, name):
        self.tool("import", "-window", "root", str(self.checks.out / name))


ORDER = ["version", "sites", "model_from_file", "demo", "score", "book", "merge", "report", "site_files", "a_class", "places", "bad", "voice", "installer", "full", "window"]


def main():
    parser = argparse.ArgumentParser()
    for name in ("linux", "windows", "room", "setup", "out"):
        parser.add_argument(f"--{name}", required=True)
    parser.add_argument("--only", default="")
    args = parser.parse_args()
    checks = Checks(args)
    wanted = [n for n in args.only.split(",") if n] or ORDER
    rows, failed = [], 0
    for name in wanted:
        for side in checks.sides:
            side.seconds = 0.0
        try:
            note, passed = getattr(checks, name)(), "passed"
        except Wrong as e:
            note, passed = str(e), "FAILED"
        except Exception:
            note, passed = traceback.format_exc(), "FAILED"
        failed += passed != "passed"
        times = [f"{side.seconds:8.1f}" for side in checks.sides]
        row = f"{name:16} {passed:7} {times[0]} {times[1]}  {note}"
        rows.append(row)
        print(row, flush=True)
    head = f"{'check':16} {'':7} {'Linux s':>8} {'Wine s':>8}"
    table = "\n".join([head, *rows])
    (checks.out / "table.txt").write_text(table + "\n")
    print(f"\n{table}\n\n{len(wanted) - failed} of {len(wanted)} passed")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
