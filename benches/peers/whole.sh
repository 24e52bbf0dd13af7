#!/usr/bin/env bash
# Times the whole job beside Python libraries on the same log, one after the other, and prints ratios: a log read, judged
# and drawn; a picture drawn; a log of a minute diagnosed from a cold start.
#
#     benches/peers/whole.sh [ROWS]
#
# Needs Rust and python3 with venv; installs the libraries of requirements.txt into target/peer-bench-venv.
set -euo pipefail
cd "$(dirname "$0")/../.."
rows=${1:-10000000}
python=target/peer-bench-venv/bin/python
# Some machines set these for old numeric libraries; they slow a current numpy and would flatter the ratios.
unset OPENBLAS_CORETYPE OPENBLAS_L2_SIZE
if [ ! -x "$python" ]; then python3 -m venv target/peer-bench-venv; fi
"$python" -m pip install --quiet --disable-pip-version-check -r benches/peers/requirements.txt
cargo build --quiet --release
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
"$python" benches/peers/long_log.py "$rows" "$folder/long.csv"
"$python" benches/peers/time_whole.py target/release/feedtale "$folder"
LOG="$folder/long.csv" cargo bench --quiet --bench picture | tee "$folder/picture.txt"
"$python" benches/peers/time_pictures.py "$folder/long.csv" "$folder/picture.txt"
