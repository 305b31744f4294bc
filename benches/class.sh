#!/bin/sh
# How long `halfsplit class` takes over a folder of hand-ins, and how much memory.
# Arguments: attempts (10000), steps (30), program (that of this folder). With a second program
# both read the same folder, one after the other, and the ratio is printed.
set -eu
cd "$(dirname "$0")/.."
attempts=${1:-10000}
steps=${2:-30}
ours=${CARGO_TARGET_DIR:-target}/release/halfsplit
cargo build --release --quiet
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cargo bench --quiet --bench class -- "$folder" "$attempts" "$steps"
run() {
  /usr/bin/time -f '%e %U %M' -o "$folder/time" "$1" class "$folder" --json >"$folder/$2.json" || true
  tail -n 1 "$folder/time" | {
    read -r wall user memory
    echo "$1: $attempts attempts of $steps steps in $wall s ($user s of processors), $((memory / 1024)) MB" >&2
    echo "$wall"
  }
}
now=$(run "$ours" now)
if [ $# -ge 3 ]; then
  then=$(run "$3" then)
  cmp "$folder/now.json" "$folder/then.json" && echo "both say the same"
  awk "BEGIN { printf \"%.1f times as fast\n\", $then / $now }"
fi
