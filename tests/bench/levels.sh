#!/usr/bin/env bash
# Twenty levels that share their pictures: one run over all of them against one run for each, as a ratio. Rounds alternate, so that what else
# the machine does falls on both.
# usage: tests/bench/levels.sh PROGRAM [ROUNDS] [SCALE]
set -euo pipefail
program=$(realpath "$1")
rounds=${2:-3}
scale=${3:-0.5}
here=$(realpath "$(dirname "$0")/../..")
folder=$(mktemp -d)
trap 'rm -r "$folder"' EXIT
cp -r "$here/presets/salt-marsh" "$folder/plates"
mv "$folder/plates/scene.toml" "$folder/plates/common.toml"
touch "$folder/fogweft.toml"
for level in $(seq -w 20); do
    mkdir -p "$folder/levels/$level"
    printf 'from = "../../plates/common.toml"\nseed = %d\n' "$((10#$level + 100))" > "$folder/levels/$level/scene.toml"
done
cd "$folder"
clear_outputs() { rm -rf levels/*/scene-sheets levels/levels.html; }
seconds() { local from; from=$(date +%s.%N); "$@" > /dev/null; echo "$(date +%s.%N) - $from" | bc; }
singles() { for scene in levels/*/scene.toml; do "$program" render "$scene" --scale "$scale" --quiet; done; }
together() { "$program" render levels/*/scene.toml --scale "$scale" --quiet; }
for round in $(seq "$rounds"); do
    clear_outputs
    one_by_one=$(seconds singles)
    clear_outputs
    all=$(seconds together)
    echo "round $round: singles $one_by_one s, together $all s, ratio $(echo "scale=3; $all / $one_by_one" | bc)"
done
