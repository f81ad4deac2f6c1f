"""Prints, on one line, the pinned packages that this Python lacks; nothing when it has them all."""

import importlib.metadata
import pathlib

pinned = pathlib.Path(__file__).parent.parent / "outside" / "requirements.txt"
lacking = []
for line in pinned.read_text().splitlines():
    line = line.split("#")[0].strip()
    if not line:
        continue
    name, wanted = line.split("==")
    try:
        found = importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        lacking.append(f"{name} {wanted}")
        continue
    if found != wanted:
        lacking.append(f"{name} {wanted} (has {found})")
print(", ".join(lacking))
