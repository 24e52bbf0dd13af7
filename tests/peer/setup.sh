#!/usr/bin/env bash
# Makes the virtual environment in which the independent clients of the tests run.
# Where: FEEDTALE_PEER_VENV, or target/peer-venv.
set -euo pipefail
cd "$(dirname "$0")/../.."
venv="${FEEDTALE_PEER_VENV:-target/peer-venv}"
if ! "$venv/bin/python" -c 'import pyvisa, pyvisa_py, serial' 2>/dev/null; then
    python3 -m venv "$venv"
    "$venv/bin/pip" install --quiet --disable-pip-version-check --requirement tests/peer/requirements.txt
fi
echo "peers: $("$venv/bin/python" -c 'import pyvisa; print("pyvisa", pyvisa.__version__)') in $venv"
