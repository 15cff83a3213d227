#!/usr/bin/env python3
"""Writes the licences of everything that is linked into the program for one platform, with their texts.

Usage: packaging/licences.py TARGET [OPTION OF CARGO ...] > LICENCES.txt     needs cargo, and the crates fetched (`cargo fetch`)

It ends with an error where a package has no text of its own and none of the standard texts fits its licence.
"""

import collections
import json
import pathlib
import re
import subprocess
import sys

# Names of files with a licence; those of fonts are called after the font.
NAMES = re.compile(
    r"^(licen[cs]e|copying|notice|copyright|unlicense|ofl|ufl)|[-_]licen[cs]e\.txt$|-regular\.txt$|-icons\.txt$", re.IGNORECASE
)
# The project's own tree: fonts and the voice's data.
OWN = ["src/window/fonts/LICENSE.txt", "src/report/fonts/LICENSE.txt", "src/voice/data/NOTICE"]
# Linked in by Debian's compiler for Windows: start of the program, C runtime, support of the compiler.
MINGW = ["/usr/share/doc/mingw-w64-common/copyright", "/usr/share/doc/gcc-mingw-w64-base/copyright"]
# The licences that a package without a text may name, the one preferred first.
STANDARD = ["MIT", "Apache-2.0", "MPL-2.0", "Unlicense"]
MPL_BEGINS = "Mozilla Public License Version 2.0"
UNLICENSE_BEGINS = "This is free and unencumbered software"
MIT = """Permission is hereby granted, free of charge, to any person obtaining a copy of this software and associated documentation
files (the "Software"), to deal in the Software without restriction, including without limitation the rights to use, copy,
modify, merge, publish, distribute, sublicense, and/or sell copies of the Software, and to permit persons to whom the
Software is furnished to do so, subject to the following conditions:

The above copyright notice and this permission notice shall be included in all copies or substantial portions of the
Software.

THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR IMPLIED, INCLUDING BUT NOT LIMITED TO THE
WARRANTIES OF MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE AND NONINFRINGEMENT. IN NO EVENT SHALL THE AUTHORS OR
COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM, DAMAGES OR OTHER LIABILITY, WHETHER IN AN ACTION OF CONTRACT, TORT OR OTHERWISE,
ARISING FROM, OUT OF OR IN CONNECTION WITH THE SOFTWARE OR THE USE OR OTHER DEALINGS IN THE SOFTWARE."""


def read(path):
    return "\n".join(line.rstrip() for line in pathlib.Path(path).read_text(errors="replace").splitlines()).strip()


def linked_packages(target, options):
    tree = ["cargo", "tree", *options, "--locked", "--edges", "normal", "--target", target, "--prefix", "none", "--format", "{p}"]
    linked = set()
    for line in subprocess.run(tree, check=True, capture_output=True, text=True).stdout.splitlines():
        words = line.split()
        # Macros run while building and are not part of the program.
        if len(words) >= 2 and "(proc-macro)" not in line:
            linked.add((words[0], words[1].lstrip("v")))
    metadata = ["cargo", "metadata", "--locked", "--format-version", "1", "--filter-platform", target]
    packages = json.loads(subprocess.run(metadata, check=True, capture_output=True, text=True).stdout)["packages"]
    return sorted((p for p in packages if (p["name"], p["version"]) in linked), key=lambda p: (p["name"], p["version"]))


def main():
    target, options = sys.argv[1], sys.argv[2:]
    texts = collections.defaultdict(list)
    without = collections.defaultdict(list)
    print("Cableside is under the Apache Licence 2.0 (the file LICENSE). Linked into it are:\n")
    for package in linked_packages(target, options):
        name = f"{package['name']} {package['version']}"
        if package["source"] is None:
            continue
        print(f"  {name}: {package['license'] or 'see its text below'}")
        folder = pathlib.Path(package["manifest_path"]).parent
        files = sorted(f for f in folder.rglob("*") if f.is_file() and NAMES.search(f.name) and f.suffix not in (".rs", ".py"))
        # A font's licence is not that of the code beside it.
        if not any(file.parent == folder for file in files):
            named = re.split(r"[^A-Za-z0-9.-]+", package["license"] or "")
            licence = next((s for s in STANDARD if s in named), None)
            if licence is None:
                sys.exit(f"{name} has no text of its licence, and {package['license']} is none of {', '.join(STANDARD)}")
            without[licence].append(f"{name} ({', '.join(package['authors']) or 'its authors'})")
        for file in files:
            text = read(file)
            if name not in texts[text]:
                texts[text].append(name)
    mpl = next((text for text in texts if text.startswith(MPL_BEGINS)), None)
    unlicense = next((text for text in texts if text.startswith(UNLICENSE_BEGINS)), None)
    standard = {"MIT": MIT, "Apache-2.0": read("LICENSE"), "MPL-2.0": mpl, "Unlicense": unlicense}
    for licence, names in without.items():
        if standard[licence] is None:
            sys.exit(f"no text of {licence} was found, and these need it: {', '.join(names)}")
    texts[f"MIT License\n\nCopyright (c) 2022 OpenAI\n\n{MIT}"].append("the speech model (models/ggml-*.bin), where it comes along")
    for file in OWN:
        texts[read(file)].append(f"fonts and voice: {file}")
    runtime = MINGW if target.endswith("-windows-gnu") else []
    for file in runtime:
        texts[read(file)].append(f"C runtime and support of the compiler ({file.split('/')[4]})")
    print("\nRust's own library is linked in too: LICENCES-RUST.html.")
    print("\nWhat is under MPL-2.0 is used unchanged; its source is published under its name and version where Rust's crates are.")
    for licence in sorted(without):
        text = f"Copyright (c) of each by those named behind it. {licence}:\n\n{standard[licence]}"
        texts[text] += without[licence]
    for text, names in sorted(texts.items(), key=lambda entry: entry[1]):
        print("\n" + "=" * 100 + "\n" + ", ".join(names) + "\n" + "-" * 100 + "\n" + text)


if __name__ == "__main__":
    main()
