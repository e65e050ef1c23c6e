#!/usr/bin/env bash
# A long run by hand: scenes, random edits, kills, full disks and painting by hand between; nothing may be lost.
#
#   bash tests/trust/soak.sh [PROGRAM]        SCENES=20 EDITS=2000 SEED=1 by default
#
# The scenes lie on a small disk of their own (tmpfs) where name spaces of users are allowed, so that it can be full; elsewhere a limit
# on file sizes stands for it. What is held after every edit: each painting has the bytes that were saved last, whatever the run did;
# every other output is whole, old or new; the scene and its pictures are what they were. At the end a plain run succeeds in every
# scene, and whatever wasn't painted on is what a clean run makes.
set -euo pipefail
program=$(realpath "${1:-target/release/fogweft}")
home=$(mktemp -d)
trap 'rm -rf "$home"' EXIT
cat > "$home/soak.py" <<'PYTHON'
import collections, os, random, re, resource, shutil, signal, subprocess, sys, time, zlib

program, root, disk = sys.argv[1], sys.argv[2], sys.argv[3] == "disk"
scenes, edits = int(os.environ.get("SCENES", 20)), int(os.environ.get("EDITS", 2000))
dice = random.Random(int(os.environ.get("SEED", 1)))
counts = collections.Counter()
KEYS = {"visibility": (200, 3000), "spread": (1, 6), "y": (4, 18), "seed": (1, 99)}
TEXT = """view = [64, 36]
travel = 24
seed = {seed}
[air]
haze = "#c8ccd0"
visibility = {visibility}
[rim]
spread = {spread}
[[slot]]
name = "far"
depth = 600
art = "far.svg"
[[slot]]
name = "near"
depth = 0
art = "near.svg"
y = {y}
repeat = true
"""
PAINTED = ["far.fog.png", "near.fog.png", "near.art.png", "far.rim.png", "still.png", "near.fog.f001.png", "scene.svg"]


class Scene:
    def __init__(self, number):
        self.folder = os.path.join(root, f"scene-{number}")
        os.mkdir(self.folder)
        self.values = {"visibility": 900, "spread": 3, "y": 12, "seed": number}
        self.more = [] if number % 2 else ["--frames", "3", "--also", "svg"]
        self.paintings, self.inputs = {}, {}
        for name, colour in (("far", "667788"), ("near", "223344")):
            self.put(f"{name}.svg", f'<svg xmlns="http://www.w3.org/2000/svg" width="64" height="20"><path d="M0 20L9 3L22 8L64 20Z" fill="#{colour}"/></svg>')
        self.edit("seed", number)

    def path(self, name):
        return os.path.join(self.folder, name)

    def put(self, name, text):
        with open(self.path(name), "w") as file:
            file.write(text)
        self.inputs[name] = text.encode()

    def edit(self, key, value):
        self.values[key] = value
        self.put("scene.toml", TEXT.format(**self.values))

    def start(self, more=(), limit=None, out="o"):
        def limited():
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            if limit is not None:
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        command = [program, "render", "scene.toml", "--out", out, "--quiet", *self.more, *more]
        return subprocess.Popen(command, cwd=self.folder, stderr=subprocess.PIPE, preexec_fn=limited)

    def paint(self, number):
        """Saves over an output, in place or by a rename, as painting programs do."""
        name = dice.choice(PAINTED)
        file = self.path("o/" + name)
        if not os.path.exists(file):
            return
        text = f"painted at edit {number}, {dice.random()}".encode()
        by_hand = self.path("by-hand")
        try:
            with open(by_hand if dice.random() < 0.5 else file, "wb") as to:
                to.write(text)
            if os.path.exists(by_hand):
                os.rename(by_hand, file)
        except OSError:
            # On a full disk: what the painter's own program cut is the painter's loss.
            shutil.rmtree(by_hand, ignore_errors=True)
            if os.path.exists(by_hand):
                os.remove(by_hand)
            with open(file, "rb") as there:
                text = there.read()
        self.paintings[name] = text
        counts["paintings"] += 1

    def read(self, name):
        try:
            with open(self.path(name), "rb") as file:
                return file.read()
        except FileNotFoundError:
            return None

    def held(self, number):
        for name, text in self.paintings.items():
            there = self.read("o/" + name)
            assert there == text, f"edit {number}: {self.folder}/o/{name} lost {text!r}: {there and there[:60]!r}"
            counts["looks at paintings"] += 1
        for name, text in self.inputs.items():
            assert self.read(name) == text, f"edit {number}: {name} was changed"
        for name in os.listdir(self.path("o")) if os.path.isdir(self.path("o")) else []:
            if name.endswith(".png") and name not in self.paintings:
                assert whole(self.read("o/" + name)), f"edit {number}: {name} is cut"


