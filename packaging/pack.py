#!/usr/bin/env python3
"""Packs a folder so that the same files give the same bytes: sorted, one time for all, no owner.

Usage: packaging/pack.py FOLDER ARCHIVE.zip|ARCHIVE.tar.gz     the time is SOURCE_DATE_EPOCH
"""

import gzip
import os
import pathlib
import sys
import tarfile
import time
import zipfile


def main():
    folder, archive = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
    at = int(os.environ["SOURCE_DATE_EPOCH"])
    paths = sorted(p for p in folder.rglob("*") if p.is_file())
    if archive.suffix == ".zip":
        with zipfile.ZipFile(archive, "w") as out:
            for path in paths:
                entry = zipfile.ZipInfo(str(path.relative_to(folder.parent)), time.gmtime(at)[:6])
                entry.compress_type = zipfile.ZIP_DEFLATED
                entry.external_attr = (0o100755 if os.access(path, os.X_OK) else 0o100644) << 16
                entry.create_system = 3
                with path.open("rb") as data, out.open(entry, "w") as to:
                    while piece := data.read(1 << 20):
                        to.write(piece)
        return

    def plain(entry):
        entry.uid = entry.gid = 0
        entry.uname = entry.gname = ""
        entry.mtime = at
        entry.mode = 0o755 if entry.mode & 0o100 else 0o644
        return entry

    with archive.open("wb") as raw, gzip.GzipFile("", "wb", 9, raw, at) as packed:
        with tarfile.open(fileobj=packed, mode="w", format=tarfile.GNU_FORMAT) as out:
            for path in paths:
                out.add(path, str(path.relative_to(folder.parent)), recursive=False, filter=plain)


if __name__ == "__main__":
    main()
