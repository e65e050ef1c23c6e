#!/usr/bin/env bash
# Whether two release builds from Cargo.lock are the same bytes, whatever the folder: two clones of the last commit in folders of other
# names and lengths, each with a target folder elsewhere, built from nothing. By hand, since it builds everything twice.
set -euo pipefail
top=$(git -C "$(dirname "$0")" rev-parse --show-toplevel)
commit=$(git -C "$top" rev-parse HEAD)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
unset CARGO_TARGET_DIR RUSTFLAGS CARGO_ENCODED_RUSTFLAGS

build() { # name of the clone's folder, of its target folder
  git clone --quiet --no-hardlinks "$top" "$work/$1"
  git -C "$work/$1" checkout --quiet "$commit"
  (cd "$work/$1" && CARGO_TARGET_DIR="$work/$2" cargo build --release --locked --quiet)
  sums+=("$(sha256sum < "$work/$2/release/fogweft" | cut -d' ' -f1)")
  if grep -aqF "$work" "$work/$2/release/fogweft"; then
    echo "the program in $2 names the folder that it was built in"
    exit 1
  fi
}

sums=()
build first built
build "a/second one, with a longer name" "elsewhere/built too"
printf '%s  %s\n' "${sums[0]}" first "${sums[1]}" second
if [ "${sums[0]}" != "${sums[1]}" ]; then
  echo "they differ"
  exit 1
fi
echo "the same bytes: commit $commit, $(rustc --version)"
