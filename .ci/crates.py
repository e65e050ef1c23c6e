"""Writes the licences of the crates that a program for one system is made of, each text once, below the names of its crates."""

import json
import pathlib
import subprocess
import sys

TEXTS = ("licen", "copying", "notice", "unlicense", "copyright")


def packages(target):
    """The crates that are linked into the program, as Cargo describes them."""
    cargo = ["cargo", "metadata", "--locked", "--format-version", "1", "--filter-platform", target]
    data = json.loads(subprocess.check_output(cargo))
    nodes = {node["id"]: node for node in data["resolve"]["nodes"]}
    reached, ahead = set(), [data["resolve"]["root"]]
    while ahead:
        node = ahead.pop()
        if node not in reached:
            reached.add(node)
            for needed in nodes[node]["deps"]:
                if any(kind["kind"] is None for kind in needed["dep_kinds"]):
                    ahead.append(needed["pkg"])
    reached.discard(data["resolve"]["root"])
    return sorted((p for p in data["packages"] if p["id"] in reached), key=lambda p: (p["name"], p["version"]))


def main(target):
    crates, texts = packages(target), {}
    print("The program is made of these crates as well as its own source. Their licences, and the texts of these:\n")
    for crate in crates:
        name = f"{crate['name']} {crate['version']}"
        print(f"  {name}: {crate['license']}")
        folder = pathlib.Path(crate["manifest_path"]).parent
        for file in sorted(folder.iterdir()):
            if file.is_file() and file.name.lower().startswith(TEXTS):
                text = file.read_text(encoding="utf-8", errors="replace").strip()
                texts.setdefault("\n".join(line.rstrip() for line in text.splitlines()), []).append(name)
    for text, names in texts.items():
        print(f"\n{'-' * 100}\n{', '.join(dict.fromkeys(names))}\n\n{text}")


main(sys.argv[1])
