#!/usr/bin/env bash
# Learns a profile of every board in a labelled folder and scores the verdicts on its cases.
#
#   bash examples/score.sh FOLDER [NAME,NAME,…]
#
# FOLDER holds truth.json (its format stands in examples/score.rs) and, for each board, BOARD/reference/*.csv, logs of
# known-good boards. The names, if given, are those of the stages in order, as truth.json spells them; a file BOARD/names
# gives them for one board.
set -euo pipefail
folder=$(cd "$1" && pwd)
cd "$(dirname "$0")/.."
profiles=$(mktemp -d)
trap 'rm -rf "$profiles"' EXIT
cargo build --quiet --release --locked --bin feedtale --example score
for board in "$folder"/*/; do
  name=$(basename "$board")
  names=${2:-$(cat "$board"names 2>/dev/null || true)}
  target/release/feedtale learn "$board"reference/*.csv --board "$name" ${names:+--names "$names"} \
    --output "$profiles/$name.toml" >/dev/null
done
target/release/examples/score "$folder" "$profiles"
printf '\nwith no profile\n'
target/release/examples/score "$folder" - | grep -E '^(right|faulty|coarse|confidence|0\.)'
