#!/usr/bin/env bash
# Twenty levels that share their pictures: one run over all of them against one run for each, as a ratio of processor time and of time by the
# clock. Rounds alternate, so that what else the machine does falls on both.
# near: the levels build on a common scene, and each has its near planes elsewhere. seeds: each has all its fog from a seed of its own, so
# that the pictures alone are shared.
# usage: tests/bench/levels.sh PROGRAM [near|seeds] [ROUNDS] [SCALE] [LEVELS]
set -euo pipefail
program=$(realpath "$1")
kind=${2:-near}
rounds=${3:-3}
scale=${4:-0.5}
levels=${5:-20}
here=$(realpath "$(dirname "$0")/../..")
folder=$(mktemp -d)
trap 'rm -r "$folder"' EXIT
cp -r "$here/presets/salt-marsh" "$folder/plates"
mv "$folder/plates/scene.toml" "$folder/plates/common.toml"
touch "$folder/fogweft.toml"
for level in $(seq "$levels"); do
    name=$(printf 'levels/%02d' "$level")
    mkdir -p "$folder/$name"
    case $kind in
    seeds) printf 'from = "../../plates/common.toml"\nseed = %d\n' $((level + 100)) ;;
    near)
        printf 'from = "../../plates/common.toml"\n'
        printf '[[slot]]\nname = "%s"\nx = %d\n' hut $((1200 + 37 * level)) reeds-near $((-11 * level))
        printf '[[slot]]\nname = "bank"\nseed = %d\n' "$level"
        ;;
    *) echo "near or seeds?" >&2; exit 2 ;;
    esac > "$folder/$name/scene.toml"
done
cd "$folder"
clear_outputs() { rm -rf levels/*/scene-sheets levels/levels.html; }
# By the clock, and of the processor with that of its readers.
seconds() { local TIMEFORMAT='%R %U %S'; { time "$@" > /dev/null 2>&1; } 2>&1 | awk '{print $1, $2 + $3}'; }
singles() { for scene in levels/*/scene.toml; do "$program" render "$scene" --scale "$scale" --quiet; done; }
together() { "$program" render levels/*/scene.toml --scale "$scale" --quiet; }
for round in $(seq "$rounds"); do
    clear_outputs
    read -r one_clock one_cpu < <(seconds singles)
    clear_outputs
    read -r all_clock all_cpu < <(seconds together)
    ratio() { echo "scale=3; $1 / $2" | bc; }
    echo "$kind, round $round: singles $one_clock s, together $all_clock s, ratio $(ratio "$all_clock" "$one_clock");" \
        "processor $one_cpu s, $all_cpu s, ratio $(ratio "$all_cpu" "$one_cpu")"
done
