#!/usr/bin/env bash
# Times feedtale's exact optimum and the Python libraries on the same signals, in turn, and prints ratios.
# Needs Rust and python3 with venv; installs the libraries of tests/peer/requirements.txt into target/peer-venv.
# --all also times ruptures on 1,000,000 samples with 20 changes, which takes several minutes.
set -euo pipefail
cd "$(dirname "$0")/../.."
tests/peer/setup.sh
signals=$(mktemp -d)
trap 'rm -rf "$signals"' EXIT
cargo bench --quiet --bench segment -- --signals "$signals"
# Some machines set these for old numeric libraries; they slow a current numpy and would flatter the ratios.
env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE OMP_NUM_THREADS=1 \
    "${FEEDTALE_PEER_VENV:-target/peer-venv}/bin/python" benches/peers/time_peers.py "$signals" "$@"
