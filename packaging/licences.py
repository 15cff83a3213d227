#!/usr/bin/env python3
"""Writes the licences of everything that is linked into the program for one platform, with their texts.

Usage: packaging/licences.py TARGET > LICENCES.txt     needs cargo, and the crates fetched (`cargo fetch`)
"""

import collections
import json
import pathlib
import re
import subprocess
import sys

NAMES = re.compile(r"^(licen[cs]e|copying|notice|copyright|unlicense)", re.IGNORECASE)


def main():
    target = sys.argv[1]
    tree = ["cargo", "tree", "--locked", "--edges", "normal", "--target", target, "--prefix", "none", "--format", "{p}"]
    linked = set()
    for line in subprocess.run(tree, check=True, capture_output=True, text=True).stdout.splitlines():
        words = line.split()
        # Macros run while building and are not part of the program.
        if len(words) >= 2 and "(proc-macro)" not in line:
            linked.add((words[0], words[1].lstrip("v")))
    metadata = ["cargo", "metadata", "--locked", "--format-version", "1", "--filter-platform", target]
    packages = json.loads(subprocess.run(metadata, check=True, capture_output=True, text=True).stdout)["packages"]
    packages = sorted((p for p in packages if (p["name"], p["version"]) in linked), key=lambda p: (p["name"], p["version"]))
    texts = collections.defaultdict(list)
    missing = []
    print("Cableside is under the Apache Licence 2.0 (the file LICENSE). Linked into it are:\n")
    for package in packages:
        name = f"{package['name']} {package['version']}"
        if package["source"] is None:
            continue
        print(f"  {name}: {package['license'] or 'see its text below'}")
        folder = pathlib.Path(package["manifest_path"]).parent
        files = sorted(f for f in folder.rglob("*") if f.is_file() and NAMES.match(f.name) and f.suffix not in (".rs", ".py"))
        if not files:
            missing.append(f"{name} ({', '.join(package['authors']) or 'its authors'})")
        for file in files:
            text = "\n".join(line.rstrip() for line in file.read_text(errors="replace").splitlines()).strip()
            if name not in texts[text]:
                texts[text].append(name)
    print("\nWhat is under MPL-2.0 is used unchanged; its source is published under its name and version where Rust's crates are.")
    print("\nThe speech model, where it comes along (models/ggml-*.bin), is the Whisper model by OpenAI: MIT licence.")
    if missing:
        print("\nWithout a text of their own in their package: " + ", ".join(missing) + ".")
    for text, names in sorted(texts.items(), key=lambda entry: entry[1]):
        print("\n" + "=" * 100 + "\n" + ", ".join(names) + "\n" + "-" * 100 + "\n" + text)


if __name__ == "__main__":
    main()
