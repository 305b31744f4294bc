#!/usr/bin/env bash
# Asks pgmpy for the posteriors again and keeps them (python3 with pgmpy is needed; the kept
# ones are from pgmpy 1.1.2). Look at the difference before you commit it.
set -euo pipefail
cd "$(dirname "$0")/../.."
cases=$(mktemp)
trap 'rm -f "$cases"' EXIT
HALFSPLIT_NETWORKS="$cases" cargo test -q --test integration reasoning::network::
"${PYTHON:-python3}" tests/reasoning/posterior.py "$cases" > tests/reasoning/posterior.json.new
mv tests/reasoning/posterior.json.new tests/reasoning/posterior.json
cargo test --test integration reasoning::network::
