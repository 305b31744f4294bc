#!/usr/bin/env bash
# Runs ngspice beside the solver: on every single fault of every system in the normal
# setup, in every position of every control and with one in eight fuses and breakers
# pulled. `live.sh all` pulls every one of them. Prints how many states that were, the
# worst difference and the time. With UPDATE=1 the reference values kept here are
# rewritten.
set -euo pipefail
cd "$(dirname "$0")/../.."
command -v ngspice >/dev/null || { echo "ngspice is not installed" >&2; exit 2; }
HALFSPLIT_NGSPICE="${1:-yes}" cargo test --test integration -- ngspice:: --include-ignored --nocapture
