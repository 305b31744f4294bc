#!/usr/bin/env bash
# How long ngspice takes to solve the flagship again, beside how long the program takes
# to let it settle, in one run on one core each.
#
# ngspice runs in one process: the netlist of each source group is read once, then one
# resistance is altered and the group is solved so many times that reading it no longer
# counts (the time without any is taken off). That is one solution of a network whose
# lamps, motors and relays are already known. The program settles every single fault:
# it finds all of that out by itself.
set -euo pipefail
cd "$(dirname "$0")/.."
command -v ngspice >/dev/null || { echo "ngspice is not installed" >&2; exit 2; }
cargo build --release --quiet
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
./target/release/halfsplit spice t4-ac --out "$folder" >/dev/null

times=${1:-400}
nanoseconds() { # netlist, repetitions
  local loop="$folder/loop.cir" analysis
  analysis=$(sed -n '/^\.control/,/^\.endc/p' "$1" | grep -E '^(op|ac )')
  sed '/^\.control/,$d' "$1" > "$loop"
  echo ".options noopac" >> "$loop"
  {
    echo ".control"
    echo "repeat $2"
    echo "alter @$(grep -m1 -oE '^R_[^ ]+' "$1")[resistance]=1e7"
    echo "$analysis"
    echo "destroy all"
    echo "end"
    echo "quit"
    echo ".endc"
    echo ".end"
  } >> "$loop"
  # Processor time, so that what else the machine does does not count.
  local TIMEFORMAT='%U %S'
  { time taskset -c 0 ngspice -b "$loop" >/dev/null 2>&1; } 2>&1 |
    awk '{ printf "%d\n", ($1 + $2) * 1e9 }'
}

total=0
for netlist in "$folder"/*.cir; do
  case "$netlist" in */loop.cir) continue ;; esac
  once=$(nanoseconds "$netlist" 1)
  many=$(nanoseconds "$netlist" $(( times + 1 )))
  each=$(( (many - once) / times ))
  printf '%-28s %8.1f us a solution\n' "$(basename "$netlist")" "$(bc -l <<< "$each / 1000")"
  total=$(( total + each ))
done
printf 'ngspice: %.1f us for all groups of one state\n' "$(bc -l <<< "$total / 1000")"

# The thousands of a criterion estimate: nanoseconds for the whole round of faults.
taskset -c 0 cargo bench --quiet --bench states -- --quick 'every fault|quiet' 2>/dev/null >/dev/null
for bench in "every fault" "quiet faults"; do
  estimate="target/criterion/states/${bench}/new/estimates.json"
  [ -f "$estimate" ] || estimate="target/criterion/states/${bench// /_}/new/estimates.json"
  round=$(sed -E 's/.*"mean":\{[^}]*\{[^}]*\},"point_estimate":([0-9.eE+]+).*/\1/; s/.*"mean":.*"point_estimate":([0-9.eE+]+).*"median".*/\1/' "$estimate")
  count=$(grep -oE '"Elements":[0-9]+' "${estimate%/estimates.json}/benchmark.json" | grep -oE '[0-9]+')
  printf 'halfsplit, %s: %.1f us a settled state, ngspice takes %.0f times as long to solve one\n' \
    "$bench" "$(bc -l <<< "$round / $count / 1000")" "$(bc -l <<< "$total / ($round / $count)")"
done
