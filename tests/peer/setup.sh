#!/usr/bin/env bash
# Makes the virtual environment in which the independent clients and libraries of the tests run.
# Where: FEEDTALE_PEER_VENV, or target/peer-venv.
set -euo pipefail
cd "$(dirname "$0")/../.."
venv="${FEEDTALE_PEER_VENV:-target/peer-venv}"
if ! "$venv/bin/python" -c 'import pyvisa, pyvisa_py, serial, numba, ruptures, skchange' 2>/dev/null; then
    python3 -m venv "$venv"
    "$venv/bin/pip" install --quiet --disable-pip-version-check --requirement tests/peer/requirements.txt
fi
echo "peers in $venv:" $("$venv/bin/pip" list --disable-pip-version-check --format freeze \
    | grep -iE '^(pyvisa|pyvisa-py|numpy|ruptures|skchange)==')
