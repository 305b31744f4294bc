#!/bin/sh
# How long `halfsplit class` takes over a folder of hand-ins, and how much memory: of a tenth of
# them, of all of them, and once more when all have been worked out before.
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
cargo bench --quiet --bench class -- "$folder/all" "$attempts" "$steps"
mkdir "$folder/tenth"
files=$(ls "$folder/all" | wc -l)
ls "$folder/all" | head -n $(((files + 9) / 10)) | while read -r file; do
  ln "$folder/all/$file" "$folder/tenth/$file"
done
# Program, folder, name of the folder of its figures, what it is.
run() {
  XDG_CACHE_HOME=$folder/$3 /usr/bin/time -f '%e %U %M' -o "$folder/time" \
    "$1" class "$folder/$2" --json >"$folder/$3.json" || true
  tail -n 1 "$folder/time" | {
    read -r wall user memory
    echo "$4: $wall s ($user s of processors), $((memory / 1024)) MB" >&2
    echo "$wall"
  }
}
run "$ours" tenth tenth 'a tenth of them' >/dev/null
now=$(run "$ours" all now "$attempts attempts of $steps steps")
cp "$folder/now.json" "$folder/first.json"
run "$ours" all now 'once more' >/dev/null
cmp "$folder/now.json" "$folder/first.json" && echo 'the same once more'
if [ $# -ge 3 ]; then
  then=$(run "$3" all then "$3")
  cmp "$folder/now.json" "$folder/then.json" && echo 'both programs say the same'
  awk "BEGIN { printf \"%.1f times as fast\n\", $then / $now }"
fi
