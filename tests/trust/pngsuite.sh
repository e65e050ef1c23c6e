#!/usr/bin/env bash
# Tries the public PNG suite (PngSuite, W. van Schaik, 2011), sound files and broken ones. By hand: the files aren't part of the project.
# They come with Debian's source package libspng, under tests/images; tests/crashers beside it are broken files of its own.
# Wants apt-get, and a machine that gets its packages from Debian. Whoever has the suite already:
# FOGWEFT_PNG_SUITE=folder cargo test --release --test trust suite -- --nocapture
set -euo pipefail
cd "$(dirname "$0")/../.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir -p "$work/lists/partial" "$work/from" "$work/suite"
# The machine's own sources, asked for source packages instead; the machine's lists stay as they are.
for file in /etc/apt/sources.list /etc/apt/sources.list.d/*.list /etc/apt/sources.list.d/*.sources; do
  [[ -e $file ]] || continue
  sed -e 's/^deb /deb-src /' -e 's/^Types:.*/Types: deb-src/' "$file" > "$work/from/$(basename "$file")"
done
own=(-o Dir::Etc::SourceList=/dev/null -o "Dir::Etc::SourceParts=$work/from" -o "Dir::State::Lists=$work/lists" -o "Dir::Cache=$work" -o APT::Sandbox::User=root)
apt-get "${own[@]}" -qq update
(cd "$work" && apt-get "${own[@]}" -qq source --download-only libspng)
tar -xzf "$work"/libspng_*.orig.tar.gz -C "$work/suite" --wildcards '*/tests/images/*.png' '*/tests/crashers/*.png'
FOGWEFT_PNG_SUITE="$work/suite" cargo test --release --locked --test trust public_suite -- --nocapture
