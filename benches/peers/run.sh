#!/usr/bin/env bash
# Times feedtale's exact optimum and the Python libraries on the same signals, one after the other, and prints ratios.
# Needs Rust and python3 with venv; installs skchange and ruptures into target/peer-bench-venv.
set -euo pipefail
cd "$(dirname "$0")/../.."
venv=target/peer-bench-venv
signals=$(mktemp -d)
trap 'rm -rf "$signals"' EXIT
if [ ! -x "$venv/bin/python" ]; then
    python3 -m venv "$venv"
    "$venv/bin/pip" install --quiet numpy numba 'skchange>=0.18,<0.19' 'ruptures>=1.1,<1.2'
fi
cargo bench --quiet --bench segment -- "$signals" | tee "$signals/own.txt"
# Some machines set these for old numeric libraries; they slow a current numpy and would flatter the ratios.
env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE "$venv/bin/python" benches/peers/time_peers.py "$signals"
