#!/usr/bin/env bash
# Runs ngspice beside the solver on every case of tests/ngspice.rs.
# With UPDATE=1 the reference values kept here are rewritten.
set -euo pipefail
cd "$(dirname "$0")/../.."
command -v ngspice >/dev/null || { echo "ngspice is not installed" >&2; exit 2; }
HALFSPLIT_NGSPICE=1 cargo test --test integration -- ngspice::