def whole(png):
    """Every chunk of a PNG has its checksum, and the last is its end (PNG 5.3)."""
    at = 8
    while at + 12 <= len(png):
        length = int.from_bytes(png[at:at + 4], "big")
        body, check = png[at + 4:at + 8 + length], png[at + 8 + length:at + 12 + length]
        if zlib.crc32(body).to_bytes(4, "big") != check:
            return False
        at += 12 + length
        if body == b"IEND":
            return at == len(png)
    return False


def ended(scene, child, number, may):
    error = child.communicate()[1].decode(errors="replace")
    code = child.returncode
    assert code in may and "panicked" not in error, f"edit {number}: {scene.folder}: {code}: {error}"
    counts[f"runs that ended with {code}"] += 1


def full(scene):
    """Fills the disk but for a few kilobytes."""
    filler = os.path.join(root, "filler")
    try:
        with open(filler, "wb", buffering=0) as file:
            while True:
                file.write(bytes(1 << 16))
    except OSError:
        pass
    os.truncate(filler, max(0, os.path.getsize(filler) - dice.randrange(0, 60_000)))
    return filler


def step(scene, number):
    key = dice.choice(list(KEYS))
    scene.edit(key, dice.randint(*KEYS[key]))
    if dice.random() < 0.3:
        scene.paint(number)
    what = dice.choice(["plain", "plain", "kill", "kill", "paint", "full", "forget", "replace"])
    counts[what] += 1
    more = ["--again"] if dice.random() < 0.3 else []
    if what == "kill":
        child = scene.start(more)
        time.sleep(dice.random() * 0.06)
        child.send_signal(dice.choice([signal.SIGKILL, signal.SIGTERM, signal.SIGINT]))
        ended(scene, child, number, (0, 5, -9, -15, -2))
    elif what == "paint":
        child = scene.start(more)
        while child.poll() is None:
            scene.paint(number)
            time.sleep(dice.random() * 0.01)
        ended(scene, child, number, (0,))
    elif what == "full" and disk:
        filler = full(scene)
        try:
            ended(scene, scene.start(more), number, (0, 5))
        finally:
            os.remove(filler)
    elif what == "full":
        ended(scene, scene.start(more, limit=dice.randrange(0, 20_000)), number, (0, 5))
    elif what == "forget":
        # The manifest alone must do, after a run that was let to end.
        ended(scene, scene.start(), number, (0,))
        os.remove(scene.path("o/.fogweft-run.json"))
        if dice.random() < 0.5:
            shutil.rmtree(scene.path("o/.fogweft-cache"), ignore_errors=True)
        ended(scene, scene.start(more), number, (0,))
    elif what == "replace":
        scene.held(number)
        ended(scene, scene.start(["--replace", "--prune"]), number, (0,))
        scene.paintings.clear()
    else:
        ended(scene, scene.start(more), number, (0,))
    scene.held(number)


all_scenes = [Scene(number) for number in range(scenes)]
for number in range(edits):
    step(dice.choice(all_scenes), number)
for scene in all_scenes:
    ended(scene, scene.start(), edits, (0,))
    scene.held(edits)
    ended(scene, scene.start(out="clean"), edits, (0,))
    for name in sorted(os.listdir(scene.path("clean"))):
        whole_stack = name in ("manifest.json", "scene.svg")
        if name.startswith(".") or name in scene.paintings or (whole_stack and scene.paintings):
            continue
        assert scene.read("o/" + name) == scene.read("clean/" + name), f"{scene.folder}: {name} isn't a clean run's"
        counts["files as a clean run's"] += 1
print(f"{scenes} scenes, {edits} edits, {'a disk of its own' if disk else 'limits on file sizes for a full disk'}: nothing lost")
print(", ".join(f"{what} {count}" for what, count in sorted(counts.items())))
PYTHON
mkdir "$home/disk"
run='python3 "$0/soak.py" "$1" "$0/disk" "$2"'
if unshare --mount --map-root-user mount -t tmpfs none "$home/disk" 2>/dev/null; then
  size=$(( ${SCENES:-20} * 2 + 4 ))m
  unshare --mount --map-root-user bash -c "mount -t tmpfs -o size=$size none \"\$0/disk\" && $run" "$home" "$program" disk
else
  bash -c "$run" "$home" "$program" none
fi
