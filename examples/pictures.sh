#!/usr/bin/env bash
# Makes the pictures of the README anew, from the sample logs: bash examples/pictures.sh [DIR]
set -euo pipefail
cd "$(dirname "$0")/.."
pictures="${1:-examples/pictures}"
mkdir -p "$pictures"
plot() {
  cargo run --quiet --release --locked -- plot "${@:2}" --output "$pictures/$1.png" --size 1400x800 --dpi 144 --force
}
kiln=(--profile profiles/kiln-24.toml)
plot stalled "${kiln[@]}" logs/samples/kiln-24-stalled.csv
plot dropped-out --profile profiles/wren-4.toml logs/samples/wren-4-dropped-out.csv
plot before-after "${kiln[@]}" logs/samples/kiln-24-stalled.csv logs/repaired/kiln-24-full-boot.csv
plot overlay "${kiln[@]}" logs/good/kiln-24-good-*.csv logs/samples/kiln-24-stalled.csv
plot card --card profiles/harrow-13.toml
