#!/usr/bin/env bash
# Makes the pictures of the README anew, from the sample logs: bash examples/pictures.sh
set -euo pipefail
cd "$(dirname "$0")/.."
mkdir -p examples/pictures
for case in stalled full-boot; do
  cargo run --quiet --release --locked -- plot "logs/samples/harrow-13-$case.csv" \
    --profile profiles/harrow-13.toml --output "examples/pictures/$case.png" --force
done
