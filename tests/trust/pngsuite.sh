#!/usr/bin/env bash
# Tries the public PNG suite (PngSuite, W. van Schaik, 2011), sound files and broken ones. By hand: the files aren't part of the project.
# They come with Debian's source package of libspng, under tests/images; tests/crashers beside it are broken files of its own.
# Wants apt-get and Debian's keys. Whoever has the suite already:
# FOGWEFT_PNG_SUITE=folder cargo test --release --test trust suite -- --nocapture
set -euo pipefail
cd "$(dirname "$0")/../.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
suite=${DEBIAN_SUITE:-bookworm}
mkdir -p "$work/lists/partial" "$work/suite"
echo "deb-src [signed-by=/usr/share/keyrings/debian-archive-keyring.gpg] http://deb.debian.org/debian $suite main" > "$work/sources.list"
own=(-o "Dir::Etc::SourceList=$work/sources.list" -o Dir::Etc::SourceParts=- -o "Dir::State::Lists=$work/lists" -o "Dir::Cache=$work" -o APT::Sandbox::User=root)
apt-get "${own[@]}" -qq update
(cd "$work" && apt-get "${own[@]}" -qq source --download-only libspng)
tar -xzf "$work"/libspng_*.orig.tar.gz -C "$work/suite" --wildcards '*/tests/images/*.png' '*/tests/crashers/*.png'
FOGWEFT_PNG_SUITE="$work/suite" cargo test --release --locked --test trust public_suite -- --nocapture
